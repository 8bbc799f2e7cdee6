package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/benchcheck"
	"ringup/runner/simbench"
)

// checkFlags are those of check.
type checkFlags struct {
	energise bool
	yes      bool
	dialect  string
}

func newCheck(io streams, o *options) *cobra.Command {
	var f checkFlags
	c := &cobra.Command{
		Use: "check", Short: "is the bench wired and set up as its bench file says?", Args: cobra.NoArgs,
		Long: `Checks a bench, one line for each check: pass, a note, or what is wrong and what to do.

Without --energise nothing is energised: who answers at each address and what its error
queue holds, supply off and read back, the limits within the supply's range, a scope
channel for each probe, the thermometer, the time of a round trip.

With --energise, and no unit connected, the supply is switched on at three voltages up to
max_volts. That proves set-point against read-back and rail probe, the rise of the rail
and the scope's trigger on it. Then the scope's compensation signal is measured through
each probe. It asks first; --yes says that the unit is disconnected and asks nothing.

With --dialect a dialect file is checked, and what it would send is listed. No instrument
is needed for that.

Exit status: 0 all is well; 1 something has to be put right; 2 usage or a bad file;
4 stopped; 5 the supply is not confirmed off.

` + cautions,
		Example: "  ringup check -b bench.toml\n  ringup check --energise -b bench.toml\n  ringup check --dialect dialects/my-supply.toml",
		RunE: func(cmd *cobra.Command, _ []string) error {
			ctx, done := untilEnding(cmd.Context(), io.err)
			defer done()
			switch {
			case f.dialect != "" && (f.energise || cmd.Flags().Changed("bench")):
				return usage{errors.New("--dialect checks a file alone: give it without --energise and without -b")}
			case f.yes && !f.energise:
				return usage{errors.New("--yes answers the question of --energise: give both, or neither")}
			case f.dialect != "":
				return checkDialect(io, *o, f.dialect)
			}
			return checkBench(ctx, io, *o, f)
		},
	}
	jsonFlag(c, o)
	c.Flags().BoolVar(&f.energise, "energise", false, "switch the supply on, too, without a unit")
	c.Flags().BoolVar(&f.yes, "yes", false, "with --energise: the unit is disconnected and the rail probe on the leads; ask nothing")
	c.Flags().StringVar(&f.dialect, "dialect", "", "check this dialect `file` instead of a bench")
	return c
}

// checkReport is what check --json prints.
type checkReport struct {
	Bench     string               `json:"bench"`
	Energised bool                 `json:"energised"` // whether the supply was switched on at all
	Wrong     int                  `json:"wrong"`
	Findings  []benchcheck.Finding `json:"findings"`
}

// checkBench is check of a bench, and check --energise.
func checkBench(ctx context.Context, io streams, o options, f checkFlags) (err error) {
	b, err := loadBench(o.bench)
	if err != nil {
		return err
	}
	clock, addresses, closeBench, err := checkedBench(b, f.energise)
	if err != nil {
		return err
	}
	defer closeBench()
	fmt.Fprintln(io.err, cautions)
	report := checkReport{Bench: o.bench, Findings: []benchcheck.Finding{}}
	checker, err := benchcheck.New(b, benchcheck.Options{
		Addresses: addresses, Dialects: dialectFolder(o), Clock: clock,
		Tell: func(f benchcheck.Finding) {
			report.Findings = append(report.Findings, f)
			if !o.json {
				fmt.Fprintln(io.out, f)
			}
		},
	})
	if err != nil {
		return usage{err}
	}
	defer func() { err = errors.Join(err, checker.Close()) }()
	if err = checker.Still(ctx); err == nil && f.energise {
		report.Energised, err = energise(ctx, io, b, o, f, checker)
	}
	if ctx.Err() != nil && !isNotOff(err) {
		err = fmt.Errorf("%w: the check was not finished", errStopped)
		if report.Energised {
			err = fmt.Errorf("%w; the supply is confirmed off", err)
		}
	}
	report.Wrong = checker.Wrong()
	if o.json {
		if printErr := printJSON(io.out, report); err == nil {
			err = printErr
		}
	}
	if err == nil && report.Wrong > 0 {
		err = fmt.Errorf("%s to put right", count(report.Wrong, "thing"))
	} else if err == nil {
		fmt.Fprintln(io.err, "nothing to put right")
	}
	return err
}

func count(n int, of string) string {
	if n == 1 {
		return "1 " + of
	}
	return fmt.Sprintf("%d %ss", n, of)
}

// checkedBench sets a simulated bench up; a real one needs nothing.
func checkedBench(b *bench.Bench, energise bool) (clock runner.Clock, addresses map[string]string, closeBench func() error, err error) {
	if !b.Simulated() {
		return runner.WallClock{}, nil, func() error { return nil }, nil
	}
	virtual := runner.NewVirtualClock(b.Simulation.Start.In(zone(b)), 0)
	simulation := simulation(b, virtual, past{})
	if simulation.NoUnit = energise; energise && b.Clock.Loads != bench.NearField {
		simulation.OnCompensation = []int{simbench.ClockChannel}
	}
	sim, err := simbench.New(simulation)
	if err != nil {
		return nil, nil, nil, usage{fmt.Errorf("%s: %w", b.Where("simulation.unit"), err)}
	}
	if addresses, err = serveSimulated(sim); err != nil {
		return nil, nil, nil, errors.Join(err, sim.Close())
	}
	return virtual, addresses, sim.Close, nil
}
