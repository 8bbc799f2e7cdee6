package main

import (
	"fmt"
	"math"

	"github.com/spf13/cobra"

	"ringup/runner/bench"
	"ringup/runner/crystal"
)

func newFromGrowth(io streams, o *options, k *calculator) *cobra.Command {
	const relative = 0.03
	uncertainty := "10 %"
	c := &cobra.Command{
		Use: "growth VOLTS=TIME …", Short: "negative resistance from the growth of the envelope", Args: cobra.MinimumNArgs(1),
		Long: `The clock's envelope grows as exp(t/τ), and τ = 2·L1/(|-R|-R1). ringup writes τ into the logbook
as growth_seconds. Two supplies or more also say, from how τ changes, what the losses are
together, without R1 being known, and at what supply growth ends.

An uncertainty (one standard deviation) may follow: 2.4V=900us±20us; left out it is 3 %.`,
		Example: "  ringup crystal from growth 2.4V=900us±20us 3.0V=440us 3.6V=290us\n  ringup crystal from growth 3.0V=600us CA=22pF CB=22pF R1=40ohm",
		RunE: func(_ *cobra.Command, args []string) error {
			var points []crystal.GrowthPoint
			circuit, err := k.withCircuit(args, "=", "VOLTS=TIME, like 2.4V=900us or 2.4V=900us±20us", func(m measurement) error {
				v, err := bench.Voltage.Parse(m.left)
				if err == nil && !(v > 0 && v <= 20) {
					err = fmt.Errorf("%q, which is no supply of a microcontroller", m.left)
				}
				if err != nil {
					return err
				}
				tau, sigma, err := uncertain(bench.Duration, m.right, relative)
				if err == nil && !(tau > 0) {
					err = fmt.Errorf("%q, which is no growth", m.right)
				}
				points = append(points, crystal.GrowthPoint{Volts: v, Seconds: tau, SecondsSigma: sigma})
				return err
			})
			if err != nil {
				return err
			}
			share, err := bench.Relative.Parse(uncertainty)
			if err != nil || !(share >= 0 && share <= 1) {
				return usage{fmt.Errorf("--r1-uncertainty: found %q; allowed: %s", uncertainty, bench.Relative.Allowed(0, 1))}
			}
			answer, err := circuit.FromGrowth(points, share*circuit.Crystal.R1)
			if err != nil {
				return usage{err}
			}
			if o.json {
				return printJSON(io.out, growthObject(points, answer))
			}
			for i, p := range points {
				e := answer.NegativeOhms[i]
				fmt.Fprintf(io.out, "%s, τ = %s: negative resistance %s, with R1 = %s", volts(p.Volts), crystal.FormatSI(p.Seconds, "s"), sayEstimate(e, "ohm"), resistance(circuit.Crystal.R1))
				if circuit.Gm == 0 {
					fmt.Fprintf(io.out, "; the circuit as given should have %s", resistance(circuit.At(p.Volts, circuit.Celsius).Analyse().NegativeOhms))
				}
				fmt.Fprintln(io.out)
			}
			if !math.IsNaN(answer.Loss.Value) {
				fmt.Fprintf(io.out, "From the change with the supply alone: losses %s (the crystal's R1 and all that adds to it),\n  growth ends at %s, the circuit's strength is %.2f times what was given (%.2f to %.2f).\n",
					sayEstimate(answer.Loss, "ohm"), sayEstimate(answer.StopVolts, "V"), answer.Scale.Value, answer.Scale.Low, answer.Scale.High)
			} else if len(points) < 2 {
				fmt.Fprintln(io.out, "Measure at a second supply to know the losses without knowing R1.")
			}
			fmt.Fprintln(io.out, "\nCaution: "+boardCaution)
			return nil
		},
	}
	c.Flags().StringVar(&uncertainty, "r1-uncertainty", uncertainty, "how well R1 is known, one standard `deviation`")
	return c
}
