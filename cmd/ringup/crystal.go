package main

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"ringup/runner/bench"
	"ringup/runner/crystal"
)

// boardCaution goes with everything the calculator says.
const boardCaution = "A calculation is no substitute for the margin test on the real board: ringup run margin.lua -b bench.toml"

// calculator is what the command line asked for.
type calculator struct {
	file, typical, vary, output   string
	within, timeout, flat         string
	margin                        float64
	json                          bool
	given                         []string // symbols
	withinPPM, flatVolts, seconds float64
}

func newCrystal(io streams, o *options) *cobra.Command {
	k := calculator{margin: 5}
	c := &cobra.Command{
		Use: "crystal [SYMBOL=VALUE …]", Short: "oscillator calculator: margins, start time, which capacitor to fit", Args: assignments,
		Long: `Calculates a Pierce crystal oscillator exactly, every loss included: load, pulling, gain
margin, negative resistance, start time, drive, the capacitors that may be fitted, the
lowest supply, what a probe does, and how much of each fault the circuit bears.

Values are given by symbol, on the command line or in a file of lines like CA = "27 pF".
Everything else is the sound river-level logger, or typical of a frequency (--typical),
and is listed as assumed. Every value has its unit: a bare number would be a guess.

` + symbolHelp() + `

` + boardCaution,
		Example: `  ringup crystal
  ringup crystal CA,CB=22pF R1=60ohm V=2.6V
  ringup crystal --typical 8MHz CA,CB=18pF R1=40ohm
  ringup crystal CpA=12pF RpA=10Mohm --vary CA,CB=8pF..47pF -o chart.svg
  ringup crystal --file net.toml --json`,
		ValidArgsFunction: completeSymbols,
		RunE: func(_ *cobra.Command, args []string) error {
			k.json = o.json
			circuit, err := k.circuit(args)
			if err != nil {
				return err
			}
			return k.answer(io, circuit)
		},
	}
	k.circuitFlags(c)
	f := c.Flags()
	f.StringVar(&k.vary, "vary", "", "table and chart over a `range`, like CA,CB=8pF..47pF")
	f.StringVarP(&k.output, "output", "o", "", "SVG `file` for the chart of --vary")
	f.Float64Var(&k.margin, "margin", k.margin, "gain margin wanted")
	f.StringVar(&k.within, "within", "50 ppm", "frequency tolerance wanted, as a `deviation`")
	f.StringVar(&k.flat, "flat", "", "`voltage` of a flat cell, at which margins are shown, too (default: 2.6 V for the river-level logger)")
	jsonFlag(c, o)
	c.AddCommand(newCrystalMark(io, o), newCrystalPredict(io, o), newCrystalFrom(io, o, &k))
	for _, sub := range c.Commands() {
		sub.Args = asUsage(sub.Args)
	}
	return c
}

// circuitFlags are those of every command that is given a circuit.
func (k *calculator) circuitFlags(c *cobra.Command) {
	f := c.Flags()
	f.StringVar(&k.file, "file", "", "TOML `file` of values, one a line: CA = \"27 pF\"")
	f.StringVar(&k.typical, "typical", "", "take typical values of a crystal of this `frequency` for what is not given")
	f.StringVar(&k.timeout, "timeout", "", "`time` after which the firmware gives up waiting for the clock (default 65.536 ms, tuning forks 2 s)")
}

// asUsage turns the error of an argument check into one of the command line.
func asUsage(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if err := check(cmd, args); err != nil {
			return usage{fmt.Errorf("%w; see %s --help", err, cmd.CommandPath())}
		}
		return nil
	}
}

// assignments refuses what is neither SYMBOL=VALUE nor a command of its own.
func assignments(cmd *cobra.Command, args []string) error {
	for _, a := range args {
		if !strings.Contains(a, "=") {
			var names []string
			for _, sub := range cmd.Commands() {
				names = append(names, sub.Name())
			}
			return fmt.Errorf("found %q; allowed: SYMBOL=VALUE, like CA=27pF, or one of %s", a, strings.Join(names, ", "))
		}
	}
	return nil
}

// circuit builds what is to be calculated from flags, file and arguments; arguments win over the file.
func (k *calculator) circuit(args []string) (crystal.Circuit, error) {
	if err := k.flags(); err != nil {
		return crystal.Circuit{}, err
	}
	base := crystal.Healthy()
	for _, s := range crystal.Symbols() {
		base.Assumed = append(base.Assumed, s.Name)
	}
	if k.typical != "" {
		hertz, err := bench.Frequency.Parse(k.typical)
		if err != nil {
			return base, usage{fmt.Errorf("--typical: found %w; allowed: %s", err, bench.Frequency.Allowed(10e3, 50e6))}
		}
		if base, err = crystal.Typical(hertz); err != nil {
			return base, usage{fmt.Errorf("--typical: %w", err)}
		}
	}
	if k.timeout != "" {
		base.TimeoutSeconds = k.seconds
	}
	var g given
	if k.file != "" {
		text, err := os.ReadFile(k.file)
		if err != nil {
			return base, usage{err}
		}
		g.file(k.file, text)
	}
	for _, a := range args {
		names, value, _ := strings.Cut(a, "=")
		for name := range strings.SplitSeq(names, ",") {
			g.add("", strings.TrimSpace(name), strings.TrimSpace(value))
		}
	}
	circuit, err := g.into(base)
	circuit.Assumed = slices.DeleteFunc(circuit.Assumed, func(name string) bool { return unsaid(circuit, name) })
	k.given = slices.Collect(maps.Keys(g.values))
	if k.typical != "" {
		k.given = append(k.given, "fL")
	}
	return circuit, err
}

// flags reads the quantities among the flags.
func (k *calculator) flags() error {
	k.withinPPM = 50
	var problems []error
	read := func(flag, text string, d bench.Dimension, low, high float64, into *float64) {
		if text == "" {
			return
		}
		v, err := d.Parse(text)
		if err == nil && !(v >= low && v <= high) {
			err = fmt.Errorf("%q, which is out of range", text)
		}
		if err != nil {
			problems = append(problems, fmt.Errorf("--%s: found %w; allowed: %s", flag, err, d.Allowed(low, high)))
			return
		}
		*into = v
	}
	var within float64
	read("within", k.within, bench.Relative, 0.1e-6, 0.1, &within)
	if within > 0 {
		k.withinPPM = 1e6 * within
	}
	read("flat", k.flat, bench.Voltage, 0.3, 20, &k.flatVolts)
	read("timeout", k.timeout, bench.Duration, 1e-6, 3600, &k.seconds)
	if !(k.margin >= 1 && k.margin <= 100) {
		problems = append(problems, fmt.Errorf("--margin: found %g; allowed: a number from 1 to 100, 5 is usual", k.margin))
	}
	if k.output != "" && k.vary == "" {
		problems = append(problems, errors.New("-o writes the chart of --vary; give both, like --vary CA,CB=8pF..47pF -o chart.svg"))
	}
	if len(problems) > 0 {
		return usage{errors.Join(problems...)}
	}
	return nil
}

// answer prints what the circuit does, and varies it if that was asked for.
func (k *calculator) answer(io streams, c crystal.Circuit) error {
	if k.flatVolts == 0 && k.typical == "" && c.SupplyVolts > 2.6 {
		k.flatVolts = 2.6
	}
	if c.Gm > 0 {
		k.flatVolts = 0 // a fixed gm says nothing about another supply
	}
	var v *variation
	if k.vary != "" {
		var err error
		if v, err = newVariation(k, c); err != nil {
			return usage{err}
		}
		if k.output != "" {
			if err := os.WriteFile(k.output, []byte(v.chart().SVG()+"\n"), 0o644); err != nil {
				return err
			}
		}
	}
	if k.json {
		return printJSON(io.out, k.object(c, v))
	}
	if v != nil {
		v.print(io.out)
	} else {
		k.print(io.out, c)
	}
	fmt.Fprintln(io.out, "\nCaution: "+boardCaution)
	if k.output != "" {
		fmt.Fprintln(io.err, "wrote", k.output)
	}
	return nil
}

// symbolHelp lists every symbol with its meaning.
func symbolHelp() string {
	var b strings.Builder
	b.WriteString("Symbols (node A is the inverter's input and crystal pin 1, B is crystal pin 2):")
	for _, s := range crystal.Symbols() {
		fmt.Fprintf(&b, "\n  %-6s %s", s.Name, s.Meaning)
		if s.Unit != "" {
			fmt.Fprintf(&b, ", %s", unitName(s.Unit))
		}
	}
	return b.String()
}

func unitName(unit string) string {
	if unit == "degC" {
		return "°C"
	}
	return unit
}

// completeSymbols offers the symbols for the shell, with their meaning.
func completeSymbols(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	var names []string
	for _, s := range crystal.Symbols() {
		if strings.HasPrefix(strings.ToLower(s.Name), strings.ToLower(typed)) {
			names = append(names, s.Name+"=\t"+s.Meaning)
		}
	}
	return names, cobra.ShellCompDirectiveNoSpace | cobra.ShellCompDirectiveNoFileComp
}
