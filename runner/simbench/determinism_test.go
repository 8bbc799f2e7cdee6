package simbench

import (
	"testing"
	"time"
)

// night runs cycles at 2.8 V and returns every byte that the instruments answered.
func night(r *rig, cycles int, chatter bool) (answers []string) {
	r.say(Scope, envelopeSetup...)
	for range cycles {
		r.clock.pass(3 * time.Second)
		if chatter { // draws that must not matter
			r.ask(Supply, "MEAS:VOLT?;MEAS:CURR?")
			r.ask(Thermometer, "MEAS:TEMP?")
			r.say(Scope, "INIT", "ABOR")
		}
		r.say(Supply, "SOUR:VOLT 2.8")
		r.say(Scope, "INIT")
		r.say(Supply, "OUTP ON")
		r.clock.pass(100 * time.Millisecond)
		answers = append(answers, string(r.answer(Scope, "TRAC:DATA? CH1")), string(r.answer(Scope, "TRAC:DATA? CH2")),
			r.ask(Supply, "MEAS:VOLT?;MEAS:CURR?"), r.ask(Thermometer, "MEAS:TEMP?"))
		r.say(Supply, "OUTP OFF")
	}
	return answers
}

func differing(a, b []string) (n int) {
	for i := range a {
		if a[i] != b[i] {
			n++
		}
	}
	return n
}

func TestSameSeedAndTimeAnswerTheSameBytes(t *testing.T) {
	cold := func(o *Options) {
		o.Unit = "cracked-capacitor"
		o.Climate = Climate{MeanCelsius: 5, SwingCelsius: 5, ColdestAt: 5 * time.Hour}
	}
	one := night(newRig(t, cold), 10, false)
	if n := differing(one, night(newRig(t, cold), 10, false)); n != 0 {
		t.Errorf("%d of %d answers differ between equal nights", n, len(one))
	}
	if n := differing(one, night(newRig(t, cold), 10, true)); n != 0 {
		t.Errorf("%d of %d answers depend on what was asked before", n, len(one))
	}
	other := night(newRig(t, func(o *Options) { cold(o); o.Seed = 8 }), 10, false)
	if n := differing(one, other); n != len(one) {
		t.Errorf("with another seed only %d of %d answers differ", n, len(one))
	}
}

// A bench that is made anew in the middle of the night goes on in the same night.
func TestResumedBenchGoesOnInTheSameNight(t *testing.T) {
	sleepy := func(o *Options) { o.Unit = "sleepy-crystal" }
	whole := newRig(t, sleepy)
	all := night(whole, 8, false)

	first := newRig(t, sleepy)
	begun := night(first, 5, false)
	stopped := first.clock.Now()
	second := newRig(t, func(o *Options) {
		sleepy(o)
		o.Clock, o.OffSince, o.OffVolts = first.clock, stopped, 2.8
	})
	second.clock = first.clock
	if n := differing(all, append(begun, night(second, 3, false)...)); n != 0 {
		t.Errorf("%d of %d answers differ between a whole and a resumed night", n, len(all))
	}
}
