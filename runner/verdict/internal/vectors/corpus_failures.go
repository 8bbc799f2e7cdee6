package vectors

import "math"

// failures are units that fail, seen by peak-detect.
func failures() []recipe {
	e := slow().entry
	return []recipe{
		e("silent", "silent", "nothing but the bias", (*recipe).mute),
		e("silent-no-noise", "silent", "a converter without noise", func(r *recipe) { r.mute(); r.noise, r.railNoise = 0, 0 }),
		e("silent-one-code", "silent", "all one code in the middle of the screen", func(r *recipe) { r.mute(); r.acCoupled(); r.noise = 0 }),
		e("silent-toggling", "silent", "the converter toggles between two codes", func(r *recipe) {
			r.mute()
			r.acCoupled()
			r.clockCentre, r.noise = 0.01, 0.2
		}),
		e("silent-pick-up", "silent", "60 mV of a foreign carrier, below a tenth of what is required", func(r *recipe) {
			r.mute()
			r.power.Pickup, r.power.PickupHertz = 0.06, 2.1e6
			r.adjust = func(e *Expect) { e.unset("frequency_hz"); e.unset("amplitude_v") }
		}),
		e("silent-decays", "silent", "the kick of the rail rings down, negative resistance too small", func(r *recipe) {
			r.osc().Volts, r.osc().Growth, r.osc().StopAt, r.osc().Decay = 0.2, 0, 50e-6, 0.2e-3
		}),
		e("weak", "weak", "0.5 V where 0.8 V is required", func(r *recipe) { r.osc().Volts = 0.5 }),
		e("weak-just", "weak", "0.7 V where 0.8 V is required", func(r *recipe) { r.osc().Volts = 0.7 }),
		e("weak-very", "weak", "0.2 V where 0.8 V is required: five codes", func(r *recipe) { r.osc().Volts, r.noise = 0.2, 0.3 }),
		e("weak-fine-scale", "weak", "0.2 V on a fine scale, AC-coupled", func(r *recipe) {
			r.acCoupled()
			r.osc().Volts, r.clockScale = 0.2, 0.1
		}),
		e("weak-noisy", "weak", "0.4 V in noise of 40 mV rms", func(r *recipe) { r.osc().Volts, r.noise = 0.4, 2 }),
		e("weak-late", "weak", "0.5 V, and late besides", func(r *recipe) { r.osc().Volts, r.osc().StartAt = 0.5, 68e-3 }),
		e("overtone-third", "off-frequency", "runs on the third overtone", func(r *recipe) {
			r.osc().Hertz, r.osc().Volts = 3.004*clockHertz, 1.1
		}),
		e("overtone-fifth", "off-frequency", "runs on the fifth overtone", func(r *recipe) {
			r.osc().Hertz, r.osc().Volts = 5.01*clockHertz, 0.95
		}),
		e("wrong-crystal", "off-frequency", "an 8 MHz crystal was fitted", func(r *recipe) { r.osc().Hertz = 8e6 }),
		e("wrong-crystal-close", "off-frequency", "1.2 % fast where 1 % is allowed", func(r *recipe) { r.osc().Hertz *= 1.012 }),
		e("wrong-crystal-slow", "off-frequency", "1.2 % slow where 1 % is allowed", func(r *recipe) { r.osc().Hertz *= 0.988 }),
		e("relaxation", "off-frequency", "relaxes in a sawtooth at 2.9 MHz", func(r *recipe) {
			r.osc().Hertz, r.osc().Shape, r.osc().Volts = 2.9e6, Sawtooth, 1.4
			r.adjust = func(e *Expect) { e.set("frequency_hz", 2.9e6, 3e3); e.unset("amplitude_v"); e.unset("growth_seconds") }
		}),
		e("relaxation-square", "off-frequency", "relaxes in a square wave at 3.1 MHz", func(r *recipe) {
			r.osc().Hertz, r.osc().Shape, r.osc().Volts = 3.1e6, Square, 1.4
			r.adjust = func(e *Expect) { e.set("frequency_hz", 3.1e6, 3e3); e.unset("amplitude_v"); e.unset("growth_seconds") }
		}),
		e("relaxation-slow", "off-frequency", "motorboats at 300 kHz", func(r *recipe) {
			r.osc().Hertz, r.osc().Shape, r.osc().Volts = 300e3, Sawtooth, 1.4
			r.adjust = func(e *Expect) { e.unset("frequency_hz"); e.unset("amplitude_v"); e.unset("growth_seconds") }
		}),
		e("off-frequency-late", "off-frequency", "8 MHz and late besides", func(r *recipe) {
			r.osc().Hertz, r.osc().StartAt, r.osc().Growth = 8e6, 68e-3, 1e-3
		}),
		e("dropped-out", "dropped-out", "runs, then rings down with 2.4 ms", func(r *recipe) { r.osc().StopAt, r.osc().Decay = 30e-3, 2.4e-3 }),
		e("dropped-out-at-once", "dropped-out", "stops dead", func(r *recipe) { r.osc().StopAt, r.osc().Decay = 47e-3, 10e-6 }),
		e("dropped-out-early", "dropped-out", "runs for 4 ms only", func(r *recipe) { r.osc().StopAt, r.osc().Decay = 10.3e-3, 0.5e-3 }),
		e("dropped-out-at-the-end", "dropped-out", "stops 3 ms before the watch ends", func(r *recipe) { r.osc().StopAt, r.osc().Decay = 76e-3, 0.3e-3 }),
		e("dropped-out-after-the-watch", "dropped-out", "runs to the end of the watch, not in the steady record", func(r *recipe) {
			r.osc().StopAt, r.osc().Decay = 82e-3, 0.5e-3
			r.adjust = func(e *Expect) { e.unset("dropout_seconds"); e.unset("frequency_hz") }
		}),
		e("dropped-out-slowly", "dropped-out", "fades with 9 ms as the cell's contact opens", func(r *recipe) { r.osc().StopAt, r.osc().Decay = 20e-3, 9e-3 }),
		e("dropped-out-noisy", "dropped-out", "stops in noise of 80 mV rms", func(r *recipe) {
			r.osc().StopAt, r.osc().Decay, r.noise, r.loose = 40e-3, 1e-3, 4, 2
		}),
		e("reset-loop", "dropped-out", "starts, stops and starts again every 30 ms", func(r *recipe) {
			r.osc().StopAt, r.osc().Decay = 20e-3, 0.8e-3
			for _, after := range []float64{30e-3, 60e-3} {
				o := *r.osc()
				o.Begins, o.StartAt, o.StopAt = after, o.StartAt+after, 20e-3+after
				r.power.Clock = append(r.power.Clock, o)
			}
			r.adjust = func(e *Expect) { e.unset("dropout_seconds"); e.unset("growth_seconds") }
		}),
		e("dropped-out-restarts", "dropped-out", "stops for 10 ms, then runs on", func(r *recipe) {
			r.osc().StopAt, r.osc().Decay = 30e-3, 0.5e-3
			o := *r.osc()
			o.Begins, o.StartAt, o.StopAt = 36e-3, 42e-3, 0
			r.power.Clock = append(r.power.Clock, o)
			r.adjust = func(e *Expect) { e.unset("growth_seconds"); e.unset("frequency_hz") }
		}),
		e("dropped-out-brown-out", "dropped-out", "the rail dips to 1.4 V for 8 ms and the clock dies with it", func(r *recipe) {
			r.osc().StopAt, r.osc().Decay = 40e-3, 0.5e-3
			r.power.RailSag = func(t float64) float64 {
				if t > 39.5e-3 && t < 47.5e-3 {
					return -2.2
				}
				return 0
			}
			r.adjust = func(e *Expect) { e.set("rail_sag_v", 2.2, 0.1) }
		}),
		e("unpowered", "unpowered", "the supply never came on", func(r *recipe) { r.mute(); r.power.RailVolts, r.power.Bias = 0, 0 }),
		e("unpowered-half", "unpowered", "the rail stops at 60 % of what was set", func(r *recipe) {
			r.mute()
			r.power.RailVolts, r.power.Bias = 0.6*setVolts, 0.3*setVolts
		}),
		e("unpowered-below-threshold", "unpowered", "the rail stops at 40 % of what was set", func(r *recipe) {
			r.mute()
			r.power.RailVolts, r.power.Bias = 0.4*setVolts, 0.2*setVolts
		}),
		e("unpowered-short-of-set", "unpowered", "the rail stops at 90 %, and the clock runs", func(r *recipe) {
			r.power.RailVolts, r.power.Bias = 0.9*setVolts, 0.45*setVolts
		}),
		e("unpowered-collapses", "unpowered", "the rail reaches the set voltage and falls to 1 V", func(r *recipe) {
			r.mute()
			r.volts = 1.0
			r.power.RailSag = func(t float64) float64 { return -2.6 * max(0, min(1, (t-20e-3)/1e-3)) }
		}),
		e("unpowered-not-read", "unpowered", "the rail stops at 1 V and the supply does not say what it gives", func(r *recipe) {
			r.mute()
			r.power.RailVolts, r.power.Bias, r.volts = 1, 0.5, math.NaN()
		}),
		e("unpowered-noisy", "unpowered", "no supply, and noise of five codes on the rail's channel", func(r *recipe) {
			r.mute()
			r.power.RailVolts, r.power.Bias, r.railNoise = 0, 0, 5
		}),
		e("unpowered-hum", "unpowered", "no supply, half a volt of mains hum on both probes", func(r *recipe) {
			r.mute()
			r.power.RailVolts, r.power.Bias = 0, 0
			r.power.Hum, r.power.HumHertz = 0.5, 50
			r.power.RailSag = func(t float64) float64 { return 0.5 * math.Sin(2*math.Pi*50*t) }
		}),
	}
}
