package recording

import (
	"bytes"
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"

	"ringup/runner/verdict"
)

// FuzzRead feeds arbitrary files: whatever a stick holds, a file or an error with
// its place comes out, its records are well-formed, and they can be judged.
func FuzzRead(f *testing.F) {
	seeds := 0
	for _, pattern := range []string{folder + "/*", "../../../testdata/waveforms/w*.csv"} {
		files, err := filepath.Glob(pattern)
		if err != nil {
			f.Fatal(err)
		}
		for _, file := range files {
			text, err := os.ReadFile(file)
			if err != nil {
				f.Fatal(err)
			}
			const few = 3000 // bytes: a mutation of the layout says more than one of row 2000
			f.Add(text[:min(len(text), few)])
			seeds++
		}
	}
	if seeds < 20 {
		f.Fatalf("only %d seeds", seeds)
	}
	f.Add([]byte("time,CH1\n0,1\n0,3\n1,2\n1,0\n2,5\n2,4\n"))
	f.Add([]byte("Sample interval;1 us\nClock\n0,5\n0,25\n0,75\n"))
	f.Add([]byte("# supply: set_volts=3.6\n# record: lamp start_seconds=0 step_seconds=1\nlamp_min_v,lamp_max_v\n1,2\n"))
	f.Add([]byte(`{"format":"i8","peak_detect":true,"step_seconds":0.1,"channels":[{"name":"CH1","volts_per_code":1}]}` + "\n\xff\x01\xfe\x02"))
	f.Fuzz(func(t *testing.T, text []byte) {
		file, err := Read("f", bytes.NewReader(text), Options{})
		if err != nil {
			var place *Error
			if !errors.As(err, &place) || place.Expected == "" || place.Found == "" || place.Line > 0 && place.Column < 1 {
				t.Fatalf("error without a place: %v", err)
			}
			return
		}
		for _, c := range file.Channels {
			if len(c.Peaks.Min) != len(c.Peaks.Max) {
				t.Fatalf("%s: %d minima, %d maxima", c.Name, len(c.Peaks.Min), len(c.Peaks.Max))
			}
			for i := range min(c.Record.Len(), 100) {
				if v := c.Record.At(i); math.IsNaN(v) && len(c.Record.Volts) == 0 {
					t.Fatalf("%s: sample %d is not a number", c.Name, i)
				}
			}
		}
		x := verdict.Expect{SetVolts: 3.3, RailFraction: .5, ClockHertz: 7.3728e6, FrequencyWithin: .01, StartWithinSeconds: 1}
		if _, _, err := file.Expect(&x); err != nil {
			return
		}
		e, _, err := file.Evidence(Roles{})
		if err != nil {
			return
		}
		if j := verdict.Judge(e, x); j.Verdict == "" || j.Reason == "" {
			t.Fatalf("judged %+v", j)
		}
	})
}
