package vectors

import "math"

// witnesses are units of which lamp and supply current tell too, agreeing with
// the clock or not.
func witnesses() []recipe {
	e := slow().entry
	lamp := func(v func(t float64) float64, amps float64) func(*recipe) {
		return func(r *recipe) {
			r.lamp, r.amps = v, amps
			r.limits.LampHertz = 1
			r.limits.OffAmps, r.limits.HungAmps, r.limits.RunningAmps = Amps{0, 0.2e-3}, Amps{0.8e-3, 1.6e-3}, Amps{3e-3, 6e-3}
		}
	}
	blink := func(hertz float64) func(t float64) float64 {
		return func(t float64) float64 {
			if math.Mod(t*hertz+0.3, 1) < 0.5 {
				return 2.1
			}
			return 0
		}
	}
	lit := func(float64) float64 { return 2.1 }
	dark := func(float64) float64 { return 0 }
	seen := func(e *Expect, lamp, disagree string) { e.Lamp, e.Disagree = lamp, disagree }
	with := func(f func(*recipe), change func(*recipe), state func(*Expect)) func(*recipe) {
		return func(r *recipe) { f(r); change(r); r.adjust = state }
	}
	mute := (*recipe).mute
	return []recipe{
		e("witness-all-well", "started", "lamp blinks once a second, current of a running unit", with(lamp(blink(1), 4.1e-3), asIs, func(e *Expect) {
			seen(e, "blinking", "no")
			e.set("lamp_hz", 1, 0.03)
		})),
		e("witness-silent", "silent", "silent, lamp dark, current of a hung unit", with(lamp(dark, 1.1e-3), mute, func(e *Expect) { seen(e, "dark", "no") })),
		e("witness-silent-lit", "silent", "silent, lamp stuck lit, current of a hung unit", with(lamp(lit, 1.1e-3), mute, func(e *Expect) { seen(e, "lit", "") })),
		e("witness-probe-off", "silent", "lamp blinks and the current is that of a running unit, the clock's probe sees nothing", with(lamp(blink(1), 4.1e-3), mute, func(e *Expect) {
			seen(e, "blinking", "yes")
			e.set("lamp_hz", 1, 0.03)
		})),
		e("witness-firmware-dead", "started", "the clock runs, lamp dark, current of a hung unit", with(lamp(dark, 1.1e-3), asIs, func(e *Expect) { seen(e, "dark", "yes") })),
		e("witness-current-off", "started", "the clock runs, lamp blinks, and the supply gives no current", with(lamp(blink(1), 0.1e-3), asIs, func(e *Expect) { seen(e, "blinking", "yes") })),
		e("witness-slow-lamp", "off-frequency", "6.0 MHz, and the lamp blinks that much slower", with(lamp(blink(6/7.3728), 3.6e-3), func(r *recipe) { r.osc().Hertz = 6e6 }, func(e *Expect) {
			e.Lamp = "blinking"
			e.set("lamp_hz", 6/7.3728, 0.03)
		})),
		e("witness-unread-clock", "unread", "lamp blinks, but the clock's record is lost", with(lamp(blink(1), 4.1e-3), func(r *recipe) {
			r.spoil = func(r *Records) { r.Clock, r.Steady = Channel{}, Channel{} }
		}, func(e *Expect) { e.Lamp = "blinking" })),
		e("witness-weak", "weak", "weak as the probe sees it, lamp blinks", with(lamp(blink(1), 4.1e-3), func(r *recipe) { r.osc().Volts = 0.5 }, func(e *Expect) { e.Lamp = "blinking" })),
		e("witness-lamp-comes-on", "started", "lamp comes on after a second and stays", with(lamp(func(t float64) float64 {
			if t > 1 {
				return 2.1
			}
			return 0
		}, 4.1e-3), asIs, func(e *Expect) { e.Lamp = "lit" })),
		e("witness-unpowered", "unpowered", "no rail, lamp dark, no current", with(lamp(dark, 0.05e-3), func(r *recipe) {
			r.mute()
			r.power.RailVolts, r.power.Bias = 0, 0
		}, func(e *Expect) { e.Lamp = "dark" })),
	}
}
