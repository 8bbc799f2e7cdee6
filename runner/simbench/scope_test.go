package simbench

import (
	"math"
	"math/cmplx"
	"testing"
	"time"
)

// envelopeSetup arms the scope for a peak-detect record of a start-up: 80 ms, 4,000 bins, 2 ms before the trigger.
var envelopeSetup = []string{
	"SENS:DET PEAK", "SENS:SWE:TIME 80E-3", "SENS:SWE:POIN 4000", "SENS:SWE:OFFS:TIME -2E-3",
	"SENS:VOLT1:RANG 5", "SENS:VOLT1:OFFS 2", "INP1:ATT 10",
	"SENS:VOLT2:RANG 6", "SENS:VOLT2:OFFS 0", "INP2:ATT 20", "INP2:COUP DC",
	"TRIG:SOUR CH1", "TRIG:LEV 1.8", "TRIG:SLOP POS",
}

// steadySetup takes 4,000 samples of the clock in 40 µs, at once.
var steadySetup = []string{
	"SENS:DET SAMP", "SENS:SWE:TIME 40E-6", "SENS:SWE:POIN 4000", "SENS:SWE:OFFS:TIME 0",
	"SENS:VOLT2:RANG 6", "SENS:VOLT2:OFFS 0", "INP2:ATT 20", "TRIG:SOUR IMM",
}

// tone measures frequency and peak amplitude of the strongest oscillation near guess, from the phase that the two
// halves of the record are apart.
func tone(w wave, guess float64) (hertz, amplitude float64) {
	half := len(w.min) / 2
	dc := mean(w.min)
	part := func(from int, f float64) (sum complex128) {
		var weights float64
		for i := range half {
			window := 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(half))
			weights += window
			sum += complex(window*(w.min[from+i]-dc), 0) *
				cmplx.Rect(1, -2*math.Pi*f*w.step*float64(from+i))
		}
		return sum * complex(2/weights, 0)
	}
	for range 8 {
		turn := cmplx.Phase(part(half, guess) / part(0, guess))
		guess += turn / (2 * math.Pi * w.step * float64(half))
	}
	return guess, cmplx.Abs(part(0, guess))
}

func TestEnvelopeRecordOfAStart(t *testing.T) {
	r := newRig(t, nil)
	r.say(Scope, envelopeSetup...)
	r.say(Scope, "INIT")
	if got := r.ask(Scope, "STAT:OPER:COND?"); got != "32" {
		t.Fatalf("armed: condition %s, want 32", got)
	}
	r.clock.pass(time.Hour)
	if got := r.ask(Scope, "STAT:OPER:COND?"); got != "32" {
		t.Fatalf("an hour without power: condition %s, want 32", got)
	}
	r.power("3.6")
	r.clock.pass(50 * time.Millisecond)
	if got := r.ask(Scope, "STAT:OPER:COND?"); got != "8" {
		t.Fatalf("in the window: condition %s, want 8", got)
	}
	if reply := r.answer(Scope, "TRAC:DATA? CH1"); reply != nil {
		t.Fatalf("unfinished record answered %.20q", reply)
	}
	r.answer(Scope, "*CLS")
	r.clock.pass(30 * time.Millisecond)
	if got := r.ask(Scope, "STAT:OPER:COND?"); got != "0" {
		t.Fatalf("after the window: condition %s, want 0", got)
	}

	rail, clock := r.fetch("CH1"), r.fetch("CH2")
	near(t, "start", rail.start, -2e-3, 1e-12)
	near(t, "step", rail.step, 20e-6, 1e-12)
	// The rail crosses the trigger level at t = 0 and stands at the set volts after the ramp of 10 V/ms.
	zero := int(math.Round(2e-3 / rail.step))
	if !(rail.max[zero-2] < 1.8 && rail.min[zero+1] > 1.8) {
		t.Errorf("rail %.2f V before and %.2f V after the trigger, want a crossing of 1.8 V", rail.max[zero-2], rail.min[zero+1])
	}
	if rail.max[0] > 0.1 {
		t.Errorf("rail %.2f V long before the trigger", rail.max[0])
	}
	slope := (rail.min[zero+6] - rail.min[zero]) / (6 * rail.step)
	near(t, "slew", slope, 10e3, 1e3)
	near(t, "rail", mean(rail.min[3000:]), 3.6, 0.08)

	// The envelope against the model that the scope looks at: 520 V for each ampere through the crystal.
	up := r.world.latest().up
	onset := r.record("start of power").Seconds()
	for _, at := range []float64{3e-3, 4e-3, 10e-3, 70e-3} {
		n := zero + int(at/clock.step)
		want := 520 * up.MotionalAmps(at+clock.step/2-onset)
		near(t, "envelope", (clock.max[n]-clock.min[n])/2, want, 0.05+0.05*want)
	}
	if quiet := clock.max[zero+50] - clock.min[zero+50]; quiet > 0.25 {
		t.Errorf("%.2f V of noise before the clock starts", quiet)
	}
}

// record tells when the named event of the present record was, after the trigger (negative: before).
func (r *rig) record(string) time.Duration {
	return r.world.latest().from.Sub(r.scope.record.at)
}

// A record of plain samples holds the true oscillation: frequency within 5 ppm and amplitude within 3 % of the unit's.
func TestSteadyRecordDecodes(t *testing.T) {
	r := newRig(t, nil)
	r.say(Scope, steadySetup...)
	r.power("3.6")
	r.clock.pass(80 * time.Millisecond)
	r.say(Scope, "INIT")
	if got := r.ask(Scope, "STAT:OPER:COND?"); got != "8" {
		t.Errorf("just started: condition %s, want 8", got)
	}
	r.clock.pass(100 * time.Microsecond)
	hertz, amplitude := tone(r.fetch("CH2"), 7.3728e6)
	up := r.world.latest().up
	near(t, "frequency", hertz, up.Hertz(), 5e-6*up.Hertz())
	near(t, "amplitude", amplitude, 520*up.MotionalAmps(0.08), 0.03*amplitude)
	// The healthy unit at 3.6 V pulls its crystal by +14.6 ppm (exact network solution; the same net agrees with
	// ngspice 39 to 1e-11).
	near(t, "pull", (hertz/7.3728e6-1)*1e6, 14.6, 6)
}

// Sampling slower than twice the frequency aliases: 7.3728 MHz at 10 samples in 9 µs shows |f − k/step|.
func TestSlowSamplingAliases(t *testing.T) {
	r := newRig(t, nil)
	r.say(Scope, steadySetup...)
	r.say(Scope, "SENS:SWE:TIME 4E-3") // one sample each microsecond
	r.power("3.6")
	r.clock.pass(80 * time.Millisecond)
	r.say(Scope, "INIT")
	r.clock.pass(5 * time.Millisecond)
	hertz, _ := tone(r.fetch("CH2"), 0.3728e6)
	near(t, "alias", hertz, r.world.latest().up.Hertz()-7e6, 100)
}

func TestWhatTheClockProbesSee(t *testing.T) {
	see := func(probe Probe, extra ...string) (wave, *rig) {
		r := newRig(t, func(o *Options) { o.ClockProbe = probe })
		r.say(Scope, steadySetup...)
		r.say(Scope, "INP2:ATT 10", "SENS:VOLT2:RANG 12", "SENS:VOLT2:OFFS 1.5")
		r.say(Scope, extra...)
		r.power("3.0")
		r.clock.pass(80 * time.Millisecond)
		r.say(Scope, "INIT")
		r.clock.pass(time.Millisecond)
		return r.fetch("CH2"), r
	}
	passive := func(node string) Probe { return Probe{Node: node, Farads: 12e-12, Ohms: 10e6, Attenuation: 10} }

	for _, node := range []string{NodeA, NodeB} {
		w, r := see(passive(node))
		up := r.world.latest().up
		hertz, amplitude := tone(w, 7.3728e6)
		near(t, node+" amplitude", amplitude, up.NodeAmplitude(node, 0.08), 0.03*amplitude)
		near(t, node+" bias", mean(w.min), up.NodeBias(node, 0.08), 0.05)
		if up.NodeBias(node, 0.08) < 1 {
			t.Errorf("%s: no bias", node)
		}
		// A 10:1 probe of 12 pF pulls by −37 ppm on A and −39 ppm on B (exact network solution).
		near(t, node+" pull of the probe", (hertz/7.3728e6-1)*1e6, 14.6-38, 8)
	}

	w, _ := see(Probe{Node: NodeNearField}, "INP2:ATT 20", "SENS:VOLT2:OFFS 0")
	hertz, _ := tone(w, 7.3728e6)
	near(t, "near field DC", mean(w.min), 0, 0.03)
	near(t, "near field loads nothing", (hertz/7.3728e6-1)*1e6, 13, 6)

	w, _ = see(Probe{Node: NodeBuffered})
	low, high := 0, 0
	for _, v := range w.min {
		switch {
		case math.Abs(v) < 0.15:
			low++
		case math.Abs(v-3.0) < 0.15:
			high++
		}
	}
	if low+high != len(w.min) || math.Abs(float64(low-high)) > 0.05*float64(len(w.min)) {
		t.Errorf("buffered clock: %d samples low, %d high of %d", low, high, len(w.min))
	}

	// AC coupling takes the bias off a pin.
	w, _ = see(passive(NodeB), "INP2:COUP AC", "SENS:VOLT2:OFFS 0")
	if dc := mean(w.min); math.Abs(dc) > 0.1 {
		t.Errorf("AC coupled after 5 time constants: %.2f V", dc)
	}

	w, _ = see(Probe{})
	if _, amplitude := tone(w, 7.3728e6); amplitude > 0.02 {
		t.Errorf("a probe that is not connected sees %.3f V", amplitude)
	}
}

func TestWrongAttenuationMisleads(t *testing.T) {
	r := newRig(t, nil)
	r.say(Scope, "SENS:VOLT1:RANG 1", "INP1:ATT 1", "SENS:SWE:TIME 1E-3", "INIT")
	r.power("3.6")
	r.clock.pass(time.Second)
	r.say(Scope, "INIT")
	r.clock.pass(time.Second)
	near(t, "a 10:1 probe read as 1:1", mean(r.fetch("CH1").min), 0.36, 0.01)
}

func TestConverterClips(t *testing.T) {
	r := newRig(t, nil)
	r.say(Scope, steadySetup...)
	r.say(Scope, "SENS:VOLT2:RANG 1")
	r.power("3.6")
	r.clock.pass(80 * time.Millisecond)
	r.say(Scope, "INIT")
	r.clock.pass(time.Millisecond)
	w := r.fetch("CH2")
	if w.clipped < len(w.min)/2 {
		t.Errorf("%d of %d samples at the converter's limits", w.clipped, len(w.min))
	}
	for _, v := range w.min {
		if v < -0.5 || v > 0.5 {
			t.Fatalf("%.3f V from a range of 1 V", v)
		}
	}
}

func TestLampChannel(t *testing.T) {
	record := func(fitted bool) wave {
		r := newRig(t, func(o *Options) { o.LampProbe = fitted })
		r.say(Scope, "SENS:SWE:TIME 3", "SENS:SWE:POIN 3000", "SENS:VOLT3:RANG 4", "SENS:VOLT3:OFFS 1")
		r.power("3.6")
		r.clock.pass(100 * time.Millisecond)
		r.say(Scope, "INIT")
		r.clock.pass(3 * time.Second)
		return r.fetch("CH3")
	}
	w := record(true)
	rises := 0
	for i := 1; i < len(w.min); i++ {
		if w.min[i-1] < 1 && w.min[i] >= 1 {
			rises++
		}
	}
	// The lamp blinks at 1 Hz.
	if rises != 3 {
		t.Errorf("lamp rose %d times in 3 s", rises)
	}
	near(t, "duty", mean(w.min), 1, 0.1)
	if w := record(false); mean(w.max) > 0.05 {
		t.Errorf("no photodiode, but %.2f V", mean(w.max))
	}
}

func TestRecordHoldsItsSettingsAndItsPast(t *testing.T) {
	r := newRig(t, nil)
	r.say(Scope, envelopeSetup...)
	r.say(Scope, "INIT")
	r.power("3.6")
	r.clock.pass(100 * time.Millisecond)
	before := r.fetch("CH2")
	// Later settings, later power cycles: the record stays as it was taken.
	r.say(Scope, "SENS:DET SAMP", "SENS:VOLT1:RANG 1", "SENS:SWE:POIN 10")
	for range 40 {
		r.say(Supply, "OUTP OFF")
		r.clock.pass(3 * time.Second)
		r.say(Supply, "OUTP ON")
		r.clock.pass(time.Second)
	}
	if rail := r.fetch("CH1"); len(rail.min) != 4000 || mean(rail.min[3000:]) < 3.5 {
		t.Errorf("rail of the old record: %d points, %.2f V", len(rail.min), mean(rail.min[3000:]))
	}
	if after := r.fetch("CH2"); mean(after.max) != mean(before.max) {
		t.Error("the clock channel changed between two fetches of one record")
	}
	if n := len(r.world.stretches); n > 4 {
		t.Errorf("the world remembers %d stretches that nobody needs", n)
	}
	r.say(Scope, "INIT")
	if got := r.ask(Scope, "TRAC:PRE? CH1"); got[len(got)-1] != '0' {
		t.Errorf("INITiate left the older record valid: %s", got)
	}
}

// Power that went off again before the scope was asked: the record shows the rise, the fall and the ring-down.
func TestPowerLostWithinTheWindow(t *testing.T) {
	r := newRig(t, nil)
	r.say(Scope, envelopeSetup...)
	r.say(Scope, "INIT")
	r.power("3.6")
	r.clock.pass(40 * time.Millisecond)
	r.say(Supply, "OUTP OFF")
	r.clock.pass(time.Second)
	clock := r.fetch("CH2")
	swing := func(ms int) float64 { n := (2 + ms) * 50; return clock.max[n] - clock.min[n] }
	// The crystal rings down with 2·L1/R1 = 2.4 ms.
	near(t, "ring-down", (swing(45)-swing(75))/(swing(35)-swing(75)), math.Exp(-(45-40+0.18)/2.4), 0.03)
}

func TestTriggerOnOtherChannels(t *testing.T) {
	r := newRig(t, nil)
	r.say(Scope, envelopeSetup...)
	r.say(Scope, "TRIG:SOUR CH2", "TRIG:LEV 1", "INIT")
	r.power("3.6")
	r.clock.pass(time.Second)
	clock := r.fetch("CH2")
	if clock.max[98] > 1.1 || clock.max[103] < 0.95 {
		t.Errorf("clock %.2f V before and %.2f V after a trigger at 1 V", clock.max[98], clock.max[103])
	}
	// A level that nothing reaches never triggers, and ABORt ends the waiting.
	r.say(Scope, "TRIG:SOUR CH1", "TRIG:LEV 5", "INIT")
	r.say(Supply, "OUTP OFF")
	r.clock.pass(3 * time.Second)
	r.say(Supply, "OUTP ON")
	r.clock.pass(3 * time.Second)
	if got := r.ask(Scope, "STAT:OPER:COND?"); got != "32" {
		t.Errorf("condition %s, want 32", got)
	}
	r.say(Scope, "ABOR")
	if got := r.ask(Scope, "STAT:OPER:COND?"); got != "0" {
		t.Errorf("after ABORt %s, want 0", got)
	}
	// A rail that is already up has no rising edge.
	r.say(Scope, "TRIG:LEV 1.8", "INIT")
	r.clock.pass(time.Second)
	if got := r.ask(Scope, "STAT:OPER:COND?"); got != "32" {
		t.Errorf("steady rail: condition %s, want 32", got)
	}
}

func TestSampleRateLimit(t *testing.T) {
	r := newRig(t, nil)
	r.say(Scope, "SENS:SWE:TIME 1E-6", "SENS:SWE:POIN 2000")
	r.answer(Scope, "INIT")
	if got := r.errorsOf(Scope); len(got) != 1 || got[0] != "-221" {
		t.Errorf("2 GSa/s: errors %v", got)
	}
}
