package vectors

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
)

// Vector is one file of the corpus.
type Vector struct {
	Name string // of the file, without folder and ending
	File File
}

// recipe is all that is chosen for one vector of the generator; the records and
// what must come of them follow from it.
type recipe struct {
	name, comment, verdict string

	power  Power
	limits Limits

	plain       bool    // the watch at full rate; else peak-detect
	count       int     // samples or bins of the watch
	before      float64 // s, from the record's beginning to the threshold
	after       float64 // s, from there to its end
	noise       float64 // codes rms, clock
	railNoise   float64 // codes rms
	clockScale  float64 // V a division: 25 codes, and the screen has 10.24 divisions
	clockCentre float64 // V at the middle of the screen
	railScale   float64
	railCentre  float64
	late        float64 // s, by which the trigger comes after the threshold

	steadyRate  float64 // samples/s; 0 = no steady record
	steadyCount int
	steadyAfter float64 // s, from the end of the watch

	lamp   func(t float64) float64 // nil = no lamp
	amps   float64                 // 0 = not read
	volts  float64                 // read-back; 0 = RailVolts, NaN = not read
	noRail bool
	loose  float64 // factor on the tolerances of start, growth and amplitude; 0 = 1

	spoil  func(*Records)
	adjust func(*Expect) // after what follows from the truth
}

// The clock of every vector, and the supply it is first given.
const (
	clockHertz = 7.3728e6
	setVolts   = 3.6
)

// slow is a healthy unit watched as a bench watches one: 80 ms by peak-detect,
// then a short record at full rate.
func slow() recipe {
	return recipe{
		power: Power{
			RailVolts: setVolts, Ramp: 360e-6, Threshold: setVolts / 2,
			Clock: []Oscillation{{Hertz: clockHertz, Volts: 1.6, Growth: 600e-6, StartAt: 6.3e-3}},
			Bias:  setVolts / 2, BiasDelay: 100e-6,
		},
		limits: Limits{SetVolts: setVolts, RailFraction: 0.5, ClockHertz: clockHertz, FrequencyWithin: 0.01,
			AmplitudeMinVolts: 0.8, StartWithinSeconds: 65e-3, WatchSeconds: 80e-3},
		count: 600, before: 6.4e-3, after: 80e-3, noise: 0.6, railNoise: 0.5,
		clockScale: 0.5, clockCentre: setVolts / 2, railScale: 0.5, railCentre: 2,
		late: 9e-6, steadyRate: 100e6, steadyCount: 1024, steadyAfter: 10e-3,
	}
}

// fast is a unit with a crystal of low Q, started and settled within a hundred
// microseconds, watched at full rate with the given samples in a period.
func fast(samplesPerPeriod float64, count int) recipe {
	r := slow()
	all := float64(count) / (samplesPerPeriod * clockHertz)
	r.plain, r.count, r.before, r.after = true, count, 0.1*all, 0.9*all
	r.power.Ramp, r.power.BiasDelay, r.late = 0.02*all, 0.005*all, 0.3/(samplesPerPeriod*clockHertz)
	r.power.Clock[0].Growth, r.power.Clock[0].StartAt = 0.03*all, 0.3*all
	r.limits.StartWithinSeconds, r.limits.WatchSeconds = 0.65*all, r.after
	r.steadyRate = 0
	return r
}

// osc is the first oscillation.
func (r *recipe) osc() *Oscillation { return &r.power.Clock[0] }

// acCoupled puts the probe behind a capacitor or on a node without a mean.
func (r *recipe) acCoupled() { r.power.Bias, r.clockCentre = 0, 0 }

// mute stops the unit from oscillating at all.
func (r *recipe) mute() { r.power.Clock = nil }

// vector makes the records and states what must come of them.
func (r recipe) vector() Vector {
	name := fnv.New64a()
	name.Write([]byte(r.name))
	rng := rand.New(rand.NewPCG(name.Sum64(), 1))
	step := (r.before + r.after) / float64(r.count)
	scope := Scope{Start: -r.before, Step: step, Count: r.count, Late: r.late}
	rail, clock := scope.Scaled(r.railScale, r.railCentre, r.railNoise), scope.Scaled(r.clockScale, r.clockCentre, r.noise)
	f := File{
		Comment: r.comment, Source: "closed form, " + r.name, Limits: r.limits,
		Records: Records{SupplyVolts: r.power.RailVolts, SupplyAmps: math.NaN()},
	}
	if r.volts != 0 {
		f.Records.SupplyVolts = r.volts
	}
	if r.amps != 0 {
		f.Records.SupplyAmps = r.amps
	}
	phase := 2 * math.Pi * rng.Float64()
	if r.plain {
		f.Records.Rail = rail.Sample(rng, r.power.Rail)
		f.Records.Clock = clock.Sample(rng, func(t float64) float64 { return r.power.At(t, phase) })
	} else {
		f.Records.Rail = rail.Peaks(rng, func(t, _ float64) float64 { return r.power.Rail(t) })
		f.Records.Clock = clock.Peaks(rng, r.power.At)
	}
	if r.noRail {
		f.Records.Rail = Channel{}
		f.Limits.SetVolts, f.Limits.RailFraction, f.Records.SupplyVolts = 0, 0, math.NaN()
	}
	if r.steadyRate > 0 {
		from := r.after + r.steadyAfter
		s := Scope{Step: 1 / r.steadyRate, Count: r.steadyCount}.Scaled(r.clockScale, r.clockCentre, r.noise)
		f.Records.Steady = s.Sample(rng, func(t float64) float64 { return r.power.At(from+t, phase) })
	}
	if r.lamp != nil {
		f.Records.Lamp = Scope{Step: 5e-3, Count: 500}.Scaled(0.5, 2, 0.5).Sample(rng, r.lamp)
	}
	r.state(&f.Expect, clock)
	if r.spoil != nil {
		r.spoil(&f.Records)
	}
	if r.adjust != nil {
		r.adjust(&f.Expect)
	}
	return Vector{Name: r.name, File: f}
}

// Scaled sets the vertical scale as scopes do: 8 bits, 25 codes to a division,
// code 128 in the middle.
func (s Scope) Scaled(voltsPerDivision, centre, noiseCodes float64) Scope {
	s.Code = voltsPerDivision / 25
	s.Lowest = centre - 128*s.Code
	s.Noise = noiseCodes * s.Code
	return s
}

// state writes what follows from the truth. Tolerances are what the record can
// tell: a start to a bin and the quarter of a time constant in which the
// envelope climbs by 4 %, never more than 2 % of the watch; an amplitude to 3 %
// and two codes; growth, where the climb is seen, to 15 %; a frequency to five times the Cramér-Rao bound.
func (r recipe) state(e *Expect, clock Scope) {
	e.Verdict = r.verdict
	e.none("start_seconds", "frequency_hz", "amplitude_v", "growth_seconds", "dropout_seconds")
	loose := max(1, r.loose)
	if !slices.Contains([]string{"unpowered", "unread"}, r.verdict) {
		e.set("rail_v", r.power.Rail(r.after), 0.005*r.power.RailVolts+2*r.railScale/25)
	}
	if !slices.Contains([]string{"started", "late", "weak", "off-frequency", "dropped-out"}, r.verdict) {
		return
	}
	o := *r.osc()
	bin := clock.Step
	if r.plain {
		bin *= math.Ceil(max(16, 3/(clockHertz*clock.Step)))
	}
	if r.verdict != "weak" && r.verdict != "off-frequency" {
		quantised := o.Growth * clock.Code / (0.171 * o.Volts) // the envelope climbs by 0.171*Volts/Growth there
		within := min(0.02*r.after, bin+loose*o.Growth/4+quantised)
		start := o.StartAt
		if r.noRail {
			start -= r.late // all there is to time it from is the trigger
		}
		e.set("start_seconds", start, max(within, bin))
	}
	amplitudeWithin := loose * (0.03*o.Volts + 2*clock.Code)
	e.set("amplitude_v", o.Volts, amplitudeWithin)
	if visible := o.Growth >= 3*bin && r.noise <= 1 && o.Volts >= 40*clock.Code; visible {
		e.set("growth_seconds", o.Growth, loose*0.15*o.Growth)
	} else {
		e.unset("growth_seconds")
	}
	if o.StopAt > 0 {
		e.set("dropout_seconds", o.Dropout(), 2*bin+0.1*o.Decay)
	}
	t := Truth{AmplitudeVolts: o.Volts, NoiseVolts: clock.Code * math.Sqrt(r.noise*r.noise+1./12)}
	step := 1 / r.steadyRate
	switch {
	case r.steadyRate > 0:
		t.SettledSamples = r.steadyCount
	case r.plain:
		last := r.after
		if o.StopAt > 0 {
			last = o.StopAt - 4*bin // where it settled and where it stopped are known to a bin or two
		}
		step, t.SettledSamples = clock.Step, int((last-o.Reaches(0.99))/clock.Step)
	default:
		return // nothing tells the frequency
	}
	if o.StopAt > 0 && r.steadyRate > 0 {
		return // it has stopped before the steady record
	}
	e.set("frequency_hz", o.Hertz, 5*t.FrequencyBoundHertz(step)+1e-6*o.Hertz)
}
