package verdict

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ringup/runner/verdict/internal/vectors"
)

// corpus reads every vector of testdata/waveforms.
func corpus(t testing.TB) map[string]vectors.File {
	paths, err := filepath.Glob("../../testdata/waveforms/*.csv")
	if err != nil {
		t.Fatal(err)
	}
	const fewest = 150
	if len(paths) < fewest {
		t.Fatalf("testdata/waveforms holds %d vectors; there should be at least %d", len(paths), fewest)
	}
	files := map[string]vectors.File{}
	for _, path := range paths {
		f, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		v, err := vectors.Read(f)
		f.Close()
		if err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		files[strings.TrimSuffix(filepath.Base(path), ".csv")] = v
	}
	return files
}

// TestCorpus judges every vector and demands what it expects.
func TestCorpus(t *testing.T) {
	seen := map[Verdict]int{}
	for name, v := range corpus(t) {
		seen[Verdict(v.Expect.Verdict)]++
		t.Run(name, func(t *testing.T) {
			j := Judge(evidenceOf(v.Records, v.Limits), expectOf(v.Limits))
			meets(t, j, v.Expect)
			if t.Failed() {
				t.Logf("%s\n%s; warnings %q", v.Comment, j.Reason, j.Warnings)
			}
		})
	}
	for _, v := range Verdicts {
		if seen[v] < 5 {
			t.Errorf("only %d vectors expect %s", seen[v], v)
		}
	}
}

// meets holds a judgement to what a vector expects of it.
func meets(t *testing.T, j Judgement, want vectors.Expect) {
	t.Helper()
	if string(j.Verdict) != want.Verdict {
		t.Errorf("verdict %s, want %s", j.Verdict, want.Verdict)
	}
	measures := map[string]float64{
		"start_seconds": j.StartSeconds, "frequency_hz": j.FrequencyHertz, "amplitude_v": j.AmplitudeVolts,
		"growth_seconds": j.GrowthSeconds, "dropout_seconds": j.DropoutSeconds,
		"rail_rise_seconds": j.RailRiseSeconds, "rail_v": j.RailVolts, "rail_sag_v": j.RailSagVolts, "lamp_hz": j.LampHertz,
	}
	for _, m := range want.Measures {
		got, known := measures[m.Name]
		switch {
		case !known:
			t.Errorf("nothing is known of a measure %s", m.Name)
		case math.IsNaN(m.Value) && !math.IsNaN(got):
			t.Errorf("%s is %g, want none", m.Name, got)
		case !math.IsNaN(m.Value) && !(math.Abs(got-m.Value) <= m.Within):
			t.Errorf("%s is %g, want %g±%g", m.Name, got, m.Value, m.Within)
		}
	}
	if want.Lamp != "" && string(j.Lamp) != want.Lamp {
		t.Errorf("lamp %q, want %q", j.Lamp, want.Lamp)
	}
	if want.Disagree != "" && j.Disagree != (want.Disagree == "yes") {
		t.Errorf("witnesses disagree: %v, want %s", j.Disagree, want.Disagree)
	}
	if want.Warning != "" && !strings.Contains(strings.Join(j.Warnings, "\n"), want.Warning) {
		t.Errorf("no warning holds %q: %q", want.Warning, j.Warnings)
	}
}

// FuzzCorpus starts from every vector and changes codes, times and limits at
// will: whatever a converter sends, a judgement comes out and nothing panics.
func FuzzCorpus(f *testing.F) {
	for _, v := range corpus(f) {
		r, gap := v.Records, vectors.Gap{}
		if len(r.Clock.Gaps) > 0 {
			gap = r.Clock.Gaps[0]
		}
		f.Add(r.Rail.Low, r.Rail.High, r.Clock.Low, r.Clock.High, r.Steady.Low, r.Clock.Plain(), gap.From, gap.To,
			r.Clock.StartSeconds, r.Clock.StepSeconds, r.Clock.ZeroVolts, r.Clock.CodeVolts,
			v.Limits.SetVolts, v.Limits.StartWithinSeconds, v.Limits.AmplitudeMinVolts, r.SupplyVolts)
	}
	f.Fuzz(func(t *testing.T, railLow, railHigh, low, high, steady []byte, plain bool, gapFrom, gapTo int,
		start, step, zero, code, set, within, least, supply float64) {
		channel := func(low, high []byte, step float64) vectors.Channel {
			n := min(len(low), len(high))
			c := vectors.Channel{StartSeconds: start, StepSeconds: step, Low: low[:n], High: high[:n], ZeroVolts: zero, CodeVolts: code}
			if plain {
				c.High = c.Low
			}
			return c
		}
		r := vectors.Records{
			Rail: channel(railLow, railHigh, step), Clock: channel(low, high, step), Steady: channel(steady, steady, step/1e4),
			SupplyVolts: supply, SupplyAmps: math.NaN(),
		}
		r.Clock.Gaps = []vectors.Gap{{From: gapFrom, To: gapTo}}
		wellFormed(t, Judge(evidenceOf(r, vectors.Limits{SetVolts: set}), expectOf(vectors.Limits{
			SetVolts: set, RailFraction: 0.5, ClockHertz: 7.3728e6, FrequencyWithin: 0.01,
			AmplitudeMinVolts: least, StartWithinSeconds: within, WatchSeconds: within, UseAlias: gapTo%2 == 1,
		})))
	})
}
