package scpi

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"testing"
)

// Numbers, texts and classes are those of SCPI-99 volume 2 section 21.8.
func TestParseInstrumentMessage(t *testing.T) {
	for _, c := range []struct {
		in     string
		number int
		text   string
		class  string
	}{
		{`0,"No error"`, 0, "No error", "no error"},
		{`+0,"No error"`, 0, "No error", "no error"},
		{`-100,"Command error"`, -100, "Command error", "command error"},
		{`-113,"Undefined header;SOUR:VOLTA"`, -113, "Undefined header;SOUR:VOLTA", "command error"},
		{`-199,"x"`, -199, "x", "command error"},
		{`-200,"Execution error"`, -200, "Execution error", "execution error"},
		{`-222,"Data out of range"`, -222, "Data out of range", "execution error"},
		{`-350,"Queue overflow"`, -350, "Queue overflow", "device-specific error"},
		{`-410,"Query INTERRUPTED"`, -410, "Query INTERRUPTED", "query error"},
		{`-500,"Power on"`, -500, "Power on", "power on"},
		{`-600,"x"`, -600, "x", "user request"},
		{`-700,"x"`, -700, "x", "request control"},
		{`-800,"x"`, -800, "x", "operation complete"},
		{`42,"Fan stopped, says ""control"""`, 42, `Fan stopped, says "control"`, "device-specific error"},
		{`-101`, -101, "", "command error"},
	} {
		m, err := ParseInstrumentMessage(c.in)
		if err != nil || m.Number != c.number || m.Text != c.text || m.Class() != c.class {
			t.Errorf("ParseInstrumentMessage(%q) = %v (%s), %v", c.in, m, m.Class(), err)
		}
	}
	for _, in := range []string{"", "no error", `"No error",0`, "3.6", "99999,x"} {
		if m, err := ParseInstrumentMessage(in); !errors.Is(err, ErrGarbled) {
			t.Errorf("ParseInstrumentMessage(%q) = %v, %v, want ErrGarbled", in, m, err)
		}
	}
}

// TestRefusedOnce: an error queue full of one thing says it once.
func TestRefusedOnce(t *testing.T) {
	hardware, undefined := InstrumentMessage{-240, "Hardware error"}, InstrumentMessage{-113, "Undefined header"}
	err := &Refused{Messages: []InstrumentMessage{hardware, undefined, hardware, hardware}}
	const want = `the instrument refused: execution error -240, "Hardware error" (3 times); command error -113, "Undefined header"`
	if err.Error() != want {
		t.Errorf("%v, want %s", err, want)
	}
}

// TestStandardErrors are the numbers and texts of SCPI-99 volume 2 section 21.8,
// as programming manuals of several makers list them, each with the class that
// its range belongs to and the bit of the event status register (IEEE 488.2
// section 11.5.1) that the class sets.
func TestStandardErrors(t *testing.T) {
	texts := map[int]string{
		-100: "Command error", -101: "Invalid character", -102: "Syntax error", -103: "Invalid separator", -104: "Data type error", -105: "GET not allowed",
		-108: "Parameter not allowed", -109: "Missing parameter", -110: "Command header error", -111: "Header separator error", -112: "Program mnemonic too long",
		-113: "Undefined header", -114: "Header suffix out of range", -120: "Numeric data error", -121: "Invalid character in number", -123: "Exponent too large",
		-124: "Too many digits", -128: "Numeric data not allowed", -131: "Invalid suffix", -138: "Suffix not allowed", -141: "Invalid character data",
		-151: "Invalid string data", -161: "Invalid block data",
		-200: "Execution error", -211: "Trigger ignored", -213: "Init ignored", -220: "Parameter error", -221: "Settings conflict", -222: "Data out of range",
		-223: "Too much data", -224: "Illegal parameter value", -230: "Data corrupt or stale", -240: "Hardware error", -241: "Hardware missing",
		-300: "Device-specific error", -310: "System error", -315: "Configuration memory lost", -330: "Self-test failed", -350: "Queue overflow", -360: "Communication error",
		-400: "Query error", -410: "Query INTERRUPTED", -420: "Query UNTERMINATED", -430: "Query DEADLOCKED", -440: "Query UNTERMINATED after indefinite response",
		-500: "Power on",
	}
	classes := map[int]struct {
		class string
		bit   int
	}{
		1: {"command error", 32}, 2: {"execution error", 16}, 3: {"device-specific error", 8}, 4: {"query error", 4}, 5: {"power on", 128},
	}
	for number, text := range texts {
		m, err := ParseInstrumentMessage(fmt.Sprintf("%d,%q", number, text))
		want := classes[-number/100]
		if err != nil || m.Number != number || m.Text != text || m.Class() != want.class {
			t.Errorf("%d: %v (%s), %v, want %s", number, m, m.Class(), err, want.class)
		}
		refused := &Refused{Messages: []InstrumentMessage{m}}
		if refused.UnknownCommand() != (want.bit == 32) {
			t.Errorf("%d: unknown command: %v", number, refused.UnknownCommand())
		}
		status, err := ParseErrorReply("*esr?", strconv.Itoa(want.bit))
		if err != nil || len(status) != 1 || status[0].Class() != want.class {
			t.Errorf("*ESR? bit %d: %v, %v, want one %s", want.bit, status, err, want.class)
		}
	}
}

func TestParseErrorReply(t *testing.T) {
	for _, c := range []struct {
		query, reply string
		numbers      []int
	}{
		{"SYSTem:ERRor?", `0,"No error"`, nil},
		{"SYSTem:ERRor?", `+0,"No error"`, nil},
		{"SYSTem:ERRor?", `-350,"Queue overflow"`, []int{-350}},
		{"*ESR?", "0", nil},
		{"*ESR?", "+0", nil},
		{"*ESR?", "1", nil},  // operation complete
		{"*ESR?", "2", nil},  // request control
		{"*ESR?", "64", nil}, // user request
		{"*ESR?", "48", []int{-200, -100}},
		{"*ESR?", "255", []int{-400, -300, -200, -100, -500}},
	} {
		got, err := ParseErrorReply(c.query, c.reply)
		var numbers []int
		for _, m := range got {
			numbers = append(numbers, m.Number)
		}
		if err != nil || !slices.Equal(numbers, c.numbers) {
			t.Errorf("%s %s: %v, %v, want %v", c.query, c.reply, got, err, c.numbers)
		}
	}
	for _, reply := range []string{"", "x", "-1", "256", "1.5", `0,"No error"`} {
		if got, err := ParseErrorReply("*ESR?", reply); !errors.Is(err, ErrGarbled) {
			t.Errorf("*ESR? %q: %v, %v", reply, got, err)
		}
	}
}
