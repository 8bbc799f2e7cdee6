package simbench

import (
	"bufio"
	"io"
	"strings"
	"testing"
	"time"
)

// BenchmarkCycle is one power cycle over the pseudo-terminals with what a driver asks for: some 25 exchanges, two
// envelope channels of 4,000 bins, a steady record and a lamp record.
func BenchmarkCycle(b *testing.B) {
	r := newRig(b, func(o *Options) { o.Climate = Climate{} })
	at, err := r.Serve(transports()[0])
	if err != nil {
		b.Fatal(err)
	}
	supply, scope := dial(b, at.Supply), dial(b, at.Scope)
	replies := map[io.ReadWriter]*bufio.Reader{supply: bufio.NewReader(supply), scope: bufio.NewReader(scope)}
	ask := func(wire io.ReadWriter, line string) string {
		send(b, wire, line)
		reply, err := replies[wire].ReadString('\n')
		if err != nil {
			b.Fatal(err)
		}
		return reply
	}
	fetch := func(channel string, size int) {
		if preamble := ask(scope, "TRAC:PRE? "+channel); !strings.HasSuffix(preamble, ",1\n") {
			b.Fatalf("record not complete: %s", preamble)
		}
		send(b, scope, "TRAC:DATA? "+channel)
		if _, err := io.CopyN(io.Discard, replies[scope], int64(size)); err != nil {
			b.Fatal(err)
		}
	}
	for b.Loop() {
		ask(supply, "OUTP OFF;OUTP?")
		r.clock.pass(3 * time.Second)
		ask(supply, "MEAS:VOLT?")
		ask(supply, "SOUR:VOLT 2.8;SOUR:VOLT?")
		for _, line := range envelopeSetup {
			send(b, scope, line)
		}
		ask(scope, "INIT;STAT:OPER:COND?")
		ask(supply, "OUTP ON;OUTP?")
		r.clock.pass(100 * time.Millisecond)
		ask(scope, "STAT:OPER:COND?")
		fetch("CH1", len("#48000")+8000+1)
		fetch("CH2", len("#48000")+8000+1)
		for _, line := range steadySetup {
			send(b, scope, line)
		}
		ask(scope, "INIT;*OPC?")
		r.clock.pass(time.Millisecond)
		fetch("CH2", len("#44000")+4000+1)
		ask(scope, "SENS:SWE:TIME 2.2;SENS:SWE:POIN 2200;INIT;*OPC?")
		r.clock.pass(2300 * time.Millisecond)
		fetch("CH3", len("#42200")+2200+1)
		ask(supply, "MEAS:VOLT?;MEAS:CURR?")
		ask(supply, "SYST:ERR?")
		ask(scope, "SYST:ERR?")
	}
}
