package vectors

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const folder = "../../../../testdata/waveforms/"

// TestCorpusIsWritten holds the files to what the generator makes: every vector
// in closed form is there as it would be written today, every other file is of a
// circuit whose deck is kept, and no file is left over.
func TestCorpusIsWritten(t *testing.T) {
	written := map[string]bool{}
	for _, v := range Corpus() {
		if written[v.Name] {
			t.Errorf("two vectors are named %s", v.Name)
		}
		written[v.Name] = true
		text, err := os.ReadFile(folder + v.Name + ".csv")
		if err != nil {
			t.Errorf("%v; run go generate", err)
			continue
		}
		// The last bit of a sine differs from one processor to the next, and with it a code here and there.
		if want := v.File.Bytes(); differing(text, want) > len(want)/1000 {
			t.Errorf("%s.csv is not what the generator makes of it; run go generate", v.Name)
		}
	}
	paths, err := filepath.Glob(folder + "*.csv")
	if err != nil || len(paths) < len(written) {
		t.Fatalf("%d files in %s for %d vectors: %v", len(paths), folder, len(written), err)
	}
	circuits := map[string]bool{}
	for _, path := range paths {
		name := strings.TrimSuffix(filepath.Base(path), ".csv")
		circuit, ok := strings.CutPrefix(name, "circuit-")
		switch {
		case ok:
			deck := strings.TrimSuffix(circuit, "-peaks")
			circuits[deck] = true
			if _, err := os.Stat(folder + "decks/" + deck + ".cir"); err != nil {
				t.Errorf("%s has no deck: %v", name, err)
			}
		case !written[name]:
			t.Errorf("%s.csv is made by nothing", name)
		}
	}
	decks, err := filepath.Glob(folder + "decks/*.cir")
	if err != nil || len(decks) != len(circuits) {
		t.Errorf("%d decks for the vectors of %d circuits: %v", len(decks), len(circuits), err)
	}
}

// differing counts the lines that are not alike.
func differing(a, b []byte) int {
	la, lb := bytes.Split(a, []byte("\n")), bytes.Split(b, []byte("\n"))
	if len(la) != len(lb) {
		return max(len(la), len(lb))
	}
	n := 0
	for i := range la {
		if !bytes.Equal(la[i], lb[i]) {
			n++
		}
	}
	return n
}
