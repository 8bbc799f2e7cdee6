package verdict

import (
	"math"
	"math/rand/v2"
)

// scene is one power-up in closed form, from which a test makes the records an
// 8-bit scope would have of it.
type scene struct {
	setVolts  float64
	railVolts float64 // where the rail settles
	ramp      float64 // s, from 0 to railVolts

	hertz     float64
	steady    float64                 // V, settled amplitude
	tau       float64                 // s, growth
	startsAt  float64                 // s from the rail's threshold to 90 % of steady
	amplitude func(t float64) float64 // instead of the three above

	biasAfter   float64 // s, time constant of the node's bias following half the rail
	acCoupled   bool
	spike       float64 // V, burst of five bins as the rail rises
	square      bool    // a logic output instead of a sine
	noiseCodes  float64 // standard deviation
	lowest      float64 // V, screen, clock channel
	highest     float64 // V
	trigger     float64 // s, by which the trigger is late
	steadyRate  float64 // samples/s
	steadyCount int
	steadyAfter float64 // s, from the end of the watch
	watch       float64
	seed        uint64
}

func healthy() scene {
	return scene{
		setVolts: 3.6, railVolts: 3.6, ramp: 360e-6,
		hertz: 7.3728e6, steady: 1.6, tau: 250e-6, startsAt: 4.3e-3,
		biasAfter: 100e-6, noiseCodes: 0.6, lowest: -1.26, highest: 4.86,
		trigger: 9e-6, steadyRate: 100e6, steadyCount: 4096, steadyAfter: 10e-3, watch: 80e-3, seed: 1,
	}
}

// logistic is the amplitude of an oscillator whose gain falls with the square
// of its amplitude, at 90 % of steady at the time at.
func logistic(steady, tau, at float64) func(float64) float64 {
	return func(t float64) float64 {
		return steady / math.Sqrt(1+(1/(.9*.9)-1)*math.Exp(-2*(t-at)/tau))
	}
}

func (s scene) envelope() func(float64) float64 {
	if s.amplitude != nil {
		return s.amplitude
	}
	return logistic(s.steady, s.tau, s.startsAt)
}

// rail is the rail's voltage, t from its crossing of half the set voltage.
func (s scene) rail(t float64) float64 {
	t += s.ramp * 0.5 * s.setVolts / s.railVolts
	return s.railVolts * min(1, max(0, t/s.ramp))
}

// bias is the clock node's mean.
func (s scene) bias(t float64) float64 {
	if s.acCoupled || s.square {
		return 0
	}
	// The response of a single pole to a ramp.
	t += s.ramp / 2
	if t <= 0 {
		return 0
	}
	rise := func(t float64) float64 { return t - s.biasAfter*(1-math.Exp(-t/s.biasAfter)) }
	v := rise(t)
	if t > s.ramp {
		v -= rise(t - s.ramp)
	}
	return s.railVolts / 2 * v / s.ramp
}

const expectedHertz = 7.3728e6

func (s scene) expect() Expect {
	return Expect{
		SetVolts: s.setVolts, RailFraction: 0.5, ClockHertz: expectedHertz, FrequencyWithin: 0.01,
		AmplitudeMinVolts: 0.8, StartWithinSeconds: 65e-3, WatchSeconds: s.watch,
	}
}

// evidence makes the records.
func (s scene) evidence() Evidence {
	rng := rand.New(rand.NewPCG(s.seed, 7))
	const bins, within = 2000, 256
	step := 1.08 * s.watch / bins
	start := -0.08 * s.watch
	blank := func(low, high float64) Trace {
		return Trace{StartSeconds: start, StepSeconds: step, LowVolts: low, HighVolts: high, Codes: 256}
	}
	e := Evidence{
		Rail: blank(-0.9, 4.5), Clock: blank(s.lowest, s.highest),
		SupplyVolts: s.setVolts, SupplyAmps: 0.004,
	}
	amplitude := s.envelope()
	wave := func(phase float64) float64 {
		if s.square {
			return math.Copysign(1, math.Cos(phase))
		}
		return math.Cos(phase)
	}
	for i := range bins {
		var rail, clock [2]float64
		for k := range within {
			t := start + step*(float64(i)+float64(k)/within) + s.trigger
			r := s.rail(t) + s.noiseCodes*e.Rail.codeVolts()*rng.NormFloat64()
			a := 0.0
			if t > 0 {
				a = amplitude(t)
			}
			if s.spike > 0 && t > -2*step && t < 3*step {
				a += s.spike
			}
			c := s.bias(t) + a*wave(2*math.Pi*rng.Float64()) + s.noiseCodes*e.Clock.codeVolts()*rng.NormFloat64()
			if k == 0 {
				rail, clock = [2]float64{r, r}, [2]float64{c, c}
			}
			rail = [2]float64{min(rail[0], r), max(rail[1], r)}
			clock = [2]float64{min(clock[0], c), max(clock[1], c)}
		}
		e.Rail.Min = append(e.Rail.Min, e.Rail.quantised(rail[0]))
		e.Rail.Max = append(e.Rail.Max, e.Rail.quantised(rail[1]))
		e.Clock.Min = append(e.Clock.Min, e.Clock.quantised(clock[0]))
		e.Clock.Max = append(e.Clock.Max, e.Clock.quantised(clock[1]))
	}
	if s.steadyCount > 0 {
		e.Steady = Trace{StepSeconds: 1 / s.steadyRate, LowVolts: s.lowest, HighVolts: s.highest, Codes: 256}
		phase := 2 * math.Pi * rng.Float64()
		for k := range s.steadyCount {
			t := float64(k) / s.steadyRate
			v := s.bias(s.watch) + amplitude(s.watch+s.steadyAfter+t)*wave(2*math.Pi*s.hertz*t+phase)
			v += s.noiseCodes * e.Steady.codeVolts() * rng.NormFloat64()
			e.Steady.Max = append(e.Steady.Max, e.Steady.quantised(v))
		}
		e.Steady.Min = e.Steady.Max
	}
	return e
}

// quantised is what the converter makes of a voltage.
func (t Trace) quantised(v float64) float64 {
	code := (t.HighVolts - t.LowVolts) / float64(t.Codes-1)
	k := math.Round((v - t.LowVolts) / code)
	return t.LowVolts + code*min(max(k, 0), float64(t.Codes-1))
}
