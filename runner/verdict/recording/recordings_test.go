package recording

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"ringup/runner/verdict"
)

const folder = "../../../testdata/recordings"

// recorded says what each file of testdata/recordings is: see the README there.
var recorded = map[string]struct {
	rail, clock string
	step        float64 // s, of the clock
	samples     int     // of the clock
	verdict     verdict.Verdict
	start       float64 // s, by the closed form below; NaN: none
}{
	"comma-time.csv":              {"CH1", "CH2", 4e-8, 3000, verdict.Started, closed(1.2, 2e-3, 3e-6, 4e-6)},
	"semicolon-decimal-comma.csv": {"VDD", "XOUT", 4e-8, 3200, verdict.Late, closed(1.2, 2e-3, 7e-6, 4e-6)},
	"tab-units.tsv":               {"Channel A", "Channel B", 5e-8, 2500, verdict.Weak, math.NaN()},
	"interval-in-header.csv":      {"CH1", "CH2", 5e-8, 2400, verdict.Silent, math.NaN()},
	"keys-beside-rows.csv":        {"", "CH2", 4e-8, 2500, verdict.Started, closed(1.2, 2e-3, 3e-6, 4e-6)},
	"index-increment.csv":         {"CH1", "CH2", 4e-8, 3000, verdict.OffFrequency, math.NaN()},
	"peak-two-rows.csv":           {"CH1", "CH2", 8e-5, 1200, verdict.DroppedOut, closed(1.2, 1e-3, 1.1e-3, 1e-3)},
	"peak-min-max.csv":            {"Rail", "Clock", 8e-5, 1200, verdict.Started, closed(1.2, 1e-3, 1.4e-3, 1e-3)},
	"blanks-scientific.txt":       {"column 3", "column 2", 4e-8, 2600, verdict.Started, closed(1.2, 2e-3, 4e-6, 4e-6)},
	"coarse-time.csv":             {"vdd", "clk", 2e-8, 4000, verdict.Started, closed(1.2, 2e-3, 3e-6, 4e-6)},
	"gaps.csv":                    {"Rail", "Clock", 4e-8, 3000, verdict.Started, closed(1.2, 2e-3, 3e-6, 4e-6)},
	"two-time-columns.csv":        {"VDD", "CLK", 4e-8, 3000, verdict.Started, closed(1.2, 2e-3, 3e-6, 4e-6)},
	"one-column.csv":              {"", "CH2", 4e-8, 2600, verdict.Started, closed(1.2, 2e-3, 3e-6, 4e-6)},
	"zipped.csv.gz":               {"rail", "clock", 4e-8, 3000, verdict.Started, closed(.9, 2e-3, 3e-6, 4e-6)},
	"raw8.json":                   {"rail", "clock", 4e-8, 4000, verdict.Started, closed(1.2, 2e-3, 3e-6, 4e-6)},
	"raw16.raw":                   {"VDD", "CLK", 4e-8, 3500, verdict.Late, closed(1.2, 2e-3, 7e-6, 4e-6)},
}

// closed is when A(t) = S/sqrt(1+((S/a0)²-1)exp(-2(t-t0)/tau)) reaches 90 % of S.
func closed(s, a0, tau, t0 float64) float64 {
	return t0 + tau/2*math.Log((s*s/(a0*a0)-1)/(1/.81-1))
}

func TestRecordings(t *testing.T) {
	files, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, entry := range files {
		name := entry.Name()
		if name == "README.md" || name == "raw8.bin" {
			continue
		}
		seen++
		t.Run(name, func(t *testing.T) {
			want, known := recorded[name]
			if !known {
				t.Fatal("says nowhere what it is to give")
			}
			f, err := Open(filepath.Join(folder, name), Options{})
			if err != nil {
				t.Fatal(err)
			}
			e, choices, err := f.Evidence(Roles{})
			if err != nil {
				t.Fatal(err)
			}
			got := map[string]string{}
			for _, c := range choices {
				got[c.Role] = c.Channel
			}
			if got["rail"] != want.rail || got["clock"] != want.clock || e.NoRail != (want.rail == "") {
				t.Errorf("took %v, want rail %q and clock %q", choices, want.rail, want.clock)
			}
			step, samples := e.ClockRecord.StepSeconds, e.ClockRecord.Len()
			if samples == 0 {
				step, samples = e.Clock.StepSeconds, len(e.Clock.Min)
			}
			if math.Abs(step/want.step-1) > 1e-9 || samples != want.samples {
				t.Errorf("%d samples of %v s, want %d of %v s", samples, step, want.samples, want.step)
			}
			x := verdict.Expect{
				SetVolts: 3.3, RailFraction: 0.5, ClockHertz: 7.3728e6, FrequencyWithin: 0.01,
				AmplitudeMinVolts: 0.8, StartWithinSeconds: 40e-6, WatchSeconds: 100e-6,
			}
			if step > 1e-6 {
				x.StartWithinSeconds, x.WatchSeconds = 65e-3, 80e-3
			}
			if _, _, err := f.Expect(&x); err != nil {
				t.Fatal(err)
			}
			j := verdict.Judge(e, x)
			if j.Verdict != want.verdict {
				t.Errorf("verdict %s (%s), want %s", j.Verdict, j.Reason, want.verdict)
			}
			if late := math.Abs(j.StartSeconds - want.start); !(late < 0.02*x.WatchSeconds) && !math.IsNaN(want.start) {
				t.Errorf("started after %v s, want %v s", j.StartSeconds, want.start)
			}
		})
	}
	if seen != len(recorded) {
		t.Errorf("%d files, want %d", seen, len(recorded))
	}
}
