package verdict

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Codes of 8 and of 16 bits and volts give the same bins, whatever the scale.
func TestRecordKindsAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		codes := rapid.SliceOfN(rapid.Uint8(), 16, 400).Draw(t, "codes")
		per := rapid.IntRange(1, 40).Draw(t, "samples a bin")
		r := Record{
			StepSeconds: 1e-6, Codes8: codes, LowCode: 0, HighCode: 255,
			ZeroCode: rapid.Float64Range(0, 255).Draw(t, "zero"), VoltsPerCode: rapid.SampledFrom([]float64{.02, -.02, 1}).Draw(t, "scale"),
		}
		wide, volts := r, r
		wide.Codes8, volts.Codes8 = nil, nil
		for i, c := range codes {
			wide.Codes16 = append(wide.Codes16, uint16(c))
			volts.Volts = append(volts.Volts, r.At(i))
		}
		a, b, c := r.binned(per), wide.binned(per), volts.binned(per)
		for i := range a.mean {
			v := volts.Volts[i*per : (i+1)*per]
			if a.t.Min[i] != slices.Min(v) || a.t.Max[i] != slices.Max(v) {
				t.Fatalf("bin %d is %v to %v V, want %v to %v V", i, a.t.Min[i], a.t.Max[i], slices.Min(v), slices.Max(v))
			}
			if a.mean[i] != b.mean[i] || a.power[i] != b.power[i] || a.t.Min[i] != b.t.Min[i] || a.t.Max[i] != b.t.Max[i] {
				t.Fatalf("bin %d differs between 8 and 16 bits", i)
			}
			scale := math.Abs(r.VoltsPerCode) * 255
			if math.Abs(a.mean[i]-c.mean[i]) > 1e-12*scale || math.Abs(a.power[i]-c.power[i]) > 1e-11*scale*scale {
				t.Fatalf("bin %d: mean %v V and power %v V² of codes, %v V and %v V² of volts", i, a.mean[i], a.power[i], c.mean[i], c.power[i])
			}
		}
	})
}

func TestRecordFlaws(t *testing.T) {
	good := func() Record {
		return Record{StepSeconds: 1e-6, Codes8: make([]uint8, 100), VoltsPerCode: .02, HighCode: 255}
	}
	if err := good().flaw(); err != nil {
		t.Error(err)
	}
	for reason, spoil := range map[string]func(r *Record){
		"missing":           func(r *Record) { r.Codes8 = nil },
		"both":              func(r *Record) { r.Volts = []float64{1} },
		"no time axis":      func(r *Record) { r.StepSeconds = 0 },
		"no voltage scale":  func(r *Record) { r.VoltsPerCode = math.NaN() },
		"voltage scale":     func(r *Record) { r.VoltsPerCode = 1e300 },
		"no probe bears":    func(r *Record) { r.Codes8, r.Volts = nil, []float64{0, -1e300} },
		"gap from sample 9": func(r *Record) { r.Gaps = []Gap{{9, 9}} },
		"gap from sample 3": func(r *Record) { r.Gaps = []Gap{{5, 7}, {3, 4}} },
		"not a number at sample 2 of 2": func(r *Record) {
			r.Codes8, r.Volts = nil, []float64{0, math.Inf(1)}
		},
	} {
		r := good()
		spoil(&r)
		if err := r.flaw(); err == nil || !strings.Contains(err.Error(), reason) {
			t.Errorf("want %q: %v", reason, err)
		}
		e := healthy().evidence()
		e.ClockRecord = r
		if r.Len() > 0 {
			if j := Judge(e, healthy().expect()); j.Verdict != Unread || !strings.Contains(j.Reason, reason) {
				t.Errorf("%s: %q, want %q", j.Verdict, j.Reason, reason)
			}
		}
	}
}

// Peaks of a long record are those of its parts; a short one stays as it is.
func TestPeaks(t *testing.T) {
	r := Record{StartSeconds: -1, StepSeconds: 1, Codes8: []uint8{1, 5, 2, 9, 9, 0, 4, 4}, VoltsPerCode: 2, ZeroCode: 1, HighCode: 255}
	if p := r.Peaks(8); !p.plain() || len(p.Max) != 8 || p.Max[3] != 16 {
		t.Errorf("%+v", p)
	}
	p := r.Peaks(4)
	if !slices.Equal(p.Min, []float64{0, 2, -2, 6}) || !slices.Equal(p.Max, []float64{8, 16, 16, 6}) || p.StepSeconds != 2 || p.StartSeconds != -1 {
		t.Errorf("%+v", p)
	}
	if r.EndSeconds() != 7 || r.At(5) != -2 {
		t.Errorf("ends after %v s with %v V", r.EndSeconds(), r.At(5))
	}
}

// A record sampled too slowly gives no frequency unless the bench allows the
// alias, and says so either way.
func TestAlias(t *testing.T) {
	for _, use := range []bool{false, true} {
		s := healthy()
		s.steadyRate = 5e6
		e, x := s.evidence(), s.expect()
		x.UseAlias = use
		j := Judge(e, x)
		if j.Verdict != Started || !strings.Contains(j.Reason, map[bool]string{false: "not checked", true: "read from an alias"}[use]) {
			t.Errorf("alias %v: %s: %q", use, j.Verdict, j.Reason)
		}
		if got := j.FrequencyHertz; use != (math.Abs(got-expectedHertz) < 50) || use == math.IsNaN(got) {
			t.Errorf("alias %v: %v Hz", use, got)
		}
	}
	if got := unfold(1.2e6, 10e6, 8.9e6); got != 8.8e6 {
		t.Errorf("1.2 MHz at 10 MS/s is %v Hz of 8.9 MHz", got)
	}
	if got := unfold(1.2e6, 10e6, 11e6); got != 11.2e6 {
		t.Errorf("1.2 MHz at 10 MS/s is %v Hz of 11 MHz", got)
	}
	// A sampling rate that makes the clock stand still shows no envelope either.
	e, x := healthy().evidence(), healthy().expect()
	e.ClockRecord = Record{StepSeconds: 1 / expectedHertz, Codes8: make([]uint8, 100_000), VoltsPerCode: .02, HighCode: 255}
	if j := Judge(e, x); j.Verdict != Unread || !strings.Contains(j.Reason, "choose another sampling rate") {
		t.Errorf("%s: %q", j.Verdict, j.Reason)
	}
}
