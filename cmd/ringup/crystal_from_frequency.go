package main

import (
	"fmt"
	"math"

	"github.com/spf13/cobra"

	"ringup/runner/bench"
	"ringup/runner/crystal"
)

func newFromFrequency(io streams, o *options, k *calculator) *cobra.Command {
	const relative = 1e-6
	within := "20 ppm"
	form := "FREQUENCY or FREQUENCY@PROBE@NODE, like 7.37312MHz, 7373120Hz±5Hz or 7.37290MHz@10x@A; probes are " + probeNames()
	c := &cobra.Command{
		Use: "frequency FREQUENCY …", Short: "load, and which capacitor is off, from the frequency", Args: cobra.MinimumNArgs(1),
		Long: `The frequency gives the load capacitance, and so the value of either load capacitor if it alone
is off. One frequency cannot say which; a second one with a probe on one pin can, since a
probe pulls the more the smaller its pin's own capacitor is.

An uncertainty (one standard deviation) may follow: 7373120Hz±5Hz; left out it is 1 ppm.`,
		Example: "  ringup crystal from frequency 7.37312MHz\n  ringup crystal from frequency 7373046Hz±5Hz 7372711Hz±5Hz@10x@A 7372760Hz±5Hz@10x@B",
		RunE: func(_ *cobra.Command, args []string) error {
			var points []crystal.FrequencyPoint
			circuit, err := k.withCircuit(args, "@", form, func(m measurement) error {
				hertz, sigma, err := uncertain(bench.Frequency, m.left, relative)
				if err == nil && !(hertz > 0) {
					err = fmt.Errorf("%q, which is no frequency", m.left)
				}
				if err != nil {
					return err
				}
				p := crystal.FrequencyPoint{Hertz: hertz, HertzSigma: sigma}
				if m.right != "" {
					if p.Probe, err = parseProbe(m.right); err != nil {
						return err
					}
				}
				points = append(points, p)
				return nil
			})
			if err != nil {
				return err
			}
			for _, p := range points {
				if off := p.Hertz/circuit.Hertz - 1; math.Abs(off) > 0.01 {
					return usage{fmt.Errorf("%s is %+.1f %% from the crystal's nominal %s; give fL, or look for an overtone or a wrong crystal: no load pulls so far",
						crystal.FormatSI(p.Hertz, "Hz"), 100*off, crystal.FormatSI(circuit.Hertz, "Hz"))}
				}
			}
			ppm, err := bench.Relative.Parse(within)
			if err != nil || !(ppm >= 0 && ppm <= 0.01) {
				return usage{fmt.Errorf("--crystal-within: found %q; allowed: %s", within, bench.Relative.Allowed(0, 0.01))}
			}
			answer, err := circuit.FromFrequency(points, 1e6*ppm)
			if err != nil {
				return usage{err}
			}
			if o.json {
				return printJSON(io.out, frequencyObject(answer))
			}
			fmt.Fprintf(io.out, "effective load %s; the circuit as given has %s\n", sayEstimate(answer.Load, "F"), crystal.FormatSI(circuit.Analyse().LoadFarads, "F"))
			for _, one := range []struct {
				name   string
				fitted float64
				answer crystal.CapacitorAnswer
			}{{"CA", circuit.Net.CA, answer.CA}, {"CB", circuit.Net.CB, answer.CB}} {
				if !one.answer.Possible {
					fmt.Fprintf(io.out, "%s alone cannot explain it\n", one.name)
					continue
				}
				fmt.Fprintf(io.out, "if %s alone is off, it has %s instead of %s\n", one.name, sayEstimate(one.answer.Farads, "F"), crystal.FormatSI(one.fitted, "F"))
			}
			paragraph(io.out, "", sentence(answer.Say))
			fmt.Fprintln(io.out, "\nCaution: "+boardCaution)
			return nil
		},
	}
	c.Flags().StringVar(&within, "crystal-within", within, "how well the crystal keeps its own frequency, one standard `deviation`")
	return c
}
