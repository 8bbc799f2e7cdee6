package verdict

import (
	"math"
	"testing"
)

// A single sample over the level is a spike, not the rail; the last sample of a
// record cannot show more.
func TestCrossing(t *testing.T) {
	step := Trace{StepSeconds: 1}
	for _, c := range []struct {
		volts []float64
		want  float64 // s
	}{
		{[]float64{0, 3, 0, 0, 2, 3}, 3.5},
		{[]float64{0, 3, 0, 2}, 2.5},
		{[]float64{0, 3, 0, 0}, math.NaN()},
		{[]float64{3, 3, 3}, math.NaN()},
		{[]float64{3, 0, 4, 4}, 1.25},
		{[]float64{1}, math.NaN()},
	} {
		step.Min, step.Max = c.volts, c.volts
		if got := crossing(step, c.volts, 1); got != c.want && !(math.IsNaN(got) && math.IsNaN(c.want)) {
			t.Errorf("%v V crosses 1 V at %v s, want %v s", c.volts, got, c.want)
		}
	}
}

// A converter that flickers between two codes is no sag; three codes are one.
func TestSagBeyondACode(t *testing.T) {
	const code = 0.02
	rail := func(dip int) float64 {
		r := Trace{StartSeconds: -100, StepSeconds: 1, LowVolts: 0, HighVolts: 256 * code, Codes: 256}
		for i := range 400 {
			v := 0.0
			if i >= 100 {
				v = 180*code - float64(i%2)*code
			}
			if i >= 300 && i < 310 {
				v = (180 - float64(dip)) * code
			}
			r.Max = append(r.Max, v)
		}
		r.Min = r.Max
		return readRail(r, 180*code, .5).sag
	}
	if sag := rail(1); sag != 0 {
		t.Errorf("a flicker of a code is a sag of %v V", sag)
	}
	if sag := rail(2); sag != 0 {
		t.Errorf("two codes are a sag of %v V", sag)
	}
	if sag := rail(3); math.Abs(sag-3*code) > 1e-12 {
		t.Errorf("three codes are a sag of %v V", sag)
	}
}
