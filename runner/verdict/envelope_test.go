package verdict

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// The start-up envelope A(t) = Vs/sqrt(1+((Vs/a0)^2-1)exp(-2t/tau)) with
// Vs = .9 V, a0 = 1 mV, tau = 25 µs passes 10, 50 and 90 % of Vs at the times
// t = (tau/2) ln[((Vs/a0)^2-1)/(1/f^2-1)].
func TestEnvelopeClosedForm(t *testing.T) {
	const vs, a0, tau, step = .9, 1e-3, 25e-6, 0.1e-6
	trace := Trace{StartSeconds: -50e-6, StepSeconds: step}
	for i := range 4000 {
		a := 0.0
		if at := trace.StartSeconds + float64(i+1)*step; at > 0 { // a bin's peak is that of its end
			a = vs / math.Sqrt(1+(vs*vs/(a0*a0)-1)*math.Exp(-2*at/tau))
		}
		trace.Min, trace.Max = append(trace.Min, -a), append(trace.Max, a)
	}
	e := peakEnvelope(trace, 0)
	whole := span{e.first, len(e.amplitude)}
	for fraction, want := range map[float64]float64{.1: 112.6208555243e-6, .5: 156.3272000426e-6, .9: 188.1849808448e-6} {
		if _, got := e.reaches(whole, fraction*vs); math.Abs(got-want) > 1e-9 {
			t.Errorf("%v of steady after %.6f µs, want %.6f µs", fraction, got*1e6, want*1e6)
		}
	}
	top, _ := e.reaches(whole, .9*vs)
	if got, _ := e.growth(top, vs); math.Abs(got/tau-1) > 1e-9 {
		t.Errorf("time constant %v s, want %v s", got, tau)
	}
}

// The rising edge of a noise-free trapezoid, .2 V to 3.1 V between 300.3 and
// 350.3 µs: linear interpolation finds the instants exactly.
func TestCrossingTrapezoid(t *testing.T) {
	trace := sampled(1000, 1e6, func(t float64) float64 {
		return .2 + 2.9*min(1, max(0, (t-300.3e-6)/50e-6))
	})
	for fraction, want := range map[float64]float64{.1: 305.3e-6, .5: 325.3e-6, .9: 345.3e-6} {
		if got := crossing(trace, trace.Max, .2+fraction*2.9); math.Abs(got-want) > 1e-12 {
			t.Errorf("crosses %v of the edge at %v s, want %v s", fraction, got, want)
		}
	}
	trace.StartSeconds = -325.3e-6
	r := readRail(trace, 3.1, .5)
	if math.Abs(r.riseSeconds-40e-6) > 1e-12 || r.volts != 3.1 || !r.reached || r.alreadyUp {
		t.Errorf("rail %+v, want a rise of 40 µs to 3.1 V", r)
	}
}

// A bias that moves is no oscillation, however fast; an oscillation on it is.
func TestSpreadsIgnoreDrift(t *testing.T) {
	const step = 1e-3
	ramp := Trace{StepSeconds: step}
	for i := range 100 {
		low := float64(i) * .1
		ramp.Min, ramp.Max = append(ramp.Min, low-.5), append(ramp.Max, low+.1+.5)
	}
	for i, s := range spreads(ramp) {
		if math.Abs(s-1) > 1e-9 {
			t.Errorf("bin %d of a 0.5 V oscillation on a ramp spreads by %v V", i, s)
		}
	}
}

func TestMedianOfFive(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.Float64Range(-1, 1), 5, 40).Draw(t, "values")
		got := medianOfFive(v)
		for i := 2; i+2 < len(v); i++ {
			if want := median(v[i-2 : i+3]); math.Abs(got[i]-want) > 1e-300 {
				t.Fatalf("median around %d of %v is %v, want %v", i, v, got[i], want)
			}
		}
		slices.Sort(v)
		if got := medianOfFive(v); !slices.Equal(got, v) {
			t.Fatalf("a growing envelope %v became %v", v, got)
		}
	})
}

func TestSustained(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := envelope{
			amplitude: rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 60).Draw(t, "amplitude"),
			lasting:   rapid.IntRange(1, 9).Draw(t, "lasting"),
		}
		from := rapid.IntRange(0, len(e.amplitude)).Draw(t, "from")
		want := 0.0
		for i := from; i+e.lasting <= len(e.amplitude); i++ {
			want = max(want, slices.Min(e.amplitude[i:i+e.lasting]))
		}
		if got := e.sustained(from, len(e.amplitude)); got != want {
			t.Fatalf("sustained %v, want %v", got, want)
		}
	})
}
