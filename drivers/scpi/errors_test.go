package scpi

import (
	"errors"
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
