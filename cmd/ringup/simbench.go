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
	var celsius, trim float64
	var noUnit bool
	var probes string
	var baud, ignoreOff int
	c := &cobra.Command{
		Use: "simbench", Short: "serve the simulated bench as a process of its own", Args: cobra.NoArgs,
		Long: `Serves a simulated supply, scope and thermometer, with a unit between them, on pseudo-terminals
or on TCP, in real time, until Ctrl-C. It prints a bench file for them: whatever talks to
instruments can talk to these.

To prove the instruments alone (ringup check --energise), --no-unit leaves the supply's leads
open, and --probes compensation has the clock probe, then a 10:1 one, on the scope's
compensation terminal. --trim 1.1 turns its trimmer 10 % off. --baud gives the serial ports
a speed of their own: a port opened at another carries garbage, as on a wire.

To see what ringup does and says when a supply does not obey, --ignore-off 12 has it ignore
the first 12 commands to switch off, and --ignore-off -1 all of them.

Units: ` + strings.Join(crystal.Units(), ", "),
		Example: "  ringup simbench > bench.toml &\n  ringup run soak.lua -b bench.toml\n\n  ringup simbench --no-unit --probes compensation > bench.toml &\n  ringup check --energise -b bench.toml",
		RunE: func(cmd *cobra.Command, _ []string) error {
			ctx, stop := signal.NotifyContext(cmd.Context(), os.Interrupt, syscall.SIGTERM)
			defer stop()
			o := simbench.Options{
				Unit: unit, Seed: seed, Clock: runner.WallClock{}, LampProbe: true, NoUnit: noUnit, Baud: baud,
				Climate:    simbench.Climate{MeanCelsius: celsius, Zone: time.Local},
				ClockProbe: simbench.Probe{Node: simbench.NodeNearField, Attenuation: nearFieldAttenuation},
			}
			clock := fmt.Sprintf(coilTable, nearFieldAttenuation)
			switch probes {
			case simbench.ToUnit:
			case simbench.ToCompensation:
				o.ClockProbe = simbench.Probe{Node: simbench.NodeB, Farads: 12e-12, Ohms: 10e6, Attenuation: 10, Trim: trim}
				o.OnCompensation = []int{simbench.ClockChannel}
				clock = passiveTable
			default:
				return usage{fmt.Errorf("--probes %s; allowed are %s and %s", probes, simbench.ToUnit, simbench.ToCompensation)}
			}
			if ignoreOff < -1 {
				return usage{fmt.Errorf("--ignore-off %d; allowed are 0, a number of commands, and -1 for all", ignoreOff)}
			}
			b, err := simbench.New(o)
			if err != nil {
				return usage{err}
			}
			defer b.Close()
			b.Faults().IgnoreOff(ignoreOff)
			a, err := b.Serve(transport)
			if err != nil {
				return err
			}
			if _, err := fmt.Fprintf(s.out, simbenchFile, unit, a.Supply, a.Scope, a.Thermometer, clock); err != nil {
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
	c.Flags().BoolVar(&noUnit, "no-unit", false, "leave the supply's leads open")
	c.Flags().StringVar(&probes, "probes", simbench.ToUnit, "`where` the clock probe is: unit or compensation")
	c.Flags().Float64Var(&trim, "trim", 1, "`gain` of the 10:1 probe for fast signals relative to slow ones")
	c.Flags().IntVar(&baud, "baud", 0, "`speed` of the instruments' serial ports; 0 follows whoever opens them")
	c.Flags().IntVar(&ignoreOff, "ignore-off", 0, "`number` of commands to switch the supply off that it ignores while it is on; -1: all")
	c.Flags().Float64Var(&celsius, "ambient", -10, "ambient temperature in degrees Celsius")
	return c
}

// nearFieldAttenuation calibrates the simulated pick-up coil, so that the scaled reading is the amplitude at
// the crystal's pin.
const nearFieldAttenuation = 20

// Clock probes of the simulated bench, as a bench file has them: the coil, and a 10:1 probe on the crystal's output.
const (
	coilTable = `channel     = 2
attenuation = %d
loads       = "near field"
`
	passiveTable = `channel     = 2
attenuation = 10
capacitance = "12 pF"
resistance  = "10 Mohm"
loads       = "crystal output"
`
)

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
%s
[probes.lamp]
channel = 3

[expect]
start_within  = "68 ms"
amplitude_min = "6 %%"
`
