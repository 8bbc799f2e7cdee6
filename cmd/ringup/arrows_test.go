package main

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// mayImport says which rooms each room may import, outside its tests. A room that is not here is an error:
// say first where it stands.
var mayImport = map[string][]string{
	"runner/crystal":  {},
	"runner/failrate": {},
	"runner/verdict":  {},
	"drivers/link":    {},
	"drivers/scpi":    {"drivers/link"},
	"drivers/dialect": {"drivers/scpi", "drivers/link"},
	"drivers":         {"drivers/dialect", "drivers/scpi", "drivers/link"},
	"runner/simbench": {"runner/crystal"},
	"runner/bench":    {"drivers"},
	"runner/logbook":  {"runner/verdict"},
	"runner":          {"drivers", "runner/bench", "runner/failrate", "runner/logbook", "runner/verdict"},
	"scripts":         {"runner"},

	"runner/faultmatrix": {"runner/simbench", "runner/logbook", "runner/verdict"},

	"runner/logbook/ship":        {"runner/logbook"},
	"runner/logbook/ship/pgtest": {},

	"runner/benchcheck": {"runner", "runner/bench", "runner/verdict", "drivers", "drivers/dialect", "drivers/scpi", "drivers/link"},

	"runner/crystal/marking": {},

	"runner/verdict/recording": {"runner/verdict"},

	"dashboards/plot":                 {"runner/failrate", "runner/logbook", "runner/verdict"},
	"dashboards/metrics":              {"runner", "runner/failrate", "runner/logbook", "runner/verdict", "drivers"},
	"dashboards/report":               {"runner", "runner/failrate", "runner/logbook", "runner/verdict", "dashboards/plot"},
	"dashboards/live":                 {"runner", "runner/failrate", "runner/logbook", "runner/verdict", "drivers", "dashboards/plot", "dashboards/report"},
	"dashboards/grafana":              {},
	"dashboards/prometheus":           {},
	"dashboards/prometheus/promcheck": {},
}

func TestImportArrows(t *testing.T) {
	out, err := exec.Command("go", "list", "-json=ImportPath,Imports,Module", "ringup/...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	seen := 0
	for d := json.NewDecoder(strings.NewReader(string(out))); ; seen++ {
		var p struct {
			ImportPath string
			Imports    []string
		}
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		room := strings.TrimPrefix(p.ImportPath, "ringup/")
		if strings.HasPrefix(room, "cmd/") {
			continue // cmd ties everything together
		}
		if i := strings.Index(room, "/internal/"); i >= 0 {
			continue // visible to its own room alone
		}
		allowed, known := mayImport[room]
		if !known {
			t.Errorf("%s has no entry in mayImport", room)
			continue
		}
		for _, i := range p.Imports {
			other, ours := strings.CutPrefix(i, "ringup/")
			if ours && !slices.Contains(allowed, other) && !strings.HasPrefix(other, room+"/internal/") {
				t.Errorf("%s imports %s; allowed are %v", room, other, allowed)
			}
		}
	}
	if seen < len(mayImport) {
		t.Errorf("go list named %d packages, there should be at least %d", seen, len(mayImport))
	}
}
