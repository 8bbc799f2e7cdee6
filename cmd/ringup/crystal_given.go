package main

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"ringup/runner/bench"
	"ringup/runner/crystal"
	"ringup/scripts"
)

// given gathers values by symbol and everything that is wrong with them.
type given struct {
	values   map[string]float64
	where    map[string]string // file:line:column of a value from a file, with ": " after it
	problems []error
}

// dimensions by the unit of a symbol.
var dimensions = map[string]bench.Dimension{
	"F": bench.Capacitance, "ohm": bench.Resistance, "S": bench.Conductance, "Hz": bench.Frequency,
	"H": bench.Inductance, "V": bench.Voltage, "degC": bench.Temperature,
}

// designators of the scenario's board, for who looks at the board and not at the circuit.
var designators = map[string]string{"C7": "CA", "C8": "CB", "R3": "Rf", "CL": "CLnom", "ESR": "R1", "LM": "L1", "CM": "C1", "RM": "R1", "F": "fL", "VDD": "V", "VCC": "V"}

// file adds every value of a TOML file.
func (g *given) file(name string, text []byte) {
	values, err := bench.Values(name, text)
	if err != nil {
		g.problems = append(g.problems, err)
	}
	for _, v := range values {
		g.add(v.Position.String()+": ", v.Key, v.Text)
	}
}

// add reads one value. A later one replaces an earlier one from elsewhere; the same place may give it once.
func (g *given) add(where, name, text string) {
	fail := func(format string, arguments ...any) {
		g.problems = append(g.problems, fmt.Errorf("%s%w", where, fmt.Errorf(format, arguments...)))
	}
	s, ok := crystal.LookupSymbol(name)
	if !ok {
		fail("there is no symbol %q%s", name, hint(name))
		return
	}
	v, err := parseSymbol(s, text)
	if err != nil {
		fail("%s: found %w; allowed: %s", s.Name, err, allowed(s))
		return
	}
	if g.values == nil {
		g.values, g.where = map[string]float64{}, map[string]string{}
	}
	if before, twice := g.where[s.Name]; twice && (before == "") == (where == "") {
		fail("%s is given twice; leave one out", s.Name)
		return
	}
	g.values[s.Name], g.where[s.Name] = v, where
}

// parseSymbol reads a symbol's value; "open" is an absent resistor.
func parseSymbol(s crystal.Symbol, text string) (float64, error) {
	if s.OpenAllowed && strings.EqualFold(text, "open") {
		return math.Inf(1), nil
	}
	if s.Unit == "" {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return 0, fmt.Errorf("%q, which is no number", text)
		}
		return v, nil
	}
	return dimensions[s.Unit].Parse(text)
}

// allowed says what a symbol may be, and what is usual.
func allowed(s crystal.Symbol) string {
	low, high := crystal.FormatSI(s.Low, s.Unit), crystal.FormatSI(s.High, s.Unit)
	text := "a plain number"
	if s.Unit != "" {
		text = dimensions[s.Unit].Allowed(math.Inf(-1), math.Inf(1))
	}
	text += fmt.Sprintf(", from %s to %s", low, high)
	if s.OpenAllowed {
		text += ", or open"
	}
	usualHigh := crystal.FormatSI(s.UsualHigh, s.Unit)
	if math.IsInf(s.UsualHigh, 1) {
		usualHigh = "open"
	}
	return text + fmt.Sprintf("; usual are %s to %s", crystal.FormatSI(s.UsualLow, s.Unit), usualHigh)
}

// hint names the symbol that may have been meant, and all there are.
func hint(name string) string {
	text := scripts.Suggest(name, symbolNames())
	if symbol, ok := designators[strings.ToUpper(name)]; ok {
		text = "; did you mean " + symbol + "?"
	}
	if text == "" {
		text = "."
	}
	return text + " Symbols: " + strings.Join(symbolNames(), " ")
}

func symbolNames() []string {
	var names []string
	for _, s := range crystal.Symbols() {
		names = append(names, s.Name)
	}
	return names
}

// into puts the values into a circuit. The error has a line for everything that is wrong.
func (g *given) into(c crystal.Circuit) (crystal.Circuit, error) {
	if len(g.problems) > 0 {
		return c, usage{errors.Join(g.problems...)}
	}
	c, err := c.With(g.values)
	if err == nil {
		return c, nil
	}
	bad := crystal.Errors(err)
	if len(bad) == 0 {
		return c, usage{err}
	}
	var problems []error
	seen := map[string]bool{}
	for _, b := range bad {
		if line := g.where[b.Symbol] + b.Error(); !seen[line] {
			problems = append(problems, errors.New(line))
			seen[line] = true
		}
	}
	return c, usage{errors.Join(problems...)}
}
