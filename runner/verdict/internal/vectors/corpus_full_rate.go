package vectors

import (
	"fmt"
	"math"
)

// fullRate are units of low Q whose whole start is one record at full rate.
func fullRate() []recipe {
	var all []recipe
	for _, spp := range []float64{2.6, 3.3, 5.5, 8.1, 12.7, 20.3, 33, 50} {
		e := fast(spp, int(min(4000, max(2400, 70*spp)))).entry
		name := func(s string) string { return fmt.Sprintf("full-rate-%s-at-%g", s, spp) }
		comment := func(s string) string { return fmt.Sprintf("%s, %g samples in a period", s, spp) }
		all = append(all, e(name("started"), "started", comment("starts in time"), asIs))
		switch spp {
		case 2.6, 12.7, 50:
			all = append(all,
				e(name("silent"), "silent", comment("silent"), (*recipe).mute),
				e(name("dropped-out"), "dropped-out", comment("starts and stops"), func(r *recipe) {
					r.osc().StopAt, r.osc().Decay = 0.7*r.after, 0.01*r.after
				}))
		case 3.3, 8.1:
			all = append(all,
				e(name("late"), "late", comment("late"), func(r *recipe) { r.osc().StartAt = 0.8 * r.after }),
				e(name("weak"), "weak", comment("weak"), func(r *recipe) { r.osc().Volts = 0.45 }))
		case 5.5, 20.3:
			all = append(all,
				e(name("wrong"), "off-frequency", comment("runs at 8 MHz"), func(r *recipe) { r.osc().Hertz = 8e6 }),
				e(name("unpowered"), "unpowered", comment("the rail stops at 70 %"), func(r *recipe) {
					r.power.RailVolts, r.power.Bias = 0.7*setVolts, 0.35*setVolts
					r.mute()
				}))
		}
	}
	e := fast(20, 4000).entry
	return append(all,
		e("full-rate-overtone", "off-frequency", "third overtone, 6.7 samples in its period", func(r *recipe) { r.osc().Hertz = 3.004 * clockHertz }),
		e("full-rate-relaxation", "off-frequency", "a sawtooth at 2.9 MHz", func(r *recipe) {
			r.osc().Hertz, r.osc().Shape = 2.9e6, Sawtooth
			r.adjust = func(e *Expect) { e.set("frequency_hz", 2.9e6, 3e3); e.unset("amplitude_v"); e.unset("growth_seconds") }
		}),
	)
}

// decibels gives the noise, in codes, that is so far below a sine of the volts.
func (r *recipe) decibels(db, volts float64) {
	r.noise = volts / math.Sqrt2 / math.Pow(10, db/20) / (r.clockScale / 25)
	r.loose = 2
}

// fullRateNasties are records at full rate that mislead.
func fullRateNasties() []recipe {
	e := fast(5.5, 3000).entry
	atRate := func(spp float64, count int, name, verdict, comment string, change func(*recipe)) recipe {
		return fast(spp, count).entry(name, verdict, comment, change)
	}
	slowly := func(r *recipe) { // sampled too slowly to tell the frequency
		r.adjust = func(e *Expect) {
			e.none("frequency_hz")
			e.unset("growth_seconds")
			e.Warning = "sampled"
		}
	}
	noisy := func(db float64, change func(*recipe)) func(*recipe) {
		return func(r *recipe) {
			r.acCoupled()
			change(r)
			volts := r.limits.AmplitudeMinVolts
			if len(r.power.Clock) > 0 {
				volts = r.osc().Volts
			}
			r.decibels(db, volts)
			r.adjust = func(e *Expect) { e.unset("growth_seconds") }
		}
	}
	mute := (*recipe).mute
	open := func(e *Expect) { e.Measures = nil } // what is left of the record may be measured
	return []recipe{
		e("snr-20-started", "started", "20 dB above the noise", noisy(20, asIs)),
		e("snr-10-started", "started", "10 dB above the noise", noisy(10, asIs)),
		e("snr-6-started", "unread", "1.6 V, 6 dB above the noise: more noise than the clock must have amplitude", noisy(6, asIs)),
		e("snr-20-silent", "silent", "noise 20 dB below what is required", noisy(20, mute)),
		e("snr-10-silent", "silent", "noise 10 dB below what is required", noisy(10, mute)),
		e("snr-10-weak", "weak", "0.5 V, 10 dB above the noise", noisy(10, func(r *recipe) { r.osc().Volts = 0.5 })),
		e("snr-10-late", "late", "late, 10 dB above the noise", noisy(10, func(r *recipe) { r.osc().StartAt = 0.75 * r.after })),
		e("snr-10-dropped-out", "dropped-out", "stops, 10 dB above the noise", noisy(10, func(r *recipe) {
			r.osc().StopAt, r.osc().Decay = 0.7*r.after, 0.01*r.after
		})),
		e("snr-10-wrong", "off-frequency", "8 MHz, 10 dB above the noise", noisy(10, func(r *recipe) { r.osc().Hertz = 8e6 })),

		atRate(4, 3000, "four-samples", "started", "exactly four samples in a period: their extremes may miss every peak", func(r *recipe) { r.osc().Volts = 1 }),
		atRate(4, 3000, "four-samples-weak", "weak", "exactly four samples in a period, 0.7 V", func(r *recipe) { r.osc().Volts = 0.7 }),
		atRate(8, 3000, "eight-samples", "started", "exactly eight samples in a period", asIs),
		atRate(3, 3000, "three-samples", "started", "exactly three samples in a period", func(r *recipe) { r.osc().Volts = 1.2 }),
		atRate(2.5, 3000, "two-and-a-half-samples", "started", "exactly two and a half samples in a period, the fewest allowed", asIs),
		atRate(1.9, 3000, "aliased", "started", "1.9 samples in a period: the envelope tells, the frequency does not", slowly),
		atRate(0.87, 3000, "aliased-twice", "started", "0.87 samples in a period", slowly),
		atRate(1.9, 3000, "aliased-silent", "silent", "silent, 1.9 samples in a period", func(r *recipe) {
			r.mute()
			r.adjust = func(e *Expect) { e.Warning = "sampled" }
		}),
		atRate(1.9, 3000, "aliased-weak", "weak", "0.4 V, 1.9 samples in a period", func(r *recipe) { r.osc().Volts = 0.4; slowly(r) }),
		atRate(1.9, 3000, "aliased-dropped-out", "dropped-out", "stops, 1.9 samples in a period", func(r *recipe) {
			r.osc().StopAt, r.osc().Decay = 0.7*r.after, 0.01*r.after
			slowly(r)
		}),
		atRate(1.9, 3000, "alias-used", "started", "1.9 samples in a period, and the bench allows the alias", func(r *recipe) { r.limits.UseAlias = true }),
		atRate(1.9, 3000, "alias-used-wrong", "off-frequency", "7.6 MHz by its alias", func(r *recipe) {
			r.limits.UseAlias = true
			r.osc().Hertz = 7.6e6
		}),
		atRate(0.87, 3000, "alias-used-twice", "started", "0.87 samples in a period, and the bench allows the alias", func(r *recipe) { r.limits.UseAlias = true }),

		e("full-rate-hum", "started", "0.5 V of 10 kHz from a converter on the bench", func(r *recipe) {
			r.power.Hum, r.power.HumHertz, r.clockScale = 0.5, 10e3, 1
		}),
		e("full-rate-hum-silent", "silent", "silent, 0.9 V of 10 kHz from a converter on the bench", func(r *recipe) {
			mute(r)
			r.power.Hum, r.power.HumHertz, r.clockScale = 0.9, 10e3, 1
		}),
		e("full-rate-coupling", "started", "the rail couples 1 V into the probe", func(r *recipe) {
			r.power.Coupling, r.power.CouplingDecay, r.clockScale = 1, 0.02*r.after, 1
		}),
		e("full-rate-coupling-silent", "silent", "silent, the rail couples 1.5 V into the probe", func(r *recipe) {
			mute(r)
			r.power.Coupling, r.power.CouplingDecay, r.clockScale = 1.5, 0.02*r.after, 1
		}),
		e("full-rate-clipped", "started", "clipped at 0.6 of its amplitude", func(r *recipe) {
			r.acCoupled()
			r.clockScale = 0.2
			r.adjust = func(e *Expect) {
				e.unset("amplitude_v")
				e.unset("start_seconds")
				e.unset("growth_seconds")
				e.set("frequency_hz", clockHertz, 400)
				e.Warning = "screen"
			}
		}),
		e("full-rate-pulled", "started", "the frequency creeps in by 300 ppm as it starts", func(r *recipe) {
			tau := 0.03 * r.after
			r.osc().Pull = func(t float64) float64 { return 2 * math.Pi * 3e-4 * clockHertz * tau * (1 - math.Exp(-max(0, t)/tau)) }
		}),
		e("full-rate-square", "started", "buffered output, a square wave", func(r *recipe) {
			r.osc().Shape = Square
			r.adjust = func(e *Expect) {
				e.unset("amplitude_v")
				e.unset("start_seconds")
				e.unset("growth_seconds")
				e.set("frequency_hz", clockHertz, 800) // harmonics fold back
			}
		}),
		e("full-rate-stuck", "unread", "the clock sticks at the top of the screen when the rail rises", func(r *recipe) {
			rise := int(r.before / (r.before + r.after) * float64(r.count))
			r.spoil = func(r *Records) {
				for i := rise; i < len(r.Clock.Low); i++ {
					r.Clock.Low[i] = 255
				}
			}
		}),
		e("full-rate-one-code", "silent", "all one code, in the screen", func(r *recipe) { mute(r); r.acCoupled(); r.noise = 0 }),
		e("full-rate-ends-early", "unread", "the record ends at half of the time allowed", func(r *recipe) {
			r.spoil = func(r *Records) { r.Rail, r.Clock = r.Rail.cut(0, 1200), r.Clock.cut(0, 1200) }
		}),
		e("full-rate-starts-late", "unread", "the record begins when the clock already runs", func(r *recipe) {
			r.spoil = func(r *Records) { r.Rail, r.Clock = r.Rail.cut(1500, 3000), r.Clock.cut(1500, 3000) }
		}),
		e("full-rate-gap", "unread", "an eighth of the record was never taken", func(r *recipe) {
			r.spoil = func(r *Records) { r.Clock.gap(1500, 1870) }
			r.adjust = open
		}),
		e("full-rate-gap-at-the-limit", "unread", "started in a gap of 3 % that spans the end of the time allowed", func(r *recipe) {
			r.osc().Growth, r.osc().StartAt = 0.004*r.after, r.limits.StartWithinSeconds
			r.spoil = func(r *Records) { r.Clock.gap(2210, 2290) }
			r.adjust = open
		}),
		e("full-rate-gap-at-the-start", "unread", "started in a gap of 3 %: nobody saw when", func(r *recipe) {
			r.osc().Growth = 0.006 * r.after
			r.spoil = func(r *Records) { r.Clock.gap(1070, 1150) }
			r.adjust = open
		}),
		e("full-rate-gap-silent", "silent", "silent, with a gap of 3 %", func(r *recipe) {
			mute(r)
			r.spoil = func(r *Records) { r.Clock.gap(2000, 2080) }
			r.adjust = func(e *Expect) { e.Warning = "missing" }
		}),
		e("full-rate-gap-afterwards", "started", "2 % of the record was never taken, after the start", func(r *recipe) {
			r.spoil = func(r *Records) { r.Clock.gap(2000, 2060) }
			r.adjust = func(e *Expect) {
				e.unset("frequency_hz")
				e.Warning = "missing"
			}
		}),
		e("full-rate-no-rail", "started", "no rail channel: timed from the trigger", func(r *recipe) {
			r.noRail = true
			r.adjust = func(e *Expect) { e.unset("rail_v"); e.Warning = "rail" }
		}),
		e("full-rate-no-rail-silent", "silent", "no rail channel, and nothing runs", func(r *recipe) {
			mute(r)
			r.noRail = true
			r.adjust = func(e *Expect) { e.unset("rail_v"); e.Warning = "rail" }
		}),
	}
}
