package simbench

import (
	"testing"
	"time"
)

// What the scope reads off its record is what the unit does; off extremes, or off a clock that stands still, it reads
// no frequency.
func TestOwnMeasurements(t *testing.T) {
	r := newRig(t, nil)
	r.say(Scope, steadySetup...)
	if reply := r.answer(Scope, "FETC:FREQ? CH2"); reply != nil {
		t.Errorf("without a record the scope answered %q", reply)
	}
	if e := r.ask(Scope, "SYST:ERR?"); e[:4] != "-230" {
		t.Errorf("without a record: %s", e)
	}
	r.say(Scope, "INIT")
	r.clock.pass(time.Millisecond)
	near(t, "frequency of a unit that is off", r.number(Scope, "FETCh:VOLTage:FREQuency? CH2"), notMeasured, 1)

	r.power("3.6")
	r.clock.pass(80 * time.Millisecond)
	r.say(Scope, "INIT")
	r.clock.pass(time.Millisecond)
	up := r.world.latest().up
	near(t, "frequency", r.number(Scope, "FETCh:FREQuency? CH2"), up.Hertz(), 5e-5*up.Hertz())
	near(t, "peak to peak", r.number(Scope, "FETCh:VOLTage:PTPeak? CH2"), 2*520*up.MotionalAmps(0.08), 0.15)

	r.say(Scope, "SENS:DET PEAK", "SENS:SWE:TIME 10E-3", "INIT")
	r.clock.pass(20 * time.Millisecond)
	near(t, "frequency of extremes", r.number(Scope, "FETCh:FREQuency? CH2"), notMeasured, 1)
}
