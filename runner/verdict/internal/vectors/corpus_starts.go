package vectors

import "math"

// starts are units that start, in time or late, seen by peak-detect.
func starts() []recipe {
	e := slow().entry
	return []recipe{
		e("started", "started", "healthy unit at 3.6 V", asIs),
		e("started-no-noise", "started", "healthy unit, a converter without noise", func(r *recipe) { r.noise, r.railNoise = 0, 0 }),
		e("started-2v2", "started", "fresh unit on a flat cell", func(r *recipe) {
			r.power.RailVolts, r.power.Threshold, r.limits.SetVolts = 2.2, 1.1, 2.2
			r.power.Bias, r.clockCentre = 1.1, 1.1
			r.osc().Volts, r.osc().StartAt, r.osc().Growth = 0.95, 19.2e-3, 1.5e-3
		}),
		e("started-quick", "started", "on its feet before the rail has settled its bias", func(r *recipe) {
			r.osc().StartAt, r.osc().Growth = 0.9e-3, 120e-6
		}),
		e("started-slow-growth", "started", "grows with a time constant of 3 ms", func(r *recipe) {
			r.osc().StartAt, r.osc().Growth = 35e-3, 3e-3
		}),
		e("started-just-in-time", "started", "reaches 90 % one bin and a half before the limit", func(r *recipe) {
			r.osc().StartAt, r.osc().Growth = 64.78e-3, 1e-3
		}),
		e("late-just", "late", "reaches 90 % two bins after the limit", func(r *recipe) {
			r.osc().StartAt, r.osc().Growth = 65.29e-3, 1e-3
		}),
		e("late", "late", "starts in the last fifth of the watch", func(r *recipe) {
			r.osc().StartAt, r.osc().Growth = 70e-3, 1.5e-3
		}),
		e("late-slow-growth", "late", "grows all through the watch", func(r *recipe) {
			r.osc().StartAt, r.osc().Growth = 69e-3, 5e-3
			r.loose = 2
		}),
		e("late-still-growing", "late", "half grown when the watch ends, and no steady record to say where it settles", func(r *recipe) {
			r.osc().StartAt, r.osc().Growth, r.steadyRate = 82e-3, 3e-3, 0
			r.adjust = func(e *Expect) {
				e.none("start_seconds")
				e.unset("amplitude_v")
				e.unset("growth_seconds")
			}
		}),
		e("late-after-the-watch", "late", "runs only in the steady record, after the watch", func(r *recipe) {
			r.osc().StartAt, r.osc().Growth = 86e-3, 0.5e-3
			r.adjust = func(e *Expect) {
				e.none("start_seconds")
				e.unset("growth_seconds")
			}
		}),
		e("started-frequency-at-limit", "started", "0.9 % fast where 1 % is allowed", func(r *recipe) { r.osc().Hertz *= 1.009 }),
		e("started-pulled", "started", "200 ppm fast: another load capacitor", func(r *recipe) { r.osc().Hertz *= 1.0002 }),
		e("started-amplitude-at-limit", "started", "0.9 V where 0.8 V is required", func(r *recipe) { r.osc().Volts = 0.9 }),
		e("started-buffered", "started", "the buffered clock output, a square wave", func(r *recipe) {
			r.osc().Shape = Square
			r.adjust = func(e *Expect) {
				e.unset("amplitude_v")
				e.unset("start_seconds")
				e.unset("growth_seconds")
				e.set("frequency_hz", clockHertz, 800) // harmonics fold back
			}
		}),
		e("started-harmonics", "started", "20 % second and 10 % third harmonic on the driving pin", func(r *recipe) {
			r.osc().Shape, r.osc().Volts = Harmonics, 1.3
			r.loose = 4 // half of peak-to-peak is not the fundamental
		}),
		e("started-ac-coupled", "started", "probe behind a capacitor", (*recipe).acCoupled),
		e("started-no-steady-record", "started", "no steady record: nothing tells the frequency", func(r *recipe) { r.steadyRate = 0 }),
		e("started-steady-short", "started", "a steady record of 64 samples", func(r *recipe) { r.steadyCount = 64 }),
		e("started-steady-two-and-a-half", "started", "a steady record with 2.6 samples in a period", func(r *recipe) { r.steadyRate = 2.6 * clockHertz }),
		e("started-steady-four", "started", "a steady record with exactly four samples in a period", func(r *recipe) { r.steadyRate = 4 * clockHertz }),
		e("started-step", "started", "the rail steps up within a bin", func(r *recipe) { r.power.Ramp = 20e-6 }),
		e("started-slow-rail", "started", "the rail takes 12 ms to come up", func(r *recipe) {
			r.power.Ramp, r.before, r.osc().StartAt = 12e-3, 14e-3, 20e-3
			r.adjust = func(e *Expect) { e.set("rail_rise_seconds", 0.8*12e-3, 0.6e-3) }
		}),
		e("started-contact-resistance", "started", "the rail sags by 4 % as the unit draws its current", func(r *recipe) {
			r.volts = setVolts
			r.power.RailSag = func(t float64) float64 { return -0.144 * max(0, min(1, (t-6e-3)/1e-3)) }
		}),
		e("started-rail-dips", "started", "a dip of 0.9 V for 2 ms that the clock rides out", func(r *recipe) {
			r.power.RailSag = func(t float64) float64 {
				if t > 30e-3 && t < 32e-3 {
					return -0.9
				}
				return 0
			}
			r.adjust = func(e *Expect) { e.set("rail_sag_v", 0.9, 0.06) }
		}),
		e("started-amplitude-falls", "started", "settles at 1.7 V, falls to 0.95 V, still enough", func(r *recipe) {
			r.osc().Volts = 1.7
			r.osc().Sag = func(t float64) float64 { return 1 - (1-0.95/1.7)*max(0, min(1, (t-40e-3)/0.2e-3)) }
			r.adjust = func(e *Expect) {
				e.set("amplitude_v", 0.95, 0.08)
				e.unset("start_seconds")
				e.unset("growth_seconds")
			}
		}),
		e("started-overshoot", "started", "overshoots by a fifth before it settles", func(r *recipe) {
			r.osc().Sag = func(t float64) float64 {
				return 1 + 0.2*math.Exp(-sq((t-8e-3)/1.2e-3))
			}
			r.loose = 3
		}),
		e("started-no-limits", "started", "neither amplitude nor time nor frequency is limited", func(r *recipe) {
			r.limits.AmplitudeMinVolts, r.limits.StartWithinSeconds, r.limits.FrequencyWithin = 0, 0, 0
		}),
		e("started-no-rail-channel", "started", "no rail channel: timed from the trigger", func(r *recipe) {
			r.noRail = true
			r.adjust = func(e *Expect) { e.unset("rail_v"); e.Warning = "rail" }
		}),
	}
}

func sq(x float64) float64 { return x * x }
