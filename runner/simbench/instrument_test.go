package simbench

import (
	"fmt"
	"strings"
	"testing"
)

// errorsOf drains an instrument's error queue into error numbers.
func (r *rig) errorsOf(name Instrument) (numbers []string) {
	r.t.Helper()
	for range errorQueueDepth + 1 {
		number, _, _ := strings.Cut(r.ask(name, "SYST:ERR?"), ",")
		if number == "0" {
			return numbers
		}
		numbers = append(numbers, number)
	}
	r.t.Fatal("the error queue does not come to its end")
	return nil
}

// Short and long forms, SCPI-99 volume 1, 6.2.1: exactly the one or the other, in any case.
func TestHeaderForms(t *testing.T) {
	for _, header := range []string{
		"SOURce:VOLTage?", "sour:volt?", "SOUR:VOLTAGE?", ":SOUR:VOLT?", "VOLT?", "source:voltage:level?",
		"SOUR:VOLT:LEV:IMM:AMPL?", "VOLT:IMM?", "  SOUR:VOLT?  ", "SOUR:VOLT?\t", "MEASure:VOLTage?", "MEAS:SCAL:VOLT:DC?",
		"OUTP?", "OUTP:STAT?", "Output?",
	} {
		r := newRig(t, nil)
		if reply := r.answer(Supply, header); len(reply) == 0 {
			t.Errorf("%q: no reply, errors %v", header, r.errorsOf(Supply))
		}
	}
	for _, header := range []string{
		"VOLTA?", "FREQU?", "MEASU:VOLT?", "SOU:VOLT?", "SOUR::VOLT?", "SOUR:VOLT:STAT?", "OUTP:STATE:VOLT?", "VOLT2?",
		"*IDM?", "MEAS?", "SOUR?", "MEAS:VOLT 3", "*RST?", "TRAC:DATA? CH1", "FROBnicate ON",
	} {
		r := newRig(t, nil)
		reply := r.answer(Supply, header)
		got := r.errorsOf(Supply)
		want := "-113"
		if header == "SOUR::VOLT?" {
			want = "-102"
		}
		if reply != nil || len(got) != 1 || got[0] != want {
			t.Errorf("%q: reply %q, errors %v, want %s and no reply", header, reply, got, want)
		}
	}
}

// Error numbers of SCPI-99 volume 2, chapter 21, and the standard events of IEEE 488.2, 11.5.1.
func TestErrorNumbers(t *testing.T) {
	cases := []struct {
		to            Instrument
		line, number  string
		standardEvent string
	}{
		{Supply, "VOLT 3\x80", "-101", "32"},
		{Supply, "VOLT 1,,2", "-102", "32"},
		{Supply, "VOLT high", "-104", "32"},
		{Supply, "VOLT 3,4", "-108", "32"},
		{Supply, "OUTP? 1", "-108", "32"},
		{Supply, "VOLT", "-109", "32"},
		{Supply, "MEASUREEVERYTHING?", "-112", "32"},
		{Supply, "CALibrate", "-113", "32"},
		{Scope, "INP4:ATT 10", "-114", "32"},
		{Scope, "SENS:VOLT0:RANG 1", "-114", "32"},
		{Supply, "VOLT 3.3.3", "-121", "32"},
		{Supply, "VOLT 0x10", "-121", "32"},
		{Supply, "VOLT 1E32001", "-123", "32"},
		{Supply, "VOLT 3 A", "-131", "32"},
		{Scope, "INP1:ATT 10 V", "-138", "32"},
		{Scope, "INIT;INIT", "-213", "16"},
		{Supply, "VOLT 5.5;VOLT:PROT 4;OUTP ON", "-221", "16"},
		{Supply, "VOLT 25", "-222", "16"},
		{Supply, "VOLT -1", "-222", "16"},
		{Supply, "VOLT 1E400", "-222", "16"},
		{Scope, "SENS:SWE:POIN 1000001", "-222", "16"},
		{Scope, "TRIG:SLOP NEG", "-224", "16"},
		{Supply, "OUTP PERHAPS", "-224", "16"},
		{Scope, "TRAC:DATA? CH1", "-230", "16"},
		{Supply, "*IDN?;*ESE?", "-440", "4"},
	}
	for _, c := range cases {
		r := newRig(t, nil)
		if c.number == "-213" {
			r.say(Scope, "TRIG:SOUR CH1")
		}
		r.say(c.to, "*CLS")
		r.answer(c.to, "*ESR?") // clears the power-on event
		r.answer(c.to, c.line)
		event := r.ask(c.to, "*ESR?")
		if got := r.errorsOf(c.to); len(got) != 1 || got[0] != c.number || event != c.standardEvent {
			t.Errorf("%q: errors %v, *ESR? %s; want %s, %s", c.line, got, event, c.number, c.standardEvent)
		}
		if entry := (scpiError{number: 0}); string(entry.reply()) != `0,"No error"` {
			t.Errorf("empty queue answers %s", entry.reply())
		}
	}
}

func TestEverySimulatedErrorHasItsStandardText(t *testing.T) {
	// Texts as printed in SCPI-99 volume 2, chapter 21.
	for number, text := range map[int]string{
		-101: "Invalid character", -102: "Syntax error", -104: "Data type error", -108: "Parameter not allowed",
		-109: "Missing parameter", -113: "Undefined header", -121: "Invalid character in number",
		-213: "Init ignored", -221: "Settings conflict", -222: "Data out of range", -224: "Illegal parameter value",
		-230: "Data corrupt or stale", -350: "Queue overflow",
	} {
		if got, want := string(scpiError{number: number}.reply()), fmt.Sprintf("%d,%q", number, text); got != want {
			t.Errorf("got %s, want %s", got, want)
		}
	}
}

func TestErrorQueueOverflow(t *testing.T) {
	r := newRig(t, nil)
	for range errorQueueDepth + 5 {
		r.answer(Supply, "NOSUCH")
	}
	got := r.errorsOf(Supply)
	if len(got) != errorQueueDepth || got[0] != "-113" || got[errorQueueDepth-1] != "-350" {
		t.Errorf("queue of %d: %v", len(got), got)
	}
}

// The mandatory common commands of IEEE 488.2, 10.2.
func TestCommonCommands(t *testing.T) {
	r := newRig(t, nil)
	for name, want := range map[Instrument]string{
		Supply:      "ringup,simulated supply,SUP-7,1",
		Scope:       "ringup,simulated oscilloscope,OSC-7,1",
		Thermometer: "ringup,simulated thermometer,THM-7,1",
	} {
		if got := r.ask(name, "*IDN?"); got != want {
			t.Errorf("%s: *IDN? %q", name, got)
		}
		if got := r.ask(name, "*ESR?"); got != "128" {
			t.Errorf("%s: *ESR? after power-on %s, want 128", name, got)
		}
		if got := r.ask(name, "*OPC?"); got != "1" {
			t.Errorf("%s: *OPC? %s", name, got)
		}
		if got := r.ask(name, "*TST?"); got != "0" {
			t.Errorf("%s: *TST? %s", name, got)
		}
		if got := r.ask(name, "SYSTem:VERSion?"); got != "1999.0" {
			t.Errorf("%s: SYST:VERS? %s", name, got)
		}
		r.say(name, "*OPC", "*WAI", "*ESE 1", "*SRE 32", "STAT:PRES", "STAT:OPER:ENAB 8", "STAT:QUES:ENAB 3")
		// Operation complete, enabled, makes the event summary (32), enabled, and the master summary (64).
		if got := r.ask(name, "*STB?"); got != "96" {
			t.Errorf("%s: *STB? %s, want 96", name, got)
		}
		if got := r.ask(name, "*ESE?;*SRE?;STAT:OPER:ENAB?;STAT:QUES:ENAB?"); got != "1;32;8;3" {
			t.Errorf("%s: masks %s", name, got)
		}
		// The message-available bit (16) is set while part of the same reply waits.
		if got := r.ask(name, "*ESR?;*STB?"); got != "1;16" {
			t.Errorf("%s: *ESR?;*STB? %s", name, got)
		}
		r.answer(name, "NOSUCH")
		if got := r.ask(name, "*STB?"); got != "4" {
			t.Errorf("%s: *STB? with an error waiting %s, want 4", name, got)
		}
		r.say(name, "*CLS")
	}
}

func TestNumbersWithUnits(t *testing.T) {
	for text, want := range map[string]string{
		"2.4": "+2.400000E+00", "2400 mV": "+2.400000E+00", "2.4V": "+2.400000E+00", "+24E-1": "+2.400000E+00",
		".5": "+5.000000E-01", "3.": "+3.000000E+00", "0.0033kv": "+3.300000E+00",
	} {
		r := newRig(t, nil)
		r.say(Supply, "SOUR:VOLT "+text)
		if got := r.ask(Supply, "SOUR:VOLT?"); got != want {
			t.Errorf("%s: %s, want %s", text, got, want)
		}
	}
}

func TestCompoundMessage(t *testing.T) {
	r := newRig(t, nil)
	r.say(Supply, ":SOUR:VOLT 2.7;:SOUR:CURR 0.15; ;OUTP ON;")
	if got := r.ask(Supply, "SOUR:VOLT?;:SOUR:CURR?;OUTP?"); got != "+2.700000E+00;+1.500000E-01;1" {
		t.Errorf("compound query answered %s", got)
	}
	// A wrong unit in the middle is reported; those round it are done.
	if got := r.ask(Supply, "OUTP OFF;NOSUCH;OUTP?"); got != "0" {
		t.Errorf("after a wrong unit: OUTP? %s", got)
	}
	if got := r.errorsOf(Supply); len(got) != 1 || got[0] != "-113" {
		t.Errorf("errors %v", got)
	}
}

func FuzzExecute(f *testing.F) {
	for _, seed := range []string{"*IDN?", "SOUR:VOLT 3.6;OUTP ON", "TRAC:DATA? CH2", "INP2:COUP \"AC;\"", "VOLT 1e", ";;;", "*", ":?"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, line string) {
		r := newRig(t, nil)
		for _, name := range []Instrument{Supply, Scope, Thermometer} {
			reply := r.answer(name, line)
			if len(reply) > 0 && reply[len(reply)-1] != '\n' {
				t.Errorf("%s: reply %q to %q does not end its line", name, reply, line)
			}
			if got := r.ask(name, "*OPC?"); got != "1" {
				t.Errorf("%s: dead after %q", name, line)
			}
		}
	})
}
