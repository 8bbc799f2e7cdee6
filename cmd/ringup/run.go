package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/logbook"
)

// runFlags are those of every command that executes a script.
type runFlags struct {
	seed   uint64
	pace   float64
	listen string
	quiet  bool
	fresh  bool
}

func newRun(io streams, o *options) *cobra.Command {
	var f runFlags
	c := &cobra.Command{
		Use:   "run SCRIPT",
		Short: "run a script now, in the foreground",
		Long: `Runs a script on the bench of the bench file, in the foreground, with page and metrics up.
The supply is off and read back as off when it ends, however it ends.

A run that was cut short by a crash or a power cut goes on where it stopped when the same
command is given again. Ctrl-C ends a run for good.

A run holds, supply off, after too many unread cycles in a row and after too much current: Enter
or ringup resume lets it go on. While an instrument is lost it holds, too, and goes on by itself
when that is back.

` + cautions,
		Example: "  ringup run soak.lua -b bench.toml\n  ringup run night.lua -b bench.toml --json > night.json",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx, stop := signal.NotifyContext(cmd.Context(), os.Interrupt, syscall.SIGTERM)
			defer stop()
			return runScript(ctx, io, *o, f, cmd.Flags().Changed("seed"), args[0])
		},
	}
	jsonFlag(c, o)
	f.add(c)
	c.Flags().BoolVar(&f.fresh, "fresh", false, "begin a new run even if the same one was interrupted")
	return c
}

func (f *runFlags) add(c *cobra.Command) {
	c.Flags().Uint64Var(&f.seed, "seed", 0, "`number` that fixes the script's chance, and the simulated bench's")
	c.Flags().Float64Var(&f.pace, "pace", 0, "simulated bench only: how many times faster than real the time passes; 0 is as fast as it can")
	c.Flags().StringVar(&f.listen, "listen", defaultListen, "`address` of page and metrics; \"none\" for neither")
	c.Flags().BoolVarP(&f.quiet, "quiet", "q", false, "print no progress")
}

// runScript is the run command.
func runScript(ctx context.Context, io streams, o options, f runFlags, seeded bool, name string) error {
	began := time.Now()
	b, err := loadBench(o.bench)
	if err != nil {
		return err
	}
	program, err := readScript(name)
	if err != nil {
		return err
	}
	if err := checkScript(program); err != nil {
		return err
	}
	f.chooseSeed(b, seeded)
	book, err := openLogbook(o.logbook)
	if err != nil {
		return err
	}
	defer book.Close()
	var unfinished *logbook.Run
	if !f.fresh {
		if unfinished, err = runner.Unfinished(book, program, b, f.seed); err != nil {
			return err
		}
	}
	p, err := leftOff(book, unfinished)
	if err != nil {
		return err
	}
	print := newProgressPrinter(io.err, f.quiet)
	print.opening(b, program, unfinished)
	desk := newDesk(book)
	stopServing, err := desk.listen(f.listen, o.logbook, io.err)
	if err != nil {
		return err
	}
	defer stopServing()
	print.howOn = "go on with Enter here, or with: ringup resume; Ctrl-C ends the run"
	watch := runner.Observers{print, desk}
	bench, err := stand(ctx, b, o, p, f.pace, watch)
	if err != nil {
		return err
	}
	guard, err := startGuard(b, o)
	if err != nil {
		return errors.Join(err, bench.close())
	}
	e := execution{
		standing: bench, book: book, program: program, unfinished: unfinished, watch: watch, seed: f.seed,
		started: func(s *runner.Session) {
			desk.attach(s)
			print.answers(ctx, io.in, s)
		},
	}
	run, err := e.do(ctx)
	desk.attach(nil)
	if closeErr := bench.close(); err == nil {
		err = closeErr
	}
	guard.dismiss(err)
	if run.ID != 0 && !isNotOff(err) && !f.quiet {
		fmt.Fprintln(io.err, bench.rig.OffMeans())
	}
	if printErr := printRun(io, o, book, run, time.Since(began)); err == nil {
		err = printErr
	}
	if err == nil && run.Accepted != nil && !*run.Accepted {
		err = errRejected
	}
	return err
}

// chooseSeed takes the seed of the command line, or else the bench file's.
func (f *runFlags) chooseSeed(b *bench.Bench, seeded bool) {
	if seeded {
		b.Simulation.Seed = f.seed
		return
	}
	f.seed = b.Simulation.Seed
}

// printRun ends a run's output: the table for a person, or one JSON object.
func printRun(io streams, o options, book *logbook.Book, run logbook.Run, wall time.Duration) error {
	if run.ID == 0 {
		return nil
	}
	s, err := runner.Summarise(book, run.ID, wall.Seconds())
	if err != nil {
		return err
	}
	if o.json {
		return printJSON(io.out, s)
	}
	return printSummary(io.out, s)
}

func printJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	return enc.Encode(v)
}

func printSummary(w io.Writer, s runner.Summary) error {
	fmt.Fprintf(w, "\nrun %d, %s: %s", s.Run, s.Unit, s.State)
	if s.Reason != "" {
		fmt.Fprintf(w, " (%s)", s.Reason)
	}
	fmt.Fprintf(w, "\n%d cycles in %s of bench time", s.Cycles, spell(s.VirtualSeconds))
	if s.NotCounted > 0 {
		fmt.Fprintf(w, ", %d of them not counted (the last because: %s)", s.NotCounted, s.NotCountedWhy)
	}
	if s.Accepted != nil {
		fmt.Fprintf(w, "\nthe script's own acceptance: %s", map[bool]string{true: "accepted", false: "rejected"}[*s.Accepted])
	}
	fmt.Fprint(w, "\n\n")
	return printConditions(w, s.Conditions)
}
