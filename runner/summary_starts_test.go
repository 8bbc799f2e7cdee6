package runner

import (
	"math"
	"strings"
	"testing"

	"ringup/runner/failrate"
)

// Twenty of thirty cycles start, after 1, 2 … 20 ms: half within 15.5 ms, as R's survfit has it; nine tenths never.
func TestStartTimes(t *testing.T) {
	var cycles []failrate.Cycle
	for i := range 30 {
		c := failrate.Cycle{Treatment: AsFound, Volts: 2.2, Failed: i >= 20, StartSeconds: math.NaN(), WatchSeconds: .08}
		if i < 20 {
			c.StartSeconds = 1e-3 * float64(i+1)
		}
		cycles = append(cycles, c)
	}
	condition := failrate.Condition{Treatment: AsFound, Volts: 2.2}
	s, ok := startTimesOf(condition, cycles)
	if !ok || s.Cycles != 30 || s.Started != 20 || s.WindowSeconds != .08 || len(s.Within) != 3 {
		t.Fatalf("%v %+v", ok, s)
	}
	if half := s.Within[0]; half.Seconds == nil || math.Abs(*half.Seconds-.0155) > 1e-12 || half.Low == nil || *half.Low >= *half.Seconds {
		t.Errorf("half of the starts: %+v", half)
	}
	for _, beyond := range s.Within[1:] {
		if beyond.Seconds != nil || beyond.High != nil {
			t.Errorf("%v of the starts: %+v, want none within the window", beyond.Share, beyond)
		}
	}
	if _, ok := startTimesOf(condition, cycles[:leastStarts-1]); ok {
		t.Errorf("%d cycles are described", leastStarts-1)
	}
	for i := range cycles { // a window that is not known is longer than any start
		cycles[i].WatchSeconds = 0
	}
	if again, _ := startTimesOf(condition, cycles); again.Started != 20 || *again.Within[0].Seconds != *s.Within[0].Seconds || again.Curve != nil {
		t.Errorf("without a window: %+v", again)
	}
}

// Start times drawn evenly from a distribution are described by it.
func TestStartCurve(t *testing.T) {
	for family, quantile := range map[string]func(p float64) float64{
		"lognormal": func(p float64) float64 { return .02 * math.Exp(.3*math.Sqrt2*math.Erfinv(2*p-1)) },
		"weibull":   func(p float64) float64 { return .02 * math.Pow(-math.Log1p(-p), 1./3) },
	} {
		var cycles []failrate.Cycle
		for i := range 200 {
			cycles = append(cycles, failrate.Cycle{Treatment: AsFound, Volts: 2.2, StartSeconds: quantile((float64(i) + .5) / 200), WatchSeconds: .08})
		}
		s, ok := startTimesOf(failrate.Condition{Treatment: AsFound, Volts: 2.2}, cycles)
		if !ok || s.Curve == nil || s.Curve.Family != family || math.Abs(s.Curve.Scale/.02-1) > .01 || len(s.Curve.Within) != len(s.Within) {
			t.Errorf("%s: %+v", family, s.Curve)
		}
	}
}

func TestRestEffect(t *testing.T) {
	var cycles []failrate.Cycle
	for i := range 80 {
		c := failrate.Cycle{Treatment: AsFound, Volts: 2.2, StartSeconds: .02, RestSeconds: 5}
		if i%2 == 1 {
			c.RestSeconds, c.Failed = 50, i%4 == 1
		}
		cycles = append(cycles, c)
	}
	condition := failrate.Condition{Treatment: AsFound, Volts: 2.2}
	e, ok := restEffectOf(condition, cycles)
	want := []RestCounts{{5, failrate.Counts{Cycles: 40}}, {50, failrate.Counts{Failures: 20, Cycles: 40}}}
	if !ok || len(e.Rests) != 2 || e.Rests[0] != want[0] || e.Rests[1] != want[1] || e.P > 1e-4 || !strings.Contains(e.Sentence, "fails more often the longer it rests") {
		t.Errorf("%v %+v", ok, e)
	}
	for i := range cycles {
		cycles[i].RestSeconds = 5
	}
	if e, ok := restEffectOf(condition, cycles); ok {
		t.Errorf("one rest has an effect: %+v", e)
	}
}
