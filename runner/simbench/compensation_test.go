package simbench

import (
	"math"
	"testing"
	"time"
)

// compensationSetup takes 5 ms of channel 2 at one sample a microsecond.
var compensationSetup = []string{
	"SENS:DET SAMP", "SENS:SWE:TIME 5E-3", "SENS:SWE:POIN 5000", "SENS:SWE:OFFS:TIME 0",
	"SENS:VOLT2:RANG 6", "SENS:VOLT2:OFFS 1.5", "INP2:ATT 10", "TRIG:SOUR IMM",
}

func compensated(t *testing.T, trim float64) wave {
	t.Helper()
	r := newRig(t, func(o *Options) {
		o.NoUnit, o.OnCompensation = true, []int{ClockChannel}
		o.ClockProbe = Probe{Node: NodeB, Farads: 12e-12, Ohms: 10e6, Attenuation: 10, Trim: trim}
	})
	r.say(Scope, compensationSetup...)
	r.say(Scope, "INIT")
	r.clock.pass(10 * time.Millisecond)
	return r.fetch("CH2")
}

// A probe is a divider: resistors decide what it shows of slow signals, capacitors what of fast ones. So the jump at an
// edge is the swing times the ratio of the two.
func TestCompensationSignal(t *testing.T) {
	for _, trim := range []float64{0.8, 1, 1.15} {
		w := compensated(t, trim)
		up, down := 0, 0
		var jumps, tops []float64
		for i := 3; i+3 < len(w.min); i++ {
			switch step := w.min[i] - w.min[i-1]; {
			case step > 1:
				up++
				jumps = append(jumps, step)
				tops = append(tops, mean(w.min[max(i-40, 0):i-1]), mean(w.min[min(i+460, len(w.min)-20):min(i+490, len(w.min))]))
			case step < -1:
				down++
			}
		}
		// 1 kHz for 5 ms.
		if up != 5 && up != 4 || down != 5 && down != 4 {
			t.Errorf("trim %g: %d rising and %d falling edges in 5 ms", trim, up, down)
		}
		near(t, "jump", mean(jumps), 3*trim, 0.06)
		if trim == 1 {
			near(t, "bottom", tops[2], 0, 0.06)
			near(t, "top", tops[3], 3, 0.06)
		}
	}
}

func TestClipMovesAProbe(t *testing.T) {
	r := newRig(t, func(o *Options) { o.NoUnit = true; o.ClockProbe = Probe{Node: NodeB, Attenuation: 10} })
	swing := func() float64 {
		r.say(Scope, compensationSetup...)
		r.say(Scope, "INIT")
		r.clock.pass(10 * time.Millisecond)
		w := r.fetch("CH2")
		return mean(w.max[:400]) - mean(w.max[500:900])
	}
	if v := swing(); math.Abs(v) > 0.1 {
		t.Errorf("at the unit that is not there: %.2f V", v)
	}
	if err := r.Hand().Clip(ClockChannel, ToCompensation); err != nil {
		t.Fatal(err)
	}
	if v := swing(); math.Abs(v) < 1 {
		t.Errorf("on the terminal: %.2f V", v)
	}
	for _, bad := range []error{
		r.Hand().Clip(4, ToUnit), r.Hand().Clip(LampChannel, ToCompensation), r.Hand().Clip(ClockChannel, "rail"),
	} {
		if bad == nil {
			t.Error("a probe was clipped where none can be")
		}
	}
}

// A probe that is lifted shows nothing and loads nothing; put back, it does both again.
func TestClipLiftsAProbe(t *testing.T) {
	start := func(o Options) float64 {
		r := newRig(t, func(to *Options) { to.ClockProbe = o.ClockProbe })
		r.mu.Lock()
		defer r.mu.Unlock()
		return r.world.powerUp(evening, 3).ClockSeconds()
	}
	probe := Probe{Node: NodeB, Farads: 12e-12, Ohms: 10e6}
	bare, loaded := start(Options{}), start(Options{ClockProbe: probe})
	if !(loaded > 1.05*bare) {
		t.Fatalf("the start takes %g s with the probe, %g s without", loaded, bare)
	}
	r := newRig(t, func(o *Options) { o.ClockProbe = probe })
	for _, c := range []struct {
		to   string
		want float64
	}{{ToNothing, bare}, {ToUnit, loaded}, {ToCompensation, bare}, {ToUnit, loaded}} {
		if err := r.Hand().Clip(ClockChannel, c.to); err != nil {
			t.Fatal(err)
		}
		r.mu.Lock()
		if got := r.world.powerUp(evening, 3).ClockSeconds(); got != c.want {
			t.Errorf("clipped to %s the start takes %g s, want %g", c.to, got, c.want)
		}
		r.mu.Unlock()
	}
	swing := func() float64 {
		r.say(Scope, envelopeSetup...)
		r.say(Scope, "INIT")
		r.power("3.6")
		r.clock.pass(200 * time.Millisecond)
		w := r.fetch("CH2")
		r.say(Supply, "OUTP OFF")
		r.clock.pass(time.Minute)
		last := len(w.max) - 1
		return w.max[last] - w.min[last]
	}
	if v := swing(); v < 1 {
		t.Errorf("on the pin the clock swings %.3f V", v)
	}
	if err := r.Hand().Clip(ClockChannel, ToNothing); err != nil {
		t.Fatal(err)
	}
	if v := swing(); v > 0.1 {
		t.Errorf("in the air the clock swings %.3f V", v)
	}
}

// With nothing on the leads the rail is the supply's own ramp, no current flows, and nothing blinks.
func TestNoUnit(t *testing.T) {
	r := newRig(t, func(o *Options) { o.NoUnit = true })
	r.say(Scope, envelopeSetup...)
	r.say(Scope, "INIT")
	r.power("3.6")
	r.clock.pass(100 * time.Millisecond)
	near(t, "volts", r.number(Supply, "MEAS:VOLT?"), 3.6, 0.005)
	near(t, "amps", r.number(Supply, "MEAS:CURR?"), 0, 1e-4)
	rail := r.fetch("CH1")
	zero := int(math.Round(2e-3 / rail.step))
	// 10 V/ms, as with a unit (TestEnvelopeRecordOfAStart).
	near(t, "slew", (rail.min[zero+6]-rail.min[zero])/(6*rail.step), 10e3, 1e3)
	near(t, "rail", mean(rail.min[3000:]), 3.6, 0.05)
	if lamp := r.fetch("CH3"); mean(lamp.max) > 0.3 {
		t.Errorf("the lamp of no unit shows %.2f V", mean(lamp.max))
	}
	r.say(Supply, "OUTP OFF")
	r.clock.pass(time.Second)
	near(t, "off", r.number(Supply, "MEAS:VOLT?"), 0, 0.005)
}

// A trimmer that is off falsifies the clock just so.
func TestTrimScalesTheClock(t *testing.T) {
	see := func(trim float64) float64 {
		r := newRig(t, func(o *Options) {
			o.ClockProbe = Probe{Node: NodeB, Farads: 12e-12, Ohms: 10e6, Attenuation: 10, Trim: trim}
		})
		r.say(Scope, steadySetup...)
		r.say(Scope, "INP2:ATT 10", "SENS:VOLT2:RANG 12", "SENS:VOLT2:OFFS 1.5")
		r.power("3.0")
		r.clock.pass(80 * time.Millisecond)
		r.say(Scope, "INIT")
		r.clock.pass(time.Millisecond)
		_, amplitude := tone(r.fetch("CH2"), 7.3728e6)
		return amplitude
	}
	near(t, "amplitude over-compensated to right", see(1.1)/see(1), 1.1, 0.01)
}
