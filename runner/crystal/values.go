package crystal

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// ValueError says which value of a circuit cannot be, why, and what is usual.
type ValueError struct {
	Symbol string
	Value  float64
	Unit   string
	Why    string
	Usual  string // range, or what to do; "" where nothing is known
}

func (e *ValueError) Error() string {
	text := fmt.Sprintf("%s = %s: %s", e.Symbol, FormatSI(e.Value, e.Unit), e.Why)
	if e.Usual != "" {
		text += "; usual: " + e.Usual
	}
	return text
}

// Errors lists every *ValueError that err holds.
func Errors(err error) []*ValueError {
	if err == nil {
		return nil
	}
	if many, ok := err.(interface{ Unwrap() []error }); ok {
		var list []*ValueError
		for _, one := range many.Unwrap() {
			list = append(list, Errors(one)...)
		}
		return list
	}
	var one *ValueError
	if errors.As(err, &one) {
		return []*ValueError{one}
	}
	return nil
}

// FormatSI writes a value with three or four significant digits and the prefix of its
// size: "27 pF", "1.09 mS". An infinite resistance is "open".
func FormatSI(value float64, unit string) string {
	if math.IsInf(value, 1) && unit == "ohm" {
		return "open"
	}
	if unit == "" || unit == "degC" || unit == "ppm" || math.IsNaN(value) || math.IsInf(value, 0) || value == 0 {
		return strings.TrimSpace(fmt.Sprintf("%.6g %s", value, unit))
	}
	const prefixes = "fpnum kMGT"
	power := int(math.Floor(math.Log10(math.Abs(value))/3 + 1e-9))
	power = min(max(power, -5), 4)
	prefix := strings.TrimSpace(prefixes[power+5 : power+6])
	digits := 4
	if unit == "Hz" {
		digits = 7
	}
	return fmt.Sprintf("%.*g %s%s", digits, value/math.Pow(1000, float64(power)), prefix, unit)
}

func (s *Symbol) usual() string {
	low, high := FormatSI(s.UsualLow, s.Unit), FormatSI(s.UsualHigh, s.Unit)
	if math.IsInf(s.UsualHigh, 1) {
		return low + " or more"
	}
	return low + " to " + high
}

// check is one value by itself.
func (s *Symbol) check(value float64) error {
	fail := func(why string) error {
		return &ValueError{Symbol: s.Name, Value: value, Unit: s.Unit, Why: why, Usual: s.usual()}
	}
	switch {
	case math.IsNaN(value):
		return fail("not a number")
	case math.IsInf(value, 1) && s.OpenAllowed:
		return nil
	case math.IsInf(value, 0):
		return fail("must be finite")
	case value < 0 && s.Low >= 0:
		return fail(s.Meaning + " cannot be negative")
	case value == 0 && s.Low > 0:
		why := s.Meaning + " cannot be zero"
		if s.OpenAllowed {
			why += "; an absent one is \"open\""
		}
		return fail(why)
	case value < s.Low:
		return fail(fmt.Sprintf("too small for the %s; at least %s", s.Meaning, FormatSI(s.Low, s.Unit)))
	case value > s.High:
		return fail(fmt.Sprintf("too large for the %s; at most %s", s.Meaning, FormatSI(s.High, s.Unit)))
	}
	return nil
}

// With puts given values (SI, by symbol) into the circuit, all at once, and
// takes them and what follows from them off Assumed. What hangs together is
// settled together: the motional inductance follows the frequency unless it is
// given itself, R1 follows Q. The error joins a *ValueError for every value that cannot be.
func (c Circuit) With(given map[string]float64) (Circuit, error) {
	var problems []error
	values := map[string]float64{}
	for _, name := range slices.Sorted(maps.Keys(given)) {
		s := lookup(name)
		if s == nil {
			problems = append(problems, &ValueError{
				Symbol: name, Value: given[name], Why: "no such symbol", Usual: strings.Join(symbolNames(), " "),
			})
			continue
		}
		if _, twice := values[s.Name]; twice {
			problems = append(problems, &ValueError{Symbol: name, Value: given[name], Unit: s.Unit, Why: "given twice"})
			continue
		}
		values[s.Name] = given[name]
	}
	for i := range symbolTable {
		s := &symbolTable[i]
		v, ok := values[s.Name]
		if !ok {
			continue
		}
		if err := s.check(v); err != nil {
			problems = append(problems, err)
		} else if s.field != nil {
			*s.field(&c) = v
		}
	}
	if len(problems) > 0 {
		return c, errors.Join(problems...)
	}
	problems = append(c.settle(values), c.pairs(values)...)
	c.assume(slices.Concat(slices.Collect(maps.Keys(values)), settled(values)), follows(values)...)
	if err := c.Validate(); err != nil {
		problems = append(problems, err)
	}
	return c, errors.Join(problems...)
}

func symbolNames() []string {
	names := make([]string, len(symbolTable))
	for i, s := range symbolTable {
		names[i] = s.Name
	}
	return names
}

// follows lists what was taken from elsewhere because of what was given.
func follows(values map[string]float64) []string {
	if isGiven(values, "gm") && !isGiven(values, "ro") {
		return []string{"ro"}
	}
	return nil
}

// settled lists what follows from what was given: it is neither given nor assumed.
func settled(values map[string]float64) (names []string) {
	if isGiven(values, "L1") || isGiven(values, "fs") {
		names = append(names, "fL")
	}
	if isGiven(values, "Q") {
		names = append(names, "R1")
	}
	return names
}

// settle makes one crystal of what is given about it.
func (c *Circuit) settle(values map[string]float64) (problems []error) {
	has := func(names ...string) bool {
		return slices.ContainsFunc(names, func(n string) bool { return isGiven(values, n) })
	}
	x := &c.Crystal
	load := func() float64 { return math.Sqrt(1 + x.C1/(x.C0+c.NominalFarads)) }
	switch {
	case has("L1"):
		if has("fs") {
			problems = append(problems, disagree("fs", "Hz", values["fs"], x.seriesHertz(), 1e-4, "L1 and C1"))
		}
		if has("fL") {
			problems = append(problems, disagree("fL", "Hz", values["fL"], x.seriesHertz()*load(), 1e-3, "L1, C1 and the load"))
		}
		c.Hertz = x.seriesHertz() * load()
	case has("fs"):
		w := 2 * math.Pi * values["fs"]
		x.L1 = 1 / (w * w * x.C1)
		if has("fL") {
			problems = append(problems, disagree("fL", "Hz", values["fL"], values["fs"]*load(), 1e-4, "fs, C1, C0 and CLnom"))
		}
		c.Hertz = values["fs"] * load()
	case has("fL", "CLnom", "C1", "C0"):
		*x = NewResonator(c.Hertz, c.NominalFarads, x.C1, x.C0, x.R1)
	}
	if has("Q") {
		r1 := 2 * math.Pi * x.seriesHertz() * x.L1 / values["Q"]
		if has("R1") {
			problems = append(problems, disagree("R1", "ohm", x.R1, r1, 0.02, "Q and L1"))
		} else {
			x.R1 = r1
		}
	}
	return slices.DeleteFunc(problems, func(err error) bool { return err == nil })
}

// disagree is an error where two ways to the same value differ.
func disagree(symbol, unit string, value, other, relative float64, of string) error {
	if math.Abs(value-other) <= relative*other {
		return nil
	}
	return &ValueError{
		Symbol: symbol, Value: value, Unit: unit,
		Why: fmt.Sprintf("inconsistent crystal: %s make it %s; leave one of them out", of, FormatSI(other, unit)),
	}
}

// pairs finds values that mean nothing without their partner.
func (c *Circuit) pairs(values map[string]float64) (problems []error) {
	for _, p := range []struct {
		name, partner string
		missing       bool
		usual         string
	}{
		{"L1", "C1", !isGiven(values, "C1"), "both from the crystal's data sheet, or neither: fL and C1 are enough"},
		{"CpA", "RpA", c.Net.CpA > 0 && math.IsInf(c.Net.RpA, 1) && !isGiven(values, "RpA"), "12 pF with 10 Mohm for a 10x probe"},
		{"RpA", "CpA", c.Net.CpA == 0 && !math.IsInf(c.Net.RpA, 1) && !isGiven(values, "CpA"), "10 Mohm with 12 pF for a 10x probe"},
		{"CpB", "RpB", c.Net.CpB > 0 && math.IsInf(c.Net.RpB, 1) && !isGiven(values, "RpB"), "12 pF with 10 Mohm for a 10x probe"},
		{"RpB", "CpB", c.Net.CpB == 0 && !math.IsInf(c.Net.RpB, 1) && !isGiven(values, "CpB"), "10 Mohm with 12 pF for a 10x probe"},
	} {
		if v, ok := values[p.name]; ok && p.missing {
			problems = append(problems, &ValueError{
				Symbol: p.name, Value: v, Unit: lookup(p.name).Unit,
				Why: fmt.Sprintf("given without %s, its partner", p.partner), Usual: p.usual,
			})
		}
	}
	return problems
}

func isGiven(values map[string]float64, name string) bool { _, ok := values[name]; return ok }

// Validate checks every value of the circuit and what they make together. The
// error joins a *ValueError for each that cannot be.
func (c Circuit) Validate() error {
	var problems []error
	for i := range symbolTable {
		s := &symbolTable[i]
		var v float64
		switch s.Name {
		case "gm", "ro": // 0 = by the law
			if v = *s.field(&c); v == 0 {
				continue
			}
		case "fs", "Q":
			if !(c.Crystal.L1 > 0 && c.Crystal.C1 > 0 && c.Crystal.R1 > 0) {
				continue // its own parts are reported
			}
			v = c.Value(s.Name)
		default:
			v = *s.field(&c)
		}
		if err := s.check(v); err != nil {
			problems = append(problems, err)
		}
	}
	if x := c.Crystal; x.C0 < x.C1 {
		problems = append(problems, &ValueError{
			Symbol: "C0", Value: x.C0, Unit: "F",
			Why:   fmt.Sprintf("inconsistent crystal: smaller than C1 = %s, and no quartz couples that strongly", FormatSI(x.C1, "F")),
			Usual: "C0 at least 160 times C1 for AT cut, 200 to 500 in practice",
		})
	}
	return errors.Join(problems...)
}
