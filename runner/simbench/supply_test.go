package simbench

import (
	"math"
	"strings"
	"testing"
	"time"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %.6g, want %.6g ± %.2g", what, got, want, within)
	}
}

func TestReadBack(t *testing.T) {
	r := newRig(t, nil)
	r.power("3.3")
	r.clock.pass(50 * time.Millisecond)
	near(t, "volts", r.number(Supply, "MEAS:VOLT?"), 3.3, 0.010)
	// Running before the lamp lights: 3.1 mA (the unit's parts list).
	near(t, "amps", r.number(Supply, "MEAS:CURR?"), 3.1e-3, 0.1e-3)
	on, volts := r.SupplyOutput()
	if !on || volts != 3.3 {
		t.Errorf("output %t at %g V", on, volts)
	}
	r.say(Supply, "OUTP 0")
	if on, _ := r.SupplyOutput(); on {
		t.Error("output still on")
	}
}

// The decay of the decoupling capacitor against a transient of the same circuit in ngspice 39: 3.6 V reaches 1.2, 0.7
// and 0.3 V after 1.07880, 2.04211 and 3.30986 s.
func TestRailDischarges(t *testing.T) {
	for volts, after := range map[float64]float64{1.2: 1.07880, 0.7: 2.04211, 0.3: 3.30986} {
		r := newRig(t, nil)
		r.power("3.6")
		r.clock.pass(time.Second / 4)
		r.say(Supply, "OUTP OFF")
		r.clock.pass(seconds(after))
		near(t, "terminal", r.number(Supply, "MEAS:VOLT?"), volts, 0.010)

		r.say(Scope, "SENS:VOLT1:RANG 4", "SENS:VOLT1:OFFS 1.5", "INP1:ATT 10", "SENS:SWE:TIME 1E-6", "SENS:SWE:POIN 100", "INIT")
		r.clock.pass(time.Millisecond)
		w := r.fetch("CH1")
		near(t, "rail on the scope", mean(w.min), volts, 0.012)
	}
}

func TestOverVoltageProtectionKeepsTheOutputOff(t *testing.T) {
	r := newRig(t, nil)
	r.say(Supply, "SOUR:VOLT 3.6", "SOUR:VOLT:PROT 3.3")
	r.answer(Supply, "OUTP ON")
	if got := r.errorsOf(Supply); len(got) != 1 || got[0] != "-221" {
		t.Errorf("errors %v", got)
	}
	if got := r.ask(Supply, "OUTP?"); got != "0" {
		t.Errorf("output %s", got)
	}
	r.say(Supply, "SOUR:VOLT:PROT 4", "OUTP ON")
}

func TestCurrentLimit(t *testing.T) {
	// 4 mA cannot feed the 8.5 mA that the unit draws while it boots: the voltage is held down.
	r := newRig(t, nil)
	r.say(Supply, "SOUR:CURR 0.004")
	r.power("3.6")
	r.clock.pass(100 * time.Millisecond)
	if v := r.number(Supply, "MEAS:VOLT?"); v > 2 {
		t.Errorf("limited supply holds %.2f V", v)
	}
	// With over-current protection the output trips instead.
	r = newRig(t, nil)
	r.say(Supply, "SOUR:CURR 0.004", "SOUR:CURR:PROT:STAT ON")
	r.power("3.6")
	if got := r.ask(Supply, "OUTP?;STAT:QUES:COND?"); got != "0;2" {
		t.Errorf("OUTP?;STAT:QUES:COND? %s, want 0;2", got)
	}
	// Later, when the lamp lights: 11.1 mA against 10 mA.
	r = newRig(t, nil)
	r.say(Supply, "SOUR:CURR 0.010", "SOUR:CURR:PROT:STAT ON")
	r.power("3.6")
	r.clock.pass(100 * time.Millisecond)
	if got := r.ask(Supply, "OUTP?"); got != "1" {
		t.Errorf("tripped before the lamp lit")
	}
	r.clock.pass(600 * time.Millisecond)
	if got := r.ask(Supply, "OUTP?;STAT:QUES:COND?"); got != "0;2" {
		t.Errorf("lamp lit: OUTP?;STAT:QUES:COND? %s, want 0;2", got)
	}
}

func TestVoltageStaysWhileOn(t *testing.T) {
	r := newRig(t, nil)
	r.power("3.6")
	r.say(Supply, "SOUR:VOLT 3.6") // the same again is no change
	r.answer(Supply, "SOUR:VOLT 3.0")
	if e := r.ask(Supply, "SYST:ERR?"); !strings.HasPrefix(e, "-221,") || !strings.Contains(e, "output off") {
		t.Errorf("error %s", e)
	}
	if got := r.ask(Supply, "SOUR:VOLT?"); got != "+3.600000E+00" {
		t.Errorf("set-point moved to %s", got)
	}
	r.say(Supply, "*RST")
	if got := r.ask(Supply, "OUTP?;SOUR:VOLT?"); got != "0;+0.000000E+00" {
		t.Errorf("after *RST: %s", got)
	}
}

// A dwell too short for the power-on reset to re-arm (below 0.70 V) leaves the unit hung, a longer one does not.
func TestShortRestLeavesTheUnitHung(t *testing.T) {
	for rest, starts := range map[time.Duration]bool{1900 * time.Millisecond: false, 2200 * time.Millisecond: true} {
		r := newRig(t, nil)
		r.power("3.6")
		r.clock.pass(time.Second / 10)
		r.say(Supply, "OUTP OFF")
		r.clock.pass(rest)
		r.say(Supply, "OUTP ON")
		if got := !math.IsInf(r.world.latest().up.ClockSeconds(), 1); got != starts {
			t.Errorf("rest %s: starts %t, want %t", rest, got, starts)
		}
	}
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}
