package simbench

import (
	"bufio"
	"io"
	"runtime"
	"strings"
	"testing"
	"time"
)

func TestFaultsOnTheWire(t *testing.T) {
	r := newRig(t, nil)
	at, err := r.Serve(TCP)
	if err != nil {
		t.Fatal(err)
	}
	supply, f := dial(t, at.Supply), r.Faults()
	const identity = "ringup,simulated supply,SUP-7,1"

	// A lost reply: the next one comes instead.
	f.DropReply(Supply)
	send(t, supply, "*IDN?")
	if got := query(t, supply, "*OPC?"); got != "1" {
		t.Errorf("after a dropped reply: %q", got)
	}
	f.GarbleReply(Supply)
	if got := query(t, supply, "*IDN?"); got == identity || len(got) != len(identity) {
		t.Errorf("garbled: %q", got)
	}
	f.ReplaceReply(Supply, "9.91E37")
	if got := query(t, supply, "MEAS:VOLT?"); got != "9.91E37" {
		t.Errorf("replaced: %q", got)
	}
	f.DelayReply(Supply, time.Millisecond)
	if got := query(t, supply, "*IDN?"); got != identity {
		t.Errorf("delayed: %q", got)
	}

	held, release := f.HoldReply(Supply)
	send(t, supply, "*IDN?")
	<-held
	other := dial(t, at.Supply) // the instrument is at work for others meanwhile
	if got := query(t, other, "*OPC?"); got != "1" {
		t.Errorf("while a reply is held back: %q", got)
	}
	release()
	if got, err := bufio.NewReader(supply).ReadString('\n'); err != nil || got != identity+"\n" {
		t.Errorf("released: %q, %v", got, err)
	}

	f.Silence(Supply, true)
	send(t, supply, "SOUR:VOLT 3.3;SOUR:VOLT?")
	// One connection is served in order: once its next message has been executed, the silence has swallowed the reply.
	send(t, supply, "OUTP ON")
	for on := false; !on; on, _ = r.SupplyOutput() {
		runtime.Gosched()
	}
	f.Silence(Supply, false)
	if got := query(t, supply, "OUTP?;SOUR:VOLT?"); got != "1;+3.300000E+00" {
		t.Errorf("after the silence: %q", got)
	}
}

func TestTruncatedBlock(t *testing.T) {
	r := newRig(t, nil)
	at, err := r.Serve(TCP)
	if err != nil {
		t.Fatal(err)
	}
	r.say(Scope, "SENS:SWE:TIME 1E-3", "SENS:SWE:POIN 1000", "INIT")
	r.clock.pass(time.Second)
	scope := dial(t, at.Scope)
	r.Faults().TruncateReply(Scope, 500)
	send(t, scope, "TRAC:DATA? CH1")
	send(t, scope, "*OPC?")
	got := make([]byte, 502)
	if _, err := io.ReadFull(scope, got); err != nil || !strings.HasPrefix(string(got), "#41000") || string(got[500:]) != "1\n" {
		t.Errorf("%.10q … %q, %v", got, got[500:], err)
	}
}

func TestFaultsBehindThePanel(t *testing.T) {
	r := newRig(t, nil)
	f := r.Faults()
	r.power("3.6")
	f.StickOutput(true)
	r.say(Supply, "OUTP OFF")
	if got := r.ask(Supply, "OUTP?"); got != "1" {
		t.Errorf("stuck output answers %s", got)
	}
	f.StickOutput(false)
	r.say(Supply, "OUTP OFF")
	if got := r.ask(Supply, "OUTP?"); got != "0" {
		t.Errorf("freed output answers %s", got)
	}
	f.IgnoreOff(2)
	r.say(Supply, "OUTP OFF") // is off: nothing to ignore
	r.power("3.6")
	for _, want := range []string{"1", "1", "0"} {
		r.say(Supply, "OUTP OFF")
		if got := r.ask(Supply, "OUTP?"); got != want {
			t.Errorf("an output that ignores off twice answers %s, want %s", got, want)
		}
	}

	f.Overcurrent(0.3)
	r.clock.pass(3 * time.Second)
	r.power("3.6")
	r.clock.pass(100 * time.Millisecond)
	if a := r.number(Supply, "MEAS:CURR?"); a < 0.3 {
		t.Errorf("over-current reads %.3f A", a)
	}
	f.Overcurrent(0)

	// A broken lead: the supply shows its set-point, the rail falls.
	f.OpenLead(true)
	r.clock.pass(3 * time.Second)
	near(t, "terminals", r.number(Supply, "MEAS:VOLT?"), 3.6, 0.01)
	r.say(Scope, "SENS:VOLT1:RANG 5", "INP1:ATT 10", "SENS:VOLT1:OFFS 2", "INIT")
	r.clock.pass(time.Second)
	if v := mean(r.fetch("CH1").min); v > 0.6 {
		t.Errorf("rail behind a broken lead %.2f V", v)
	}
	r.say(Supply, "OUTP OFF")
	f.OpenLead(false)
	r.power("3.6")
	r.clock.pass(time.Second)
	r.say(Scope, "INIT")
	r.clock.pass(time.Second)
	near(t, "rail behind the mended lead", mean(r.fetch("CH1").min), 3.6, 0.05)
	r.say(Supply, "OUTP OFF")

	f.MissTrigger()
	r.say(Scope, envelopeSetup...)
	for _, want := range []string{"32", "0"} {
		r.say(Scope, "INIT")
		r.clock.pass(3 * time.Second)
		r.power("3.6")
		r.clock.pass(time.Second)
		if got := r.ask(Scope, "STAT:OPER:COND?"); got != want {
			t.Errorf("condition %s, want %s", got, want)
		}
		r.say(Supply, "OUTP OFF")
		r.say(Scope, "ABOR")
	}

	f.QueueError(Thermometer, -240, "sensor open")
	if got := r.ask(Thermometer, "SYST:ERR?"); got != `-240,"Hardware error;sensor open"` {
		t.Errorf("error %s", got)
	}
}
