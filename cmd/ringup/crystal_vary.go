package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"ringup/runner/crystal"
	"ringup/runner/crystal/marking"
)

// variation is what --vary asks for: some symbols, all at the same value, over a range.
type variation struct {
	k         *calculator
	base      crystal.Circuit
	symbols   []crystal.Symbol
	low, high float64
}

// newVariation reads SYMBOL[,SYMBOL…]=LOW..HIGH.
func newVariation(k *calculator, c crystal.Circuit) (*variation, error) {
	const form = `allowed: symbols and a range, like CA,CB=8pF..47pF`
	names, span, ok := strings.Cut(k.vary, "=")
	from, to, two := strings.Cut(span, "..")
	if !ok || !two {
		return nil, fmt.Errorf("--vary: found %q; %s", k.vary, form)
	}
	v := &variation{k: k, base: c}
	for name := range strings.SplitSeq(names, ",") {
		s, ok := crystal.LookupSymbol(strings.TrimSpace(name))
		if !ok {
			return nil, fmt.Errorf("--vary: there is no symbol %q%s", name, hint(name))
		}
		if len(v.symbols) > 0 && s.Unit != v.symbols[0].Unit {
			return nil, fmt.Errorf("--vary: %s and %s have different units; %s", v.symbols[0].Name, s.Name, form)
		}
		v.symbols = append(v.symbols, s)
	}
	var problems []error
	for _, end := range []struct {
		text string
		into *float64
	}{{from, &v.low}, {to, &v.high}} {
		value, err := parseSymbol(v.symbols[0], strings.TrimSpace(end.text))
		if err != nil || math.IsInf(value, 0) {
			if err == nil {
				err = fmt.Errorf("%q, which is no end of a range", end.text)
			}
			problems = append(problems, fmt.Errorf("--vary: found %w; allowed: %s", err, allowed(v.symbols[0])))
		}
		*end.into = value
	}
	if len(problems) > 0 {
		return nil, errors.Join(problems...)
	}
	if !(v.low < v.high) {
		return nil, fmt.Errorf("--vary: the range %s..%s is empty; put the smaller value first", from, to)
	}
	for _, end := range []float64{v.low, v.high} {
		if _, err := v.at(end); err != nil {
			return nil, fmt.Errorf("--vary: %w", err)
		}
	}
	return v, nil
}

// at is the circuit with the varied symbols at a value.
func (v *variation) at(value float64) (crystal.Circuit, error) {
	given := map[string]float64{}
	for _, s := range v.symbols {
		given[s.Name] = value
	}
	return v.base.With(given)
}

// names are the varied symbols as a person writes them: "CA = CB".
func (v *variation) names() string {
	var names []string
	for _, s := range v.symbols {
		names = append(names, s.Name)
	}
	return strings.Join(names, " = ")
}

// logarithmic ranges span more than a decade and a half.
func (v *variation) logarithmic() bool { return v.low > 0 && v.high/v.low > 30 }

// rows are the values of the table: what can be bought, for parts, and even steps for the rest.
func (v *variation) rows() []float64 {
	const most = 25
	if unit := v.symbols[0].Unit; (unit == "F" || unit == "ohm") && v.low > 0 {
		for _, series := range [][]int{marking.E24, marking.E12, {10, 22, 47}, {10}} {
			if values := marking.Between(series, v.low, v.high); len(values) >= 3 && len(values) <= most {
				return values
			}
		}
	}
	if v.logarithmic() {
		return v.spread(11)
	}
	return v.even()
}

// even is the round values in the range, some ten of them.
func (v *variation) even() []float64 {
	step := math.Pow(10, math.Floor(math.Log10((v.high-v.low)/10)))
	for _, m := range []float64{1, 2, 2.5, 5, 10} {
		if (v.high-v.low)/(m*step) <= 12 {
			step *= m
			break
		}
	}
	var values []float64
	for i := math.Ceil(v.low/step - 1e-9); i*step <= v.high+1e-9*step; i++ {
		values = append(values, i*step)
	}
	return values
}

// spread is n values from low to high, evenly or by equal ratio.
func (v *variation) spread(n int) []float64 {
	values := make([]float64, n)
	for i := range values {
		f := float64(i) / float64(n-1)
		if v.logarithmic() {
			values[i] = v.low * math.Pow(v.high/v.low, f)
		} else {
			values[i] = v.low + f*(v.high-v.low)
		}
	}
	return values
}

// fitted is the value of the circuit as given, where all varied symbols share it; NaN otherwise.
func (v *variation) fitted() float64 {
	value := v.base.Value(v.symbols[0].Name)
	for _, s := range v.symbols[1:] {
		if v.base.Value(s.Name) != value {
			return math.NaN()
		}
	}
	return value
}

// loads says whether it is the two load capacitors that are varied, for which there is a safe range.
func (v *variation) loads() bool {
	return len(v.symbols) == 2 && slices.ContainsFunc(v.symbols, func(s crystal.Symbol) bool { return s.Name == "CA" }) &&
		slices.ContainsFunc(v.symbols, func(s crystal.Symbol) bool { return s.Name == "CB" })
}

// varies says whether a symbol is among the varied.
func (v *variation) varies(name string) bool {
	return slices.ContainsFunc(v.symbols, func(s crystal.Symbol) bool { return s.Name == name })
}

// variant is one way to look at every value: another supply, another temperature, a probe.
type variant struct {
	name   string
	column string // heading of its gain margins in the table
	change func(crystal.Circuit) crystal.Circuit
}

// variants are those the chart and the table compare, the circuit as given first.
func (v *variation) variants() []variant {
	asGiven := func(c crystal.Circuit) crystal.Circuit { return c }
	probed := v.base.Net.CpA > 0 || v.base.Net.CpB > 0
	with := ""
	if probed {
		with = ", probe as given"
	}
	list := []variant{{volts(v.base.SupplyVolts) + with, "gain margin", asGiven}}
	switch {
	case v.varies("V"):
		list[0].name = fmt.Sprintf("%.3g °C%s", v.base.Celsius, with)
		if v.base.Celsius != coldCelsius {
			list = append(list, variant{fmt.Sprintf("%d °C%s", coldCelsius, with), fmt.Sprintf("at %d °C", coldCelsius), func(c crystal.Circuit) crystal.Circuit {
				return c.At(c.SupplyVolts, coldCelsius)
			}})
		}
	case v.k.flatVolts > 0 && !v.varies("gm"):
		list = append(list, variant{volts(v.k.flatVolts) + with, "at " + volts(v.k.flatVolts), func(c crystal.Circuit) crystal.Circuit {
			return c.At(v.k.flatVolts, c.Celsius)
		}})
	}
	if probed {
		return append(list, variant{list[0].name[:len(list[0].name)-len(with)] + ", no probe", "no probe", func(c crystal.Circuit) crystal.Circuit {
			return c.Probed(crystal.Probe{Node: "A"}).Probed(crystal.Probe{Node: "B"})
		}})
	}
	if v.varies("CpA") || v.varies("RpA") {
		return list
	}
	tenfold := crystal.Probes()[0]
	return append(list, variant{list[0].name + ", 10x probe on A", "10x on A", func(c crystal.Circuit) crystal.Circuit {
		return c.Probed(crystal.Probe{Node: "A", Farads: tenfold.Farads, Ohms: tenfold.Ohms})
	}})
}

// judged says in a word what to think of a value.
func (k *calculator) judged(a crystal.Analysis) string {
	fast, slow := a.PullingPPM > k.withinPPM, a.PullingPPM < -k.withinPPM
	weak := a.GainMargin < k.margin
	switch {
	case !a.Starts:
		return "does not start"
	case !a.InTime:
		return "starts too late"
	case weak && (fast || slow):
		return "both limits broken"
	case weak:
		return fmt.Sprintf("margin below %g", k.margin)
	case fast:
		return "clock too fast"
	case slow:
		return "clock too slow"
	default:
		return "safe"
	}
}
