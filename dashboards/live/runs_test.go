package live

import (
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"

	"ringup/runner/logbook"
)

func decode[T any](t *testing.T, s http.Handler, path string) T {
	t.Helper()
	w := ask(s, "GET", path, "")
	var v T
	if err := json.Unmarshal(w.Body.Bytes(), &v); err != nil || w.Code != 200 {
		t.Fatalf("GET %s: status %d, %v: %s", path, w.Code, err, w.Body)
	}
	return v
}

func TestReadingRuns(t *testing.T) {
	b := newBench(t)
	s := b.serve(Options{})
	b.begin(5)
	for i := range 5 {
		b.cycle(2.4, i == 3)
	}
	b.mark("C7 chilled", "treatment")
	b.end()

	type object = map[string]any
	runs := decode[struct{ Runs []object }](t, s, "/api/v1/runs").Runs
	if len(runs) != 1 || runs[0]["unit"] != "river-level logger 0231" || runs[0]["script_text"] != nil {
		t.Errorf("runs: %v", runs)
	}
	one := decode[struct {
		Run      object
		Progress struct {
			Done       int
			Conditions []struct{ Cycles, Failures int }
		}
	}](t, s, "/api/v1/runs/last")
	if one.Run["script_text"] != "soak {}" || one.Progress.Done != 5 || len(one.Progress.Conditions) != 1 || one.Progress.Conditions[0].Failures != 1 {
		t.Errorf("last run: %+v", one)
	}
	type page struct {
		Cycles []struct {
			Number       int
			Verdict      string
			StartSeconds *float64 `json:"start_seconds"`
		}
		NextAfter *int `json:"next_after"`
	}
	first := decode[page](t, s, "/api/v1/runs/1/cycles?limit=4")
	if len(first.Cycles) != 4 || first.NextAfter == nil || *first.NextAfter != 4 {
		t.Errorf("first page: %+v", first)
	}
	if c := first.Cycles[3]; c.Verdict != "silent" || c.StartSeconds != nil {
		t.Errorf("the silent cycle: %+v, want a start of null", c)
	}
	rest := decode[page](t, s, "/api/v1/runs/1/cycles?limit=4&after=4")
	if len(rest.Cycles) != 1 || rest.Cycles[0].Number != 5 || rest.NextAfter != nil {
		t.Errorf("last page: %+v", rest)
	}
	marks := decode[struct{ Marks []object }](t, s, "/api/v1/runs/1/marks").Marks
	if len(marks) != 1 || marks[0]["text"] != "C7 chilled" || marks[0]["kind"] != "treatment" {
		t.Errorf("marks: %v", marks)
	}
	csv := ask(s, "GET", "/api/v1/runs/1/export?format=csv", "")
	if got := strings.Count(csv.Body.String(), "as found"); got != 5 || csv.Header().Get("Content-Disposition") != `attachment; filename="ringup-run-1.csv"` {
		t.Errorf("CSV has %d cycles, headers %v", got, csv.Header())
	}
	lines := strings.Split(strings.TrimSpace(ask(s, "GET", "/api/v1/runs/1/export?format=jsonl", "").Body.String()), "\n")
	cycles := 0
	for _, line := range lines {
		var v object
		if err := json.Unmarshal([]byte(line), &v); err != nil {
			t.Errorf("JSON line %.80s: %v", line, err)
		}
		if v["verdict"] != nil {
			cycles++
		}
	}
	if cycles != 5 {
		t.Errorf("JSON lines have %d cycles, want 5", cycles)
	}
	parquet := ask(s, "GET", "/api/v1/runs/1/export?format=parquet", "")
	if body := parquet.Body.String(); !strings.HasPrefix(body, "PAR1") || !strings.HasSuffix(body, "PAR1") || parquet.Header().Get("Content-Type") != "application/vnd.apache.parquet" {
		t.Errorf("%d bytes are no Parquet file, headers %v", len(body), parquet.Header())
	}
}

func TestBadRequestsSayWhatIsWrong(t *testing.T) {
	b := newBench(t)
	s := b.serve(Options{})
	if got := ask(s, "GET", "/api/v1/runs/last", "").Code; got != 404 {
		t.Errorf("last run of an empty logbook: status %d, want 404", got)
	}
	b.begin(1)
	for path, want := range map[string]struct {
		code int
		text string
	}{
		"/api/v1/runs/99":                   {404, "no such run"},
		"/api/v1/runs/x":                    {400, "neither a number nor"},
		"/api/v1/runs/1/cycles?limit=0":     {400, "from 1 to 1000"},
		"/api/v1/runs/1/cycles?limit=1001":  {400, "from 1 to 1000"},
		"/api/v1/runs/1/cycles?after=-1":    {400, "from 0"},
		"/api/v1/runs/1/cycles?after=1.5":   {400, "whole number"},
		"/api/v1/runs/1/export":             {400, "csv, jsonl or parquet"},
		"/api/v1/runs/1/export?format=xlsx": {400, "csv, jsonl or parquet"},
		"/api/v1/runs/99/export?format=csv": {404, "no such run"},
		"/api/v1/runs/1/chart/pie.svg":      {404, "rate.svg"},
		"/api/v1/runs/1/chart/rate.svg":     {404, "nothing to draw"},
		"/api/v1/runs/1/chart/waves.svg":    {404, "nothing to draw"},
		"/api/v1/runs/1/report":             {501, "ringup report"},
	} {
		w := ask(s, "GET", path, "")
		if w.Code != want.code || !strings.Contains(w.Body.String(), want.text) {
			t.Errorf("GET %s: status %d %s; want %d with %q", path, w.Code, w.Body, want.code, want.text)
		}
	}
	if got := ask(s, "DELETE", "/api/v1/runs/1", "").Code; got != 405 {
		t.Errorf("DELETE of a run: status %d, want 405", got)
	}
}

func TestReport(t *testing.T) {
	b := newBench(t)
	var fail error
	s := b.serve(Options{Report: func(w io.Writer, run int64) error {
		fmt.Fprintf(w, "<title>run %d</title>", run)
		return fail
	}})
	b.begin(1)
	if w := ask(s, "GET", "/api/v1/runs/last/report", ""); w.Code != 200 || w.Body.String() != "<title>run 1</title>" {
		t.Errorf("report: status %d %s", w.Code, w.Body)
	}
	fail = errors.New("no fonts")
	if w := ask(s, "GET", "/api/v1/runs/last/report", ""); w.Code != 500 || strings.Contains(w.Body.String(), "<title>") {
		t.Errorf("failed report: status %d %s; want 500 and no half page", w.Code, w.Body)
	}
}

func TestCharts(t *testing.T) {
	b := newBench(t)
	limits := Limits{}
	s := b.serve(Options{Limits: func(r logbook.Run) Limits {
		if r.BenchText != "[unit]" {
			t.Errorf("asked for the limits of a run whose bench file is %q", r.BenchText)
		}
		return limits
	}})
	b.begin(80)
	for i := range 80 {
		b.cycle([]float64{3.6, 2.4}[i%2], i%8 == 3)
	}
	b.mark("C7 <chilled> & held", "mark")
	for _, kind := range []string{"rate", "night", "verdicts", "waves"} {
		for _, width := range []string{"280", "720", "1600"} {
			w := ask(s, "GET", "/api/v1/runs/1/chart/"+kind+".svg?width="+width, "")
			if w.Code != 200 || w.Header().Get("Content-Type") != "image/svg+xml" {
				t.Errorf("%s at %s: status %d %s", kind, width, w.Code, w.Body)
				continue
			}
			text := w.Body.String()
			if root := wellFormed(t, strings.NewReader(text)); root != "svg" || !strings.Contains(text, `width="`+width+`"`) {
				t.Errorf("%s at %s: root element %q, or another width", kind, width, root)
			}
		}
	}
	waves := ask(s, "GET", "/api/v1/runs/1/chart/waves.svg", "").Body.String()
	for _, want := range []string{"cycle 76, 2.4 V: silent", "V: started"} { // cycles 4, 12 … 76 are silent
		if !strings.Contains(waves, want) {
			t.Errorf("waveforms lack %q", want)
		}
	}
	if strings.Contains(waves, "allowed") {
		t.Error("waveforms show an allowed time that nobody has given")
	}
	limits = Limits{StartWithinSeconds: 0.065, RailFraction: 0.5}
	waves = ask(s, "GET", "/api/v1/runs/1/chart/waves.svg", "").Body.String()
	if n := strings.Count(waves, "allowed 65"); n != 2 {
		t.Errorf("the allowed 65 ms are shown %d times, want beside failure and start alike", n)
	}
}

// wellFormed reads a whole XML document and returns the name of its root.
func wellFormed(t *testing.T, r io.Reader) (root string) {
	t.Helper()
	d := xml.NewDecoder(r)
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return root
		}
		if err != nil {
			t.Fatal(err)
		}
		if start, ok := token.(xml.StartElement); ok && root == "" {
			root = start.Name.Local
		}
	}
}
