package main

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"ringup/runner/bench"
	"ringup/runner/crystal"
)

func newFromResistor(io streams, o *options, k *calculator) *cobra.Command {
	tolerance := "1 %"
	const form = "OHMS=STARTS/CYCLES, like 330ohm=30/30"
	c := &cobra.Command{
		Use: "resistor OHMS=STARTS/CYCLES …", Short: "start margin from a series-resistor test", Args: cobra.MinimumNArgs(1),
		Long: `With a resistor in series with the crystal the unit was power-cycled, and started in so many of
the cycles. The largest resistor with which it always starts, and the smallest with which it
does not, bound the negative resistance at the crystal's pins, and with it the margin.
margin.lua does this test step by step: ringup run margin.lua -b bench.toml`,
		Example: "  ringup crystal from resistor 330ohm=30/30 390ohm=12/30\n  ringup crystal from resistor 82ohm=30/30 100ohm=26/30 V=2.4V T=-6C --tolerance 5%",
		RunE: func(_ *cobra.Command, args []string) error {
			var steps []crystal.ResistorStep
			circuit, err := k.withCircuit(args, "=", form, func(m measurement) error {
				ohms, err := bench.Resistance.Parse(m.left)
				if err != nil {
					return err
				}
				a, b, _ := strings.Cut(m.right, "/")
				starts, errA := strconv.Atoi(strings.TrimSpace(a))
				cycles, errB := strconv.Atoi(strings.TrimSpace(b))
				if errA != nil || errB != nil {
					return fmt.Errorf("%q, which is no number of starts of a number of cycles", m.right)
				}
				steps = append(steps, crystal.ResistorStep{Ohms: ohms, Starts: starts, Cycles: cycles})
				return nil
			})
			if err != nil {
				return err
			}
			share, err := bench.Relative.Parse(tolerance)
			if err != nil {
				return usage{fmt.Errorf("--tolerance: found %w; allowed: %s", err, bench.Relative.Allowed(0, 0.2))}
			}
			answer, err := circuit.FromResistors(steps, share)
			if err != nil {
				return usage{err}
			}
			if o.json {
				return printJSON(io.out, resistorObject(answer))
			}
			paragraph(io.out, "", sentence(answer.Say))
			if circuit.Gm == 0 {
				fmt.Fprintf(io.out, "The circuit as given should just stop at %s, at %s and %.3g °C.\n", resistance(circuit.Analyse().InsertOhms), volts(circuit.SupplyVolts), circuit.Celsius)
			}
			fmt.Fprintln(io.out, "\nCaution: "+boardCaution)
			return nil
		},
	}
	c.Flags().StringVar(&tolerance, "tolerance", tolerance, "of the resistors, as a `deviation`")
	return c
}
