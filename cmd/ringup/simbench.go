package main

import (
	"fmt"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"ringup/runner"
	"ringup/runner/crystal"
	"ringup/runner/simbench"
)

func newSimbench(s streams) *cobra.Command {
	var unit, transport string
	var seed uint64
	var celsius float64
	c := &cobra.Command{
		Use: "simbench", Short: "serve the simulated bench as a process of its own", Args: cobra.NoArgs,
		Long: `Serves a simulated supply, scope and thermometer, with a unit between them, on pseudo-terminals
or on TCP, in real time, until Ctrl-C. It prints a bench file for them: whatever talks to
instruments can talk to these.

Units: ` + strings.Join(crystal.Units(), ", "),
		Example: "  ringup simbench > bench.toml &\n  ringup run soak.lua -b bench.toml",
		RunE: func(cmd *cobra.Command, _ []string) error {
			ctx, stop := signal.NotifyContext(cmd.Context(), os.Interrupt, syscall.SIGTERM)
			defer stop()
			b, err := simbench.New(simbench.Options{
				Unit: unit, Seed: seed, Clock: runner.WallClock{}, LampProbe: true,
				Climate:    simbench.Climate{MeanCelsius: celsius, Zone: time.Local},
				ClockProbe: simbench.Probe{Node: simbench.NodeNearField, Attenuation: nearFieldAttenuation},
			})
			if err != nil {
				return usage{err}
			}
			defer b.Close()
			a, err := b.Serve(transport)
			if err != nil {
				return err
			}
			if _, err := fmt.Fprintf(s.out, simbenchFile, unit, a.Supply, a.Scope, a.Thermometer, nearFieldAttenuation); err != nil {
				return err
			}
			fmt.Fprintln(s.err, "simulated bench up; Ctrl-C ends it")
			<-ctx.Done()
			return nil
		},
	}
	c.Flags().StringVar(&unit, "unit", "cracked-capacitor", "the `unit` on the bench")
	c.Flags().StringVar(&transport, "transport", "pty", "pty or tcp")
	c.Flags().Uint64Var(&seed, "seed", 1, "`number` that fixes the bench's chance")
	c.Flags().Float64Var(&celsius, "ambient", -10, "ambient temperature in degrees Celsius")
	return c
}

// nearFieldAttenuation calibrates the simulated pick-up coil, so that the scaled reading is the amplitude at
// the crystal's pin.
const nearFieldAttenuation = 20

const simbenchFile = `[unit]
name      = "simulated river-level logger, %s"
clock     = "7.3728 MHz"
max_volts = "3.9 V"
max_amps  = "150 mA"

[supply]
address = "%s"

[scope]
address = "%s"

[thermometer]
address = "%s"

[probes.rail]
channel     = 1
attenuation = 10

[probes.clock]
channel     = 2
attenuation = %d
loads       = "near field"

[probes.lamp]
channel = 3

[expect]
start_within  = "68 ms"
amplitude_min = "6 %%"
`
