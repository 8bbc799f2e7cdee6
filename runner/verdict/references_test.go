package verdict

import (
	"bufio"
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// readTestRecord reads the second column of a table of testdata as a plain record.
func readTestRecord(t *testing.T, name string, step float64) Trace {
	t.Helper()
	f, err := os.Open("../../testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := bufio.NewReader(f)
	if line, err := r.ReadString('\n'); err != nil || !strings.HasPrefix(line, "# source:") {
		t.Fatalf("first line %q does not name the source", line)
	}
	rows, err := csv.NewReader(r).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	trace := Trace{StepSeconds: step}
	for _, row := range rows[1:] {
		v, err := strconv.ParseFloat(row[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		trace.Max = append(trace.Max, v)
	}
	trace.Min = trace.Max
	return trace
}

// trapezoid rises from .2 V to 3.1 V between 300.3 and 350.3 µs and falls again
// between 1200.7 and 1280.7 µs; 2000 samples of 1 µs.
func trapezoid() Trace {
	return sampled(2000, 1e6, func(t float64) float64 {
		up := min(1, max(0, (t-300.3e-6)/50e-6))
		down := min(1, max(0, (t-1200.7e-6)/80e-6))
		return .2 + 2.9*(up-down)
	})
}

// By linear interpolation all instants of a noise-free trapezoid are exact: its
// closed form. The histogram's mode has half a bin's width of bias.
func TestTrapezoid(t *testing.T) {
	trace := trapezoid()
	falling := trace
	falling.Max = make([]float64, len(trace.Max))
	for i, v := range trace.Max {
		falling.Max[i] = 3.3 - v
	}
	falling.Min = falling.Max
	for _, c := range []struct {
		t              Trace
		fraction, want float64
	}{
		{trace, .1, 305.3e-6}, {trace, .5, 325.3e-6}, {trace, .9, 345.3e-6},
		{falling, .1, 1208.7e-6}, {falling, .5, 1240.7e-6}, {falling, .9, 1272.7e-6},
	} {
		v := c.t.Max
		from := 0
		if c.want > 1e-3 {
			from = 700
			v = v[from:]
		}
		got := crossing(c.t, v, .2+c.fraction*2.9) + float64(from)*1e-6
		if math.Abs(got-c.want) > 1e-12 {
			t.Errorf("crosses %v after %v s, want %v s", c.fraction, got, c.want)
		}
	}
	l := stateLevels(trace.Max)
	for what, m := range map[string][2]float64{
		"low mode": {l.lowMode, .2145}, "high mode": {l.highMode, 3.0855}, "low": {l.low, .2}, "high": {l.high, 3.1},
	} {
		if math.Abs(m[0]-m[1]) > 1e-9 {
			t.Errorf("%s %v V, want %v V", what, m[0], m[1])
		}
	}
}

// The levels of the trapezoid in 20 mV of noise, computed once more by another program.
func TestNoisyTrapezoid(t *testing.T) {
	l := stateLevels(readTestRecord(t, "w2_noisy_trapezoid.csv", 1e-6).Max)
	for what, m := range map[string][2]float64{
		"low mode": {l.lowMode, .2120381831}, "high mode": {l.highMode, 3.0899335790},
		"low": {l.low, .2024891083}, "high": {l.high, 3.0987025681},
	} {
		if math.Abs(m[0]-m[1]) > 1e-9 {
			t.Errorf("%s %.10f V, want %.10f V", what, m[0], m[1])
		}
	}
}

// What stands beside scipy's curve_fit of the same record.
func TestDeviationsOfFit(t *testing.T) {
	s, err := FitSine(w3(t), 0)
	if err != nil {
		t.Fatal(err)
	}
	amplitude, hertz, _ := s.deviations(1024, 1e-8)
	for what, m := range map[string][3]float64{
		// curve_fit divides by the degrees of freedom, 1020 of 1024 samples.
		"amplitude": {amplitude * math.Sqrt(1024.0/1020), 4.380530e-4, 1e-3},
		"frequency": {hertz * math.Sqrt(1024.0/1020), 27.67637, 2e-3},
		"A":         {s.AmplitudeVolts, .850536838401, 1e-10},
		"f":         {s.FrequencyHertz, 7999338.840987, 1e-10},
		"phase":     {s.PhaseRadians, .699016597218, 1e-8},
	} {
		if math.Abs(m[0]/m[1]-1) > m[2] {
			t.Errorf("%s %v, scipy %v", what, m[0], m[1])
		}
	}
	// The Cramer-Rao bound for 10 mV.
	s.AmplitudeVolts, s.ResidualVolts = .85, .01
	amplitude, hertz, _ = s.deviations(1024, 1e-8)
	if math.Abs(amplitude/4.419417e-4-1) > 1e-6 || math.Abs(hertz/27.993493-1) > 1e-6 {
		t.Errorf("bounds %v V and %v Hz, want 4.419417e-4 V and 27.993493 Hz", amplitude, hertz)
	}
}

// Edges in closed form: their 10 % to 90 % durations and overshoots are exact
// mathematics (a single pole: ln 9 tau; an error function: 2 sqrt 2 erfinv(.8)
// sigma; a pair of poles: exp(-pi zeta/sqrt(1-zeta²))).
func TestEdges(t *testing.T) {
	const n, rate, at = 40_000, 1e6, 4e-3
	edge := func(f func(t float64) float64) rail {
		trace := sampled(n, rate, func(t float64) float64 { return 3 * f(t-at) })
		return readRail(trace, 3, .5)
	}
	step := func(f func(t float64) float64) func(float64) float64 {
		return func(t float64) float64 {
			if t <= 0 {
				return 0
			}
			return f(t)
		}
	}
	const tau = 500e-6
	for _, c := range []struct {
		what string
		got  rail
		rise float64
	}{
		{"single pole", edge(step(func(t float64) float64 { return 1 - math.Exp(-t/tau) })), 2.197224577336 * tau},
		{"gaussian", edge(func(t float64) float64 { return .5 + .5*math.Erf(t/tau/math.Sqrt2) }), 2.563103131089 * tau},
		{"ramp", edge(func(t float64) float64 { return min(1, max(0, t/tau+.5)) }), .8 * tau},
	} {
		if math.Abs(c.got.riseSeconds/c.rise-1) > 1e-4 || c.got.overshoot > 1e-6 {
			t.Errorf("%s: %v s with %v over, want %v s", c.what, c.got.riseSeconds, c.got.overshoot, c.rise)
		}
	}
	for zeta, want := range map[float64]float64{.2: .526620599330, .4: .253826721980, .5: .163033534522, .7071: .043213918264} {
		damped := math.Sqrt(1 - zeta*zeta)
		r := edge(step(func(t float64) float64 {
			x := t / tau
			return 1 - math.Exp(-zeta*x)*(math.Cos(damped*x)+zeta/damped*math.Sin(damped*x))
		}))
		if math.Abs(r.overshoot-want) > 1e-5 {
			t.Errorf("damping %v: overshoot %v, want %v", zeta, r.overshoot, want)
		}
	}
}

// Root mean square over peak-to-peak is .353553390593 of a sine, .288675134595 of
// a triangle and .5 of a square: exact.
func TestPowerOfShapes(t *testing.T) {
	const per = 1000
	for shape, f := range map[float64]func(x float64) float64{
		.353553390593: func(x float64) float64 { return math.Cos(2 * math.Pi * x) },
		.288675134595: func(x float64) float64 { return 4*math.Abs(x-.5) - 1 },
		.5:            func(x float64) float64 { return math.Copysign(1, .4999-x) },
	} {
		codes := make([]uint16, 3*per)
		for i := range codes {
			codes[i] = uint16(math.Round(32_768 + 30_000*f(float64(i%per)/per)))
		}
		b := Record{StepSeconds: 1, Codes16: codes, VoltsPerCode: 1e-4, ZeroCode: 32_768}.binned(per)
		for i := range b.power {
			if got := math.Sqrt(b.power[i]) / (b.t.Max[i] - b.t.Min[i]); math.Abs(got-shape) > 1e-5 {
				t.Errorf("%v of peak-to-peak, want %v", got, shape)
			}
		}
	}
}

// A clipped sine's mean square, against the sum over its samples; and back.
func TestClippedPower(t *testing.T) {
	for _, c := range [][3]float64{{1, -.5, .5}, {1, -2, 2}, {1, -.3, 3}, {5, -.7, 1.1}} {
		const n = 100_000
		var sum, squares float64
		for k := range n {
			v := min(c[2], max(c[1], c[0]*math.Cos(2*math.Pi*(float64(k)+.5)/n)))
			sum += v / n
			squares += v * v / n
		}
		got := clippedPower(c[0], c[1], c[2])
		if math.Abs(got-(squares-sum*sum)) > 1e-6 {
			t.Errorf("sine of %v in %v to %v: %v, want %v", c[0], c[1], c[2], got, squares-sum*sum)
		}
		if back := unclipped(math.Sqrt(2*got), c[1], c[2]); math.Abs(back-c[0]) > 1e-4 {
			t.Errorf("sine of %v in %v to %v becomes %v", c[0], c[1], c[2], back)
		}
	}
}
