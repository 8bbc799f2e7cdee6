package crystal

import (
	"math"
	"strings"
)

// Symbol describes one value that a circuit is made of.
type Symbol struct {
	Name    string
	Unit    string // "F", "ohm", "S", "Hz", "H", "V", "degC", or "" for a plain number
	Meaning string
	// Range usually met, and the wider one that is still believed.
	UsualLow, UsualHigh, Low, High float64
	OpenAllowed                    bool // may be absent: +Inf
}

type symbolRow struct {
	Symbol
	// field is where the circuit keeps the value; nil for what follows from
	// others (fs, L1 and Q are settled together with the crystal).
	field func(*Circuit) *float64
}

var open = math.Inf(1)

var symbolTable = []symbolRow{
	{Symbol{"fL", "Hz", "nominal frequency of the crystal at its nominal load", 32768, 50e6, 10e3, 200e6, false}, func(c *Circuit) *float64 { return &c.Hertz }},
	{Symbol{"CLnom", "F", "nominal load capacitance of the crystal", 4e-12, 32e-12, 1e-12, 200e-12, false}, func(c *Circuit) *float64 { return &c.NominalFarads }},
	{Symbol{"C1", "F", "motional capacitance", 2e-15, 30e-15, 0.01e-15, 1e-12, false}, func(c *Circuit) *float64 { return &c.Crystal.C1 }},
	{Symbol{"C0", "F", "shunt capacitance of the crystal", 0.8e-12, 7e-12, 0.05e-12, 50e-12, false}, func(c *Circuit) *float64 { return &c.Crystal.C0 }},
	{Symbol{"R1", "ohm", "motional resistance of the crystal", 10, 100e3, 0.1, 1e6, false}, func(c *Circuit) *float64 { return &c.Crystal.R1 }},
	{Symbol{"fs", "Hz", "series resonance of the crystal", 32768, 50e6, 10e3, 200e6, false}, nil},
	{Symbol{"L1", "H", "motional inductance", 1e-3, 12e3, 1e-6, 100e3, false}, func(c *Circuit) *float64 { return &c.Crystal.L1 }},
	{Symbol{"Q", "", "quality factor of the crystal", 20e3, 200e3, 100, 10e6, false}, nil},
	{Symbol{"CA", "F", "load capacitor at node A, the inverter's input", 5e-12, 47e-12, 0.1e-12, 1e-9, false}, func(c *Circuit) *float64 { return &c.Net.CA }},
	{Symbol{"CB", "F", "load capacitor at node B, the inverter's output", 5e-12, 47e-12, 0.1e-12, 1e-9, false}, func(c *Circuit) *float64 { return &c.Net.CB }},
	{Symbol{"RA", "ohm", "series resistance of the capacitor at A (its own, or a crack)", 0, 1, 0, 100e6, false}, func(c *Circuit) *float64 { return &c.Net.RA }},
	{Symbol{"RB", "ohm", "series resistance of the capacitor at B (its own, or a crack)", 0, 1, 0, 100e6, false}, func(c *Circuit) *float64 { return &c.Net.RB }},
	{Symbol{"Cin", "F", "pin capacitance of the inverter's input", 1e-12, 10e-12, 0, 100e-12, false}, func(c *Circuit) *float64 { return &c.Net.Cin }},
	{Symbol{"Cout", "F", "pin capacitance of the inverter's output", 1e-12, 10e-12, 0, 100e-12, false}, func(c *Circuit) *float64 { return &c.Net.Cout }},
	{Symbol{"CsA", "F", "stray capacitance from A to ground", 0.5e-12, 5e-12, 0, 100e-12, false}, func(c *Circuit) *float64 { return &c.Net.CsA }},
	{Symbol{"CsB", "F", "stray capacitance from B to ground", 0.5e-12, 5e-12, 0, 100e-12, false}, func(c *Circuit) *float64 { return &c.Net.CsB }},
	{Symbol{"Cs", "F", "stray capacitance from A to B", 0.2e-12, 2e-12, 0, 50e-12, false}, func(c *Circuit) *float64 { return &c.Net.Cs }},
	{Symbol{"Cfb", "F", "capacitance from the inverter's input to its output", 0.05e-12, 2e-12, 0, 50e-12, false}, func(c *Circuit) *float64 { return &c.Net.Cfb }},
	{Symbol{"Rf", "ohm", "feedback resistor across the inverter", 100e3, 22e6, 1e3, 10e9, true}, func(c *Circuit) *float64 { return &c.Net.Rf }},
	{Symbol{"Rleak", "ohm", "film across the crystal's pads, A to B", 1e6, open, 1, 1e15, true}, func(c *Circuit) *float64 { return &c.Net.Rleak }},
	{Symbol{"RgA", "ohm", "leak from A to ground", 10e6, open, 1, 1e15, true}, func(c *Circuit) *float64 { return &c.Net.RgA }},
	{Symbol{"RgB", "ohm", "leak from B to ground", 10e6, open, 1, 1e15, true}, func(c *Circuit) *float64 { return &c.Net.RgB }},
	{Symbol{"RvA", "ohm", "leak from A to the supply", 10e6, open, 1, 1e15, true}, func(c *Circuit) *float64 { return &c.Net.RvA }},
	{Symbol{"Rs", "ohm", "series resistor between the inverter's output and B", 0, 2.2e3, 0, 1e6, false}, func(c *Circuit) *float64 { return &c.Net.Rs }},
	{Symbol{"CpA", "F", "capacitance of a probe at A", 1e-12, 120e-12, 0, 1e-9, false}, func(c *Circuit) *float64 { return &c.Net.CpA }},
	{Symbol{"RpA", "ohm", "resistance of a probe at A", 1e6, 10e6, 1e3, 1e15, true}, func(c *Circuit) *float64 { return &c.Net.RpA }},
	{Symbol{"CpB", "F", "capacitance of a probe at B", 1e-12, 120e-12, 0, 1e-9, false}, func(c *Circuit) *float64 { return &c.Net.CpB }},
	{Symbol{"RpB", "ohm", "resistance of a probe at B", 1e6, 10e6, 1e3, 1e15, true}, func(c *Circuit) *float64 { return &c.Net.RpB }},
	{Symbol{"gm", "S", "transconductance of the inverter", 5e-6, 30e-3, 1e-9, 1, false}, func(c *Circuit) *float64 { return &c.Gm }},
	{Symbol{"ro", "ohm", "output resistance of the inverter", 500, 10e6, 1, 1e15, true}, func(c *Circuit) *float64 { return &c.Ro }},
	{Symbol{"V", "V", "supply at the microcontroller", 1.6, 5.5, 0.3, 20, false}, func(c *Circuit) *float64 { return &c.SupplyVolts }},
	{Symbol{"T", "degC", "temperature of the parts", -40, 85, -70, 200, false}, func(c *Circuit) *float64 { return &c.Celsius }},
}

// Symbols lists every value that can be given, in the order of the circuit's
// description: crystal, load, pins and strays, resistances, probe, stage,
// surroundings.
func Symbols() []Symbol {
	list := make([]Symbol, len(symbolTable))
	for i, s := range symbolTable {
		list[i] = s.Symbol
	}
	return list
}

// LookupSymbol finds a symbol as written, or in another case where only one
// fits.
func LookupSymbol(name string) (Symbol, bool) {
	if s := lookup(name); s != nil {
		return s.Symbol, true
	}
	return Symbol{}, false
}

func lookup(name string) *symbolRow {
	var found *symbolRow
	for i := range symbolTable {
		s := &symbolTable[i]
		if s.Name == name {
			return s
		}
		if strings.EqualFold(s.Name, name) {
			if found != nil {
				return nil
			}
			found = s
		}
	}
	return found
}

// Value is the circuit's value of a symbol, gm and ro at the stage's bias; NaN
// for a name that is none.
func (c Circuit) Value(symbol string) float64 {
	s := lookup(symbol)
	if s == nil {
		return math.NaN()
	}
	switch s.Name {
	case "fs":
		return c.Crystal.seriesHertz()
	case "Q":
		return 2 * math.Pi * c.Crystal.seriesHertz() * c.Crystal.L1 / c.Crystal.R1
	case "gm":
		return c.stage().Gm
	case "ro":
		return 1 / c.stage().Gds
	default:
		return *s.field(&c)
	}
}

func (r Resonator) seriesHertz() float64 { return 1 / (2 * math.Pi * math.Sqrt(r.L1*r.C1)) }
