package main

import (
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"ringup/runner/bench"
	"ringup/runner/crystal"
)

// prediction is what crystal predict was asked for.
type prediction struct {
	volts, celsius, rest, probe string
	draws                       int
	seed                        uint64
}

func newCrystalPredict(io streams, o *options) *cobra.Command {
	p := prediction{volts: "3.6,3.3,3.0,2.7,2.4,2.2", celsius: "25,-10", rest: "35s", draws: 10000, seed: 1}
	c := &cobra.Command{
		Use: "predict UNIT", Short: "how often a simulated unit starts, over voltage, temperature and rest", Args: cobra.ExactArgs(1),
		Long: `Asks the oscillator's equations how often a simulated unit starts: so many power-ups in each
cell, without bench, scope or verdict between. For planning a run, and to see how a fault
shows. Units: ` + strings.Join(crystal.Units(), ", ") + `.`,
		Example:   "  ringup crystal predict cracked-capacitor\n  ringup crystal predict sleepy-crystal --volts 2.2,2.4,2.8 --celsius -5,20 --rest 35s,1h --probe 10x@A",
		ValidArgs: crystal.Units(),
		RunE: func(_ *cobra.Command, args []string) error {
			unit, err := crystal.NewUnit(args[0])
			if err != nil {
				return usage{err}
			}
			return p.do(io, *o, unit)
		},
	}
	f := c.Flags()
	f.StringVar(&p.volts, "volts", p.volts, "supply `voltages`")
	f.StringVar(&p.celsius, "celsius", p.celsius, "`temperatures` of unit and air, in °C")
	f.StringVar(&p.rest, "rest", p.rest, "`times` off before each start")
	f.StringVar(&p.probe, "probe", "", "a `probe` on a crystal pin, like 10x@A")
	f.IntVar(&p.draws, "draws", p.draws, "power-ups in each cell")
	f.Uint64Var(&p.seed, "seed", p.seed, "of chance: the same seed gives the same numbers")
	jsonFlag(c, o)
	return c
}

// list reads quantities with commas between. Where every one has the same unit anyway, bare numbers are taken in it.
func list(flag, text, unit string, d bench.Dimension, low, high float64) ([]float64, error) {
	var values []float64
	var problems []error
	for part := range strings.SplitSeq(text, ",") {
		part = strings.TrimSpace(part)
		v, err := d.Parse(part)
		if err != nil && unit != "" {
			v, err = d.Parse(part + unit)
		}
		if err == nil && !(v >= low && v <= high) {
			err = fmt.Errorf("%q, which is out of range", part)
		}
		if err != nil {
			problems = append(problems, fmt.Errorf("--%s: found %w; allowed: %s, several with commas between", flag, err, d.Allowed(low, high)))
		}
		values = append(values, v)
	}
	return values, errors.Join(problems...)
}

func (p prediction) do(io streams, o options, unit crystal.Unit) error {
	var g crystal.Grid
	var problems [5]error
	g.Volts, problems[0] = list("volts", p.volts, "V", bench.Voltage, 0.5, 5.5)
	g.Celsius, problems[1] = list("celsius", p.celsius, "C", bench.Temperature, -60, 100)
	g.RestSeconds, problems[2] = list("rest", p.rest, "", bench.Duration, 0, 30*86400)
	var probe crystal.Probe
	if p.probe != "" {
		if probe, problems[3] = parseProbe(p.probe); problems[3] != nil {
			problems[3] = fmt.Errorf("--probe: found %w", problems[3])
		}
	}
	if g.Draws = p.draws; p.draws < 1 || p.draws > 10_000_000 {
		problems[4] = fmt.Errorf("--draws: found %d; allowed: a whole number from 1 to 10000000", p.draws)
	}
	if err := errors.Join(problems[:]...); err != nil {
		return usage{err}
	}
	cells := unit.PredictGrid(g, probe, p.seed)
	if o.json {
		return printJSON(io.out, predictionObject(unit.Name, p, cells))
	}
	fmt.Fprintf(io.out, "%s: starts in time, of %d power-ups in each cell (seed %d)\n\n", unit.Name, p.draws, p.seed)
	t := tabwriter.NewWriter(io.out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprint(t, "air\trest\t")
	for _, v := range g.Volts {
		fmt.Fprintf(t, "%s\t", volts(v))
	}
	fmt.Fprintln(t)
	for i, c := range cells {
		if i%len(g.Volts) == 0 {
			fmt.Fprintf(t, "%.3g °C\t%s\t", c.Celsius, spell(c.RestSeconds))
		}
		fmt.Fprintf(t, "%s\t", shareText(c))
		if i%len(g.Volts) == len(g.Volts)-1 {
			fmt.Fprintln(t)
		}
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(io.out, "\nA prediction of the model, not of a real unit. The bench's own rate: ringup run soak.lua -b bench.toml\n")
	return nil
}

// shareText never rounds a failure away: 9999 of 10000 is not 100 %.
func shareText(c crystal.Cell) string {
	if starts := c.Outcomes[crystal.Starts]; starts != 0 && starts != c.Draws {
		return fmt.Sprintf("%.2f %%", 100*c.StartShare)
	}
	return fmt.Sprintf("%.0f %%", 100*c.StartShare)
}

func predictionObject(unit string, p prediction, cells []crystal.Cell) any {
	type cell struct {
		Volts    float64        `json:"volts"`
		Celsius  float64        `json:"celsius"`
		Rest     float64        `json:"rest_seconds"`
		Draws    int            `json:"draws"`
		Starts   float64        `json:"start_share"`
		Outcomes map[string]int `json:"outcomes"`
	}
	all := make([]cell, len(cells))
	for i, c := range cells {
		all[i] = cell{c.Volts, c.Celsius, c.RestSeconds, c.Draws, c.StartShare, map[string]int{}}
		for outcome, n := range c.Outcomes {
			all[i].Outcomes[outcome.String()] = n
		}
	}
	return struct {
		Unit  string `json:"unit"`
		Probe string `json:"probe,omitempty"`
		Seed  uint64 `json:"seed"`
		Cells []cell `json:"cells"`
	}{unit, p.probe, p.seed, all}
}
