package vectors

import "math"

// nasties are units seen by a scope that makes it hard: noise, hum, drift,
// clipping, coarse scales, rails that couple, probes out of trim, late triggers.
func nasties() []recipe {
	e := slow().entry
	silent := func(change func(*recipe)) func(*recipe) { return func(r *recipe) { r.mute(); change(r) } }
	noise := func(codes float64) func(*recipe) { return func(r *recipe) { r.noise, r.loose = codes, 2 } }
	coarse := func(scale float64) func(*recipe) {
		return func(r *recipe) {
			r.clockScale = scale
			r.adjust = func(e *Expect) { e.unset("growth_seconds") }
		}
	}
	hum := func(volts, hertz float64) func(*recipe) {
		return func(r *recipe) { r.power.Hum, r.power.HumHertz, r.clockScale, r.loose = volts, hertz, 1, 1.5 }
	}
	couple := func(volts, decay float64) func(*recipe) {
		return func(r *recipe) { r.power.Coupling, r.power.CouplingDecay, r.clockScale = volts, decay, 1 }
	}
	ring := func(r *recipe) { r.power.Ringing, r.power.RingingHertz, r.power.RingingDecay = 1.5, 31e6, 150e-6 }
	trim := func(relative float64) func(*recipe) {
		return func(r *recipe) {
			r.power.ProbeError, r.power.ProbeDelay, r.clockScale, r.loose = relative, 1e-3, 1, 1.5
		}
	}
	bias := func(seconds float64) func(*recipe) { return func(r *recipe) { r.power.BiasDelay = seconds } }
	clipped := func(scale, centre float64) func(*recipe) {
		return func(r *recipe) {
			r.clockScale, r.clockCentre = scale, centre
			r.adjust = func(e *Expect) {
				for _, m := range []string{"amplitude_v", "start_seconds", "growth_seconds", "frequency_hz"} {
					e.unset(m)
				}
				e.Warning = "screen"
			}
		}
	}
	return []recipe{
		e("noise-two-codes", "started", "noise of 2 codes rms", noise(2)),
		e("noise-five-codes", "started", "noise of 5 codes rms, 100 mV", noise(5)),
		e("noise-eight-codes", "started", "noise of 8 codes rms, 160 mV", noise(8)),
		e("noise-silent", "silent", "silent in noise of 5 codes rms, 100 mV", silent(noise(5))),
		e("noise-late", "late", "late in noise of 5 codes rms", func(r *recipe) {
			noise(5)(r)
			r.osc().StartAt, r.osc().Growth = 69e-3, 1e-3
		}),
		e("noise-on-the-rail", "started", "noise of 4 codes on a rail that takes 8 ms to pass the trigger level", func(r *recipe) {
			r.railNoise, r.power.Ramp, r.before, r.osc().StartAt = 4, 8e-3, 12e-3, 16e-3
		}),
		e("noise-grows-when-powered", "silent", "the unit's processor makes noise of 50 mV once powered", silent(func(r *recipe) {
			r.power.Pickup, r.power.PickupHertz = 0.05, 11e6
			r.adjust = func(e *Expect) { e.unset("frequency_hz"); e.unset("amplitude_v") }
		})),
		e("coarse-1v", "started", "1 V a division", coarse(1)),
		e("coarse-2v", "started", "2 V a division: 20 codes of amplitude", coarse(2)),
		e("coarse-5v", "started", "5 V a division: 8 codes of amplitude", coarse(5)),
		e("coarse-silent", "silent", "silent at 5 V a division", silent(coarse(5))),
		e("coarse-weak", "weak", "0.5 V at 2 V a division: 6 codes of amplitude", func(r *recipe) {
			coarse(2)(r)
			r.osc().Volts = 0.5
		}),
		e("coarse-late", "late", "late at 2 V a division", func(r *recipe) {
			coarse(2)(r)
			r.osc().StartAt, r.osc().Growth = 70e-3, 1e-3
		}),
		e("coarse-dropped-out", "dropped-out", "stops, at 2 V a division", func(r *recipe) {
			coarse(2)(r)
			r.osc().StopAt, r.osc().Decay = 40e-3, 0.5e-3
		}),
		e("clipped-both", "started", "both peaks beyond a screen of 0.2 V a division", clipped(0.2, setVolts/2)),
		e("clipped-top", "started", "the upper peaks beyond the screen", clipped(0.5, 0.6)),
		e("clipped-bottom", "started", "the lower peaks beyond the screen", clipped(0.5, 3)),
		e("clipped-dropped-out", "dropped-out", "clipped while it runs, then stops", func(r *recipe) {
			clipped(0.2, setVolts/2)(r)
			r.osc().StopAt, r.osc().Decay = 40e-3, 1e-3
			clippedOnly := r.adjust
			r.adjust = func(e *Expect) { clippedOnly(e); e.unset("dropout_seconds") }
		}),
		e("hum-50", "started", "0.3 V of 50 Hz", hum(0.3, 50)),
		e("hum-60", "started", "1 V of 60 Hz", hum(1, 60)),
		e("hum-silent", "silent", "1 V of 50 Hz, more than is required of the clock", silent(hum(1, 50))),
		e("hum-weak", "weak", "0.5 V of clock on 1 V of 50 Hz", func(r *recipe) { hum(1, 50)(r); r.osc().Volts = 0.5 }),
		e("hum-dropped-out", "dropped-out", "stops on 0.5 V of 60 Hz", func(r *recipe) {
			hum(0.5, 60)(r)
			r.osc().StopAt, r.osc().Decay = 40e-3, 1e-3
		}),
		e("hum-harmonic-silent", "silent", "0.6 V of 350 Hz from a lamp dimmer", silent(hum(0.6, 350))),
		e("drift", "started", "the scope's input drifts by 8 V/s", func(r *recipe) { r.power.Drift = -8 }),
		e("drift-silent", "silent", "the scope's input drifts by 20 V/s", silent(func(r *recipe) { r.power.Drift = -20 })),
		e("bias-1ms", "started", "the bias climbs with 1 ms", bias(1e-3)),
		e("bias-5ms", "started", "the bias climbs with 5 ms, slower than the oscillation", bias(5e-3)),
		e("bias-20ms", "started", "the bias climbs with 20 ms", func(r *recipe) { bias(20e-3)(r); r.clockScale = 1 }),
		e("bias-silent-5ms", "silent", "silent, the bias climbs with 5 ms", silent(bias(5e-3))),
		e("bias-silent-step", "silent", "silent, the bias steps within a bin", silent(func(r *recipe) { r.power.Ramp, r.power.BiasDelay = 20e-6, 0 })),
		e("bias-weak", "weak", "0.5 V, the bias climbs with 5 ms", func(r *recipe) { bias(5e-3)(r); r.osc().Volts = 0.5 }),
		e("coupling", "started", "the rail couples 1 V into the probe", couple(1, 1e-3)),
		e("coupling-negative", "started", "the rail couples 1 V downwards", couple(-1, 1e-3)),
		e("coupling-silent", "silent", "silent, the rail couples 1.5 V into the probe", silent(couple(1.5, 0.5e-3))),
		e("coupling-slow-silent", "silent", "silent, the rail couples 1 V that leaves with 10 ms", silent(couple(1, 10e-3))),
		e("coupling-weak", "weak", "0.4 V of clock behind a jolt of 1.5 V", func(r *recipe) { couple(1.5, 1e-3)(r); r.osc().Volts = 0.4 }),
		e("ringing", "started", "the ground lead rings with 1.5 V at 31 MHz when the rail rises", ring),
		e("ringing-silent", "silent", "silent, the ground lead rings with 1.5 V at 31 MHz", silent(ring)),
		e("ringing-late", "late", "late, the ground lead rings first", func(r *recipe) { ring(r); r.osc().StartAt, r.osc().Growth = 70e-3, 1e-3 }),
		e("probe-over", "started", "probe over-compensated by 30 %", trim(0.3)),
		e("probe-under", "started", "probe under-compensated by 30 %", trim(-0.3)),
		e("probe-over-silent", "silent", "silent, probe over-compensated by 30 %", silent(trim(0.3))),
		e("probe-under-silent", "silent", "silent, probe under-compensated by 30 %", silent(trim(-0.3))),
		e("probe-divides", "weak", "probe out of trim shows 60 % of 1.2 V", func(r *recipe) { r.osc().Volts = 0.72; trim(-0.3)(r) }),
		e("trigger-late", "started", "the trigger comes 0.2 ms after the rail's threshold", func(r *recipe) { r.late = 0.17e-3 }),
		e("trigger-early", "started", "the trigger comes 0.5 ms before the rail's threshold", func(r *recipe) { r.late = -0.5e-3 }),
		e("drift-of-amplitude", "started", "the amplitude climbs by 3 % as the unit warms", func(r *recipe) {
			r.osc().Sag = func(t float64) float64 { return 1 - 0.03*math.Exp(-max(0, t)/60e-3) }
			r.loose = 2
		}),
		e("amplitude-wobbles", "started", "the amplitude follows 10 % of 100 Hz ripple on the rail", func(r *recipe) {
			r.osc().Sag = func(t float64) float64 { return 1 + 0.1*math.Sin(2*math.Pi*100*t) }
			r.loose = 4
			r.adjust = func(e *Expect) { e.unset("start_seconds"); e.unset("growth_seconds") }
		}),
	}
}

// lost are records from which nothing is to be concluded, and records that are
// damaged but still tell.
func lost() []recipe {
	e := slow().entry
	rows := func(r *Records, from, to int) { r.Rail, r.Clock = r.Rail.cut(from, to), r.Clock.cut(from, to) }
	const rise = 48 // the bin in which the rail passes its threshold
	return []recipe{
		e("unread-no-records", "unread", "the link gave nothing", func(r *recipe) {
			r.spoil = func(r *Records) { r.Rail, r.Clock, r.Steady = Channel{}, Channel{}, Channel{} }
		}),
		e("unread-no-clock", "unread", "the clock's record is missing", func(r *recipe) {
			r.spoil = func(r *Records) { r.Clock, r.Steady = Channel{}, Channel{} }
		}),
		e("unread-no-rail", "unread", "the rail's record is missing though the bench has a rail probe", func(r *recipe) {
			r.spoil = func(r *Records) { r.Rail = Channel{} }
		}),
		e("unread-torn", "unread", "a dozen rows came", func(r *recipe) { r.spoil = func(r *Records) { rows(r, 0, 12); r.Steady = Channel{} } }),
		e("unread-ends-before-the-rise", "unread", "the clock's record ends before the rail rises", func(r *recipe) {
			r.spoil = func(r *Records) { r.Clock = r.Clock.cut(0, rise-5); r.Steady = Channel{} }
		}),
		e("unread-ends-early", "unread", "the record ends after 30 ms, the unit has 65 ms to start", func(r *recipe) {
			r.mute()
			r.spoil = func(r *Records) { rows(r, 0, rise+208); r.Steady = Channel{} }
		}),
		e("unread-starts-late", "unread", "the record begins when the unit already runs", func(r *recipe) {
			r.spoil = func(r *Records) { rows(r, 200, 600) }
		}),
		e("unread-starts-late-silent", "unread", "the record begins when the rail is up, and nothing runs", func(r *recipe) {
			r.mute()
			r.spoil = func(r *Records) { rows(r, 200, 600) }
		}),
		e("starts-near", "started", "the record begins only five bins before the rise", func(r *recipe) {
			r.spoil = func(r *Records) { rows(r, rise-6, 600) }
			r.loose = 2
		}),
		e("starts-near-silent", "silent", "silent, and the record begins only five bins before the rise", func(r *recipe) {
			r.mute()
			r.spoil = func(r *Records) { rows(r, rise-6, 600) }
		}),
		e("ends-early-but-enough", "started", "the record ends 5 ms early, after the time the unit has", func(r *recipe) {
			r.spoil = func(r *Records) { rows(r, 0, 565) }
		}),
		e("unread-stuck-high", "unread", "the clock's channel sits at the top of the screen", func(r *recipe) {
			r.mute()
			r.clockCentre = -20
			r.steadyRate = 0
		}),
		e("unread-stuck-low", "unread", "the clock's channel sits at the bottom of the screen", func(r *recipe) {
			r.mute()
			r.clockCentre = 20
			r.steadyRate = 0
		}),
		e("unread-leaves-screen", "unread", "the bias takes the clock off the screen", func(r *recipe) {
			r.mute()
			r.clockScale, r.clockCentre = 0.1, 0
			r.steadyRate = 0
		}),
		e("unread-rail-off-screen", "unread", "the rail leaves a screen that ends below the set voltage, and the supply was not read", func(r *recipe) {
			r.railScale, r.railCentre, r.volts = 0.2, 1.5, math.NaN()
			r.adjust = func(e *Expect) { e.unset("rail_v") }
		}),
		e("unread-rail-probe-off", "unread", "the supply reads 3.6 V, the rail's probe shows nothing", func(r *recipe) {
			r.volts = setVolts
			r.power.RailVolts = 0.02
		}),
		e("unread-too-noisy", "unread", "noise of 1.2 V rms, where 0.8 V is required", func(r *recipe) { r.mute(); r.clockScale, r.noise = 2, 15 }),
	}
}

// cut keeps the samples [from, to).
func (c Channel) cut(from, to int) Channel {
	plain := c.Plain()
	c.StartSeconds += float64(from) * c.StepSeconds
	c.Low, c.High = c.Low[from:to], c.High[from:to]
	if plain {
		c.High = c.Low
	}
	return c
}

// gap makes samples [from, to) ones that were never taken.
func (c *Channel) gap(from, to int) {
	for i := from; i < to; i++ {
		c.Low[i], c.High[i] = c.Low[from-1], c.High[from-1]
	}
	c.Gaps = append(c.Gaps, Gap{from, to})
}
