package simbench

import (
	"bufio"
	"errors"
	"io"
	"strings"
	"testing"
	"time"
)

func TestSpots(t *testing.T) {
	for message, want := range map[string]string{
		"*IDN?":                              "D",
		"SOUR:VOLT 3.6000;:SOUR:VOLT?":       "3:",
		"INP1:COUP DC;:SENS:SWE:OFFS -0.002": "D0",
		"OUTP ON;:OUTP?":                     "OT",
	} {
		got := ""
		for _, spot := range Spots(message) {
			got += message[spot : spot+1]
		}
		if got != want {
			t.Errorf("%s: the spots are %q, want %q", message, got, want)
		}
	}
}

// dialSupply serves the bench and connects to its supply.
func (r *rig) dialSupply(transport string) io.ReadWriteCloser {
	r.t.Helper()
	at, err := r.Serve(transport)
	if err != nil {
		r.t.Fatal(err)
	}
	return dial(r.t, at.Supply)
}

// TestBlowsOnReplies: what is seen of one blow at the second of three queries.
func TestBlowsOnReplies(t *testing.T) {
	const volts, amps = "+3.600000E+00\n", "+1.000000E-01\n"
	for fault, want := range map[WireFault]string{
		ReplyByteLost:    "+.600000E+00\n",
		ReplyByteGarbled: "+7.600000E+00\n",
		ReplyLate:        volts,
		ReplySplit:       volts,
		RepliesGlued:     amps + volts,
		EchoOn:           "SOUR:VOLT?\n" + volts,
		LineNoise:        "\xfe7" + volts,
		NoiseDigit:       "7" + volts,
		NULBytes:         "\x00+\x003.600000E+00\n\x00",
		BlockCut:         volts[:len(volts)/2],
		BlockCountWrong:  volts, // no block
		EndlessErrors:    volts,
		Rebooted:         "\x00",
	} {
		t.Run(string(fault), func(t *testing.T) {
			r := newRig(t, nil)
			transport := TCP
			if fault == Rebooted {
				transport = transports()[0] // a socket breaks
				if transport == TCP {
					t.Skip("no pseudo-terminals on this system")
				}
			}
			wire := r.dialSupply(transport)
			r.say(Supply, "SOUR:VOLT 3.6", "SOUR:CURR 0.1")
			r.Faults().Strike(Supply, Blow{Fault: fault, At: 1, Late: time.Millisecond})
			send(t, wire, "SOUR:CURR?")
			send(t, wire, "SOUR:VOLT?")
			got := make([]byte, len(amps)+len(want))
			if _, err := io.ReadFull(wire, got); err != nil || string(got) != amps+want {
				t.Fatalf("%q, %v; want %q", got, err, amps+want)
			}
			if fault != EndlessErrors {
				return
			}
			if e := r.ask(Supply, "SYST:ERR?"); !strings.HasPrefix(e, "-240") {
				t.Errorf("the queue holds %s", e)
			}
			if err := r.Faults().Heal(Supply); err != nil || r.ask(Supply, "SYST:ERR?") != `0,"No error"` {
				t.Errorf("healed: %v", err)
			}
		})
	}
}

// TestBlowsOnCommands: the instrument gets another command than was sent.
func TestBlowsOnCommands(t *testing.T) {
	for fault, want := range map[WireFault]string{CommandByteLost: "+6.000000E-01\n", CommandByteGarbled: "+7.600000E+00\n"} {
		r := newRig(t, nil)
		wire := r.dialSupply(TCP)
		r.Faults().Strike(Supply, Blow{Fault: fault})
		send(t, wire, "SOUR:VOLT 3.6;:SOUR:VOLT?")
		if got, err := bufio.NewReader(wire).ReadString('\n'); err != nil || got != want {
			t.Errorf("%s: %q, %v; want %q", fault, got, err, want)
		}
	}
}

// TestBlowsOnTheLink: the command is carried out, the reply is lost, and the wire is gone, or gone and back.
func TestBlowsOnTheLink(t *testing.T) {
	for fault, back := range map[WireFault]bool{LinkClosed: false, LinkClosedAndBack: true} {
		r := newRig(t, nil)
		wire := r.dialSupply(TCP)
		r.Faults().Strike(Supply, Blow{Fault: fault})
		send(t, wire, "SOUR:VOLT 3.6;:SOUR:VOLT?")
		if got, err := io.ReadAll(wire); len(got) > 0 || errors.Is(err, io.ErrUnexpectedEOF) {
			t.Errorf("%s: %q, %v", fault, got, err)
		}
		if r.ask(Supply, "SOUR:VOLT?") != "+3.600000E+00" {
			t.Errorf("%s: the command was not carried out", fault)
		}
		if !back {
			if err := r.Faults().Heal(Supply); err != nil {
				t.Fatal(err)
			}
		}
		address, err := r.Faults().Plug(Supply)
		if err != nil {
			t.Fatal(err)
		}
		if got := query(t, dial(t, address), "SOUR:VOLT?"); got != "+3.600000E+00" {
			t.Errorf("%s, then %q", fault, got)
		}
	}
}
