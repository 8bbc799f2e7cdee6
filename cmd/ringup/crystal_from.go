package main

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"ringup/runner/bench"
	"ringup/runner/crystal"
)

// newCrystalFrom leads back from what was measured to the parts.
func newCrystalFrom(io streams, o *options, k *calculator) *cobra.Command {
	c := &cobra.Command{
		Use: "from", Short: "from what was measured back to the parts", Args: cobra.NoArgs,
		Long: `Goes back from measured things to parts: from growth to the negative resistance in circuit,
from frequency to the load and which capacitor is off, from a series-resistor test to the
margin. Every answer has its uncertainty. The circuit is given as for ringup crystal.`,
		Example: "  ringup crystal from growth 2.4V=900us 3.0V=440us\n  ringup crystal from frequency 7.37312MHz\n  ringup crystal from resistor 330ohm=30/30 390ohm=12/30",
		RunE:    func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	c.AddCommand(newFromGrowth(io, o, k), newFromFrequency(io, o, k), newFromResistor(io, o, k))
	for _, sub := range c.Commands() {
		k.circuitFlags(sub)
		jsonFlag(sub, o)
		sub.Args, sub.ValidArgsFunction = asUsage(sub.Args), completeSymbols
	}
	return c
}

// measurement is one argument of crystal from: what stands before and after the sign.
type measurement struct{ text, left, right string }

// measured parts the arguments into measurements, which begin with a digit, and the circuit's own values.
func measured(args []string, sign string) (found []measurement, symbols []string) {
	for _, a := range args {
		if a != "" && (a[0] >= '0' && a[0] <= '9' || a[0] == '.') {
			left, right, _ := strings.Cut(a, sign)
			found = append(found, measurement{a, strings.TrimSpace(left), strings.TrimSpace(right)})
		} else {
			symbols = append(symbols, a)
		}
	}
	return found, symbols
}

// uncertain reads VALUE or VALUE±UNCERTAINTY (+- will do); the uncertainty is one standard deviation, and relative of
// the value where it is left out.
func uncertain(d bench.Dimension, text string, relative float64) (value, sigma float64, err error) {
	text = strings.Replace(text, "+-", "±", 1)
	first, second, given := strings.Cut(text, "±")
	if value, err = d.Parse(first); err != nil {
		return 0, 0, err
	}
	if !given {
		return value, math.Abs(value) * relative, nil
	}
	if sigma, err = d.Parse(second); err == nil && !(sigma > 0) {
		err = fmt.Errorf("the uncertainty %q, which must be above zero", second)
	}
	return value, sigma, err
}

// withCircuit builds the circuit, gathers the measurements and refuses what cannot be read.
func (k *calculator) withCircuit(args []string, sign, form string, read func(measurement) error) (crystal.Circuit, error) {
	found, symbols := measured(args, sign)
	if err := assignments(&cobra.Command{}, symbols); err != nil {
		return crystal.Circuit{}, usage{fmt.Errorf("found %q; allowed: %s, and SYMBOL=VALUE of the circuit", strings.Join(symbols, " "), form)}
	}
	circuit, err := k.circuit(symbols)
	if err != nil {
		return circuit, err
	}
	var problems []error
	for _, m := range found {
		if err := read(m); err != nil {
			problems = append(problems, fmt.Errorf("%s: found %w; allowed: %s", m.text, err, form))
		}
	}
	if len(found) == 0 {
		problems = append(problems, fmt.Errorf("nothing measured; allowed: %s", form))
	}
	if len(problems) > 0 {
		return circuit, usage{errors.Join(problems...)}
	}
	return circuit, nil
}

// sayEstimate writes an estimate with its 95 % interval.
func sayEstimate(e crystal.Estimate, unit string) string {
	if math.IsNaN(e.Value) {
		return "unknown"
	}
	return fmt.Sprintf("%s (%s to %s)", round3(e.Value, unit), round3(e.Low, unit), round3(e.High, unit))
}

// round3 writes a value with three significant digits.
func round3(v float64, unit string) string {
	if v != 0 && !math.IsInf(v, 0) && !math.IsNaN(v) {
		step := math.Pow(10, math.Floor(math.Log10(math.Abs(v)))-2)
		v = math.Round(v/step) * step
	}
	return crystal.FormatSI(v, unit)
}

// parseProbe reads 10x@A.
func parseProbe(text string) (crystal.Probe, error) {
	kind, node, _ := strings.Cut(text, "@")
	node = strings.ToUpper(strings.TrimSpace(node))
	for _, p := range crystal.Probes() {
		if p.Name == strings.TrimSpace(kind) && (node == "A" || node == "B") {
			return crystal.Probe{Node: node, Farads: p.Farads, Ohms: p.Ohms}, nil
		}
	}
	return crystal.Probe{}, fmt.Errorf("%q, which is no probe on a node; allowed: %s, each with @A or @B", text, probeNames())
}

func probeNames() string {
	var names []string
	for _, p := range crystal.Probes() {
		names = append(names, p.Name)
	}
	return strings.Join(names, ", ")
}
