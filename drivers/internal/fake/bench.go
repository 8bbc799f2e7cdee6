package fake

import (
	"fmt"
	"strconv"
)

// SupplyState is what a fake supply is set to. Read it within Do.
type SupplyState struct {
	Volts, Amps, Protection float64
	On                      bool
	// StuckOn makes the output ignore that many offs.
	StuckOn int
}

// NewSupply is a supply that measures what it is set to.
func NewSupply(serial string) (*Instrument, *SupplyState) {
	s := &SupplyState{}
	i := &Instrument{Identity: "ringup,simulated supply," + serial + ",1"}
	set := func(v *float64, high float64) func(string) string {
		return func(argument string) string {
			n, err := strconv.ParseFloat(argument, 64)
			if err != nil || n < 0 || n > high {
				i.pushError(-222, "Data out of range")
				return ""
			}
			*v = n
			return ""
		}
	}
	get := func(v *float64) func(string) string {
		return func(string) string { return fmt.Sprintf("%+.6E", *v) }
	}
	bit := func() string {
		if s.On {
			return "1"
		}
		return "0"
	}
	i.Commands = map[string]func(string) string{
		"SOURce:VOLTage":                   set(&s.Volts, 20),
		"SOURce:VOLTage?":                  get(&s.Volts),
		"SOURce:CURRent":                   set(&s.Amps, 2),
		"SOURce:CURRent?":                  get(&s.Amps),
		"SOURce:VOLTage:PROTection":        set(&s.Protection, 22),
		"SOURce:VOLTage:PROTection?":       get(&s.Protection),
		"SOURce:CURRent:PROTection:STATe":  func(string) string { return "" },
		"SOURce:CURRent:PROTection:STATe?": func(string) string { return "1" },
		"OUTPut?":                          func(string) string { return bit() },
		"OUTPut": func(argument string) string {
			switch {
			case argument == "ON":
				s.On = true
			case s.StuckOn > 0:
				s.StuckOn--
			default:
				s.On = false
			}
			return ""
		},
		"MEASure:VOLTage?": func(string) string { return fmt.Sprintf("%+.6E", s.Volts) },
		"MEASure:CURRent?": func(string) string { return "+4.200000E-03" },
	}
	return i, s
}

// NewThermometer reads 4.25 °C.
func NewThermometer(serial string) *Instrument {
	return &Instrument{
		Identity: "ringup,simulated thermometer," + serial + ",1",
		Commands: map[string]func(string) string{"MEASure:TEMPerature?": func(string) string { return "+4.250000E+00" }},
	}
}

// ScopeState is where a fake scope stands. Set it within Do.
type ScopeState struct {
	// Condition is what STATus:OPERation:CONDition? answers after INITiate; a
	// list is answered in turn, and its last value for ever.
	Condition []string
	Preamble  string
	Data      string
}

// NewScope is a scope whose records are given.
func NewScope(serial string) (*Instrument, *ScopeState) {
	s := &ScopeState{Condition: []string{"32"}}
	i := &Instrument{Identity: "ringup,simulated oscilloscope," + serial + ",1"}
	nothing := func(string) string { return "" }
	i.Commands = map[string]func(string) string{
		"SENSe:DETector": nothing,
		"TRIGger:SOURce": nothing,
		"TRIGger:SLOPe":  nothing,
		"INITiate":       nothing,
		"ABORt":          nothing,
		"STATus:OPERation:CONDition?": func(string) string {
			c := s.Condition[0]
			if len(s.Condition) > 1 {
				s.Condition = s.Condition[1:]
			}
			return c
		},
		"TRACe:PREamble?": func(string) string { return s.Preamble },
		"TRACe:DATA?": func(string) string {
			n := strconv.Itoa(len(s.Data))
			return "#" + strconv.Itoa(len(n)) + n + s.Data
		},
	}
	keep := func(header string) { // a setting that reads back as it was set
		value := ""
		i.Commands[header] = func(v string) string { value = v; return "" }
		i.Commands[header+"?"] = func(string) string { return value }
	}
	for _, header := range []string{"SENSe:SWEep:TIME", "SENSe:SWEep:POINts", "SENSe:SWEep:OFFSet:TIME", "TRIGger:LEVel"} {
		keep(header)
	}
	for n := 1; n <= 3; n++ {
		for _, header := range []string{"INPut%d:ATTenuation", "INPut%d:COUPling", "SENSe:VOLTage%d:RANGe", "SENSe:VOLTage%d:OFFSet"} {
			keep(fmt.Sprintf(header, n))
		}
	}
	return i, s
}
