package failrate

import (
	"math"
	"strings"
	"testing"
)

// All six orders of three and three values that put one group first have, with
// U = 0, a probability of 1 in 20 (Hollander and Wolfe (1999), table A.6). So the
// whole range of the differences is sure to 90 % and no more, and an interval of
// 95 % has no ends.
func TestShiftOfFewValues(t *testing.T) {
	a, b := []float64{1, 2, 4}, []float64{10, 20, 40}
	s, err := Shift(a, b, .9)
	if err != nil || !s.Exact || s.P != .1 || s.Interval.Low != -39 || s.Interval.High != -6 {
		t.Errorf("at 90 %%: %+v, %v", s, err)
	}
	if s, err = Shift(a, b, .95); err != nil || !math.IsInf(s.Interval.Low, -1) || !math.IsInf(s.Interval.High, 1) || s.Interval.Estimate != -18 {
		t.Errorf("at 95 %%: %+v, %v", s, err)
	}
	// The same where ties leave no exact distribution, and of a single value.
	for _, c := range [][2][]float64{{{1, 2, 2}, {10, 20, 20}}, {{1}, {10}}} {
		if s, err = Shift(c[0], c[1], .95); err != nil || !math.IsInf(s.Interval.Low, -1) || !math.IsInf(s.Interval.High, 1) {
			t.Errorf("%v: %+v, %v", c, s, err)
		}
	}
	r, err := Ratio(a, b, .95)
	if err != nil || r.Interval.Low != 0 || !math.IsInf(r.Interval.High, 1) || !near(r.Interval.Estimate, .1, 1e-12) {
		t.Errorf("as a factor: %+v, %v", r, err)
	}
	var of [2]Sample
	for i, times := range [][]float64{a, b} {
		for _, seconds := range times {
			of[i].Cycles = append(of[i].Cycles, Cycle{Volts: 3, StartSeconds: seconds / 1000, GrowthSeconds: math.NaN()})
		}
	}
	compared, err := Compare(of[0], of[1], .95)
	if want := "2 ms against 20 ms, 0.1 times (no limits can be given), p = 0.081"; err != nil || !strings.Contains(compared.Sentence(), want) {
		t.Errorf("%v, %v; want %q", compared.Sentence(), err, want)
	}
}
