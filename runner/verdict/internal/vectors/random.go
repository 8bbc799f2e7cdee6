package vectors

import (
	"math"
	"math/rand/v2"
)

// RandomClockHertz is the expected clock of every record that [Random] draws.
const RandomClockHertz = 7.3728e6

// Random draws one power-up by lot, each of the eight verdicts as likely as the
// next, and the plain 8-bit records of its rail and clock: 6 to 40 dB signal to
// noise and 2.5 to 50 samples in a period of the expected clock (logarithmic),
// 8,000 to 33,000 samples. Half have a node whose mean climbs as the unit powers
// up, a quarter a jolt from the rail. The same seed draws the same records.
//
// What decides a verdict is drawn up to the limit itself; only what no record
// can tell is left out: an overtone beyond half the sampling rate.
func Random(seed uint64) (Records, Limits, Truth) {
	d := draw{rng: rand.New(rand.NewPCG(seed, 0x5eed))}
	d.frame()
	d.power()
	d.look()
	return d.records, d.limits, d.truth
}

// draw is one drawing in progress.
type draw struct {
	rng     *rand.Rand
	samples int
	step    float64 // s
	before  float64 // s, from the record's beginning to the rail's threshold
	after   float64 // s, from there to its end
	flaw    string  // what makes an unread record so

	p       Power
	records Records
	limits  Limits
	truth   Truth
}

func (d *draw) between(low, high float64) float64 { return low + (high-low)*d.rng.Float64() }

func (d *draw) chance(p float64) bool { return d.rng.Float64() < p }

// frame draws how long and how fast the records are.
func (d *draw) frame() {
	verdicts := []string{"started", "late", "silent", "weak", "off-frequency", "dropped-out", "unpowered", "unread"}
	d.truth = Truth{
		Verdict:       verdicts[d.rng.IntN(len(verdicts))],
		SignalToNoise: d.between(6, 40),
		StartSeconds:  math.NaN(), FrequencyHertz: math.NaN(), AmplitudeVolts: math.NaN(),
		GrowthSeconds: math.NaN(), DropoutSeconds: math.NaN(),
		SamplesPerPeriod: 2.5 * math.Pow(20, d.rng.Float64()),
	}
	d.samples = int(min(max(600*d.truth.SamplesPerPeriod, 8192), 32768))
	d.step = 1 / (RandomClockHertz * d.truth.SamplesPerPeriod)
	d.before = d.between(0.08, 0.15) * float64(d.samples) * d.step
	d.after = float64(d.samples)*d.step - d.before
	d.limits = Limits{
		SetVolts: math.Round(10*d.between(1.8, 3.7)) / 10, RailFraction: 0.5,
		ClockHertz: RandomClockHertz, FrequencyWithin: 0.01, AmplitudeMinVolts: 0.6,
		StartWithinSeconds: d.between(0.55, 0.75) * d.after, WatchSeconds: d.after,
	}
}

// power draws what happens.
func (d *draw) power() {
	set, least := d.limits.SetVolts, d.limits.AmplitudeMinVolts
	d.p = Power{
		RailVolts: set * d.between(0.98, 1.02), Ramp: d.after * d.between(0.005, 0.03),
		Threshold: d.limits.RailFraction * set,
	}
	if d.chance(0.5) {
		d.p.Bias, d.p.BiasDelay = set/2, d.after*d.between(0.002, 0.02)
	}
	if d.chance(0.25) {
		d.p.Coupling, d.p.CouplingDecay = least*d.between(0.1, 0.7), d.after*d.between(0.002, 0.01)
	}
	o := Oscillation{
		Hertz: RandomClockHertz * (1 + d.between(-0.0095, 0.0095)), Volts: least * d.between(1.01, 2),
		StartAt: d.between(0.1, 1) * d.limits.StartWithinSeconds,
	}
	switch d.truth.Verdict {
	case "late":
		o.StartAt = d.limits.StartWithinSeconds * d.between(1.001, 1.15)
	case "weak":
		o.Volts = least * d.between(0.2, 0.99)
	case "off-frequency":
		o.Hertz = RandomClockHertz * d.wrongRatio()
	case "dropped-out":
		o.StartAt = d.between(0.1, 0.7) * d.limits.StartWithinSeconds
		o.StopAt = d.after * d.between(0.65, 0.85)
		o.Decay = d.after * d.between(0.003, 0.02)
	case "unpowered":
		d.p.RailVolts = set * d.between(0, 0.93)
		o.Volts *= d.p.RailVolts / set
	case "unread":
		d.flaw = []string{"edge", "short", "running", "gap", "empty"}[d.rng.IntN(5)]
		if d.flaw == "running" {
			d.p.Always, o.Begins, o.StartAt = true, math.Inf(-1), -10*d.after
		}
	}
	settled := 0.92 * d.after
	if o.StopAt > 0 {
		settled = o.StopAt
	}
	o.Growth = max(0, min(o.StartAt/d.between(4.5, 12), (settled-o.StartAt)/1.3)) // 99 % is 1.23 time constants after 90 %
	if runs := d.truth.Verdict != "silent" && !(d.truth.Verdict == "unpowered" && d.chance(0.7)); runs {
		d.p.Clock = []Oscillation{o}
	}
	d.know(o)
}

// wrongRatio draws a wrong frequency, relative to the expected one, that at
// least 2.5 samples a period of it can show.
func (d *draw) wrongRatio() float64 {
	switch most := d.truth.SamplesPerPeriod / 2.5; {
	case most >= 3.05 && d.chance(0.4):
		return 3 * d.between(0.999, 1.01) // third overtone
	case d.chance(0.4):
		return d.between(0.35, 0.9)
	case most >= 1.4 && d.chance(0.7):
		return d.between(1.0101, min(most, 1.5))
	default:
		return d.between(0.9, 0.9899)
	}
}

// know writes down the truth about oscillation o and chooses the noise.
func (d *draw) know(o Oscillation) {
	t := &d.truth
	reference := o.Volts
	switch t.Verdict {
	case "started", "late", "weak", "off-frequency", "dropped-out":
		t.FrequencyHertz, t.AmplitudeVolts, t.GrowthSeconds = o.Hertz, o.Volts, o.Growth
		t.DropoutSeconds = o.Dropout()
		if t.Verdict == "started" || t.Verdict == "late" || t.Verdict == "dropped-out" {
			t.StartSeconds = o.StartAt
		}
		last := d.after
		if o.StopAt > 0 {
			last = o.StopAt
		}
		t.SettledSamples = int((last - o.Reaches(0.99)) / d.step)
	case "silent", "unpowered":
		reference = d.limits.AmplitudeMinVolts
	}
	t.NoiseVolts = reference / math.Sqrt2 / math.Pow(10, t.SignalToNoise/20)
}

// look takes the records.
func (d *draw) look() {
	p, noise := d.p, d.truth.NoiseVolts
	late := 0.0
	if !p.Always && p.RailVolts > p.Threshold {
		late = d.step * d.rng.Float64() // the converter does not run in step with the rail
	}
	scope := Scope{Start: -d.before, Step: d.step, Count: d.samples, Late: late}
	rail := scope.screen(-0.5, 4.5)
	rail.Noise = rail.Code * d.between(0.2, 1)
	d.records = Records{
		Rail:        rail.Sample(d.rng, p.Rail),
		SupplyVolts: p.RailVolts, SupplyAmps: math.NaN(),
	}

	half := (max(p.Envelope(d.after/2), d.limits.AmplitudeMinVolts) + 4*noise) * d.between(1.05, 2)
	eye := scope.screen(min(0, p.Bias)-half, max(0, p.Bias)+half)
	eye.Noise = noise
	d.truth.NoiseVolts = math.Sqrt(noise*noise + eye.Code*eye.Code/12)
	phase := 2 * math.Pi * d.rng.Float64()
	d.records.Clock = eye.Sample(d.rng, func(t float64) float64 { return p.At(t, phase) })
	d.spoil()
}

// spoil does to the clock's record what makes it unreadable.
func (d *draw) spoil() {
	c := &d.records.Clock
	rise := int(d.before / d.step)
	switch d.flaw {
	case "edge":
		for i := rise; i < len(c.Low); i++ {
			c.Low[i] = 255
		}
	case "short":
		keep := rise + int(d.between(0.2, 0.97)*d.limits.StartWithinSeconds/d.step)
		c.Low = c.Low[:keep]
		c.High = c.Low
	case "gap":
		from := rise + int(d.between(0, 0.5)*float64(len(c.Low)-rise))
		to := from + int(d.between(0.07, 0.4)*float64(len(c.Low)-rise))
		for i := from; i < to; i++ {
			c.Low[i] = c.Low[from-1]
		}
		c.Gaps = []Gap{{from, to}}
	case "empty":
		c.Low, c.High = nil, nil
	}
}
