package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
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
	listen listening
	quiet  bool
	fresh  bool
	ship   shipFlags
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
			ctx, done := untilEnding(cmd.Context(), io.err)
			defer done()
			return runScript(ctx, io, *o, f, cmd.Flags().Changed("seed"), args[0])
		},
	}
	jsonFlag(c, o)
	f.add(c)
	f.ship.add(c)
	c.Flags().BoolVar(&f.fresh, "fresh", false, "begin a new run even if the same one was interrupted")
	return c
}

func (f *runFlags) add(c *cobra.Command) {
	c.Flags().Uint64Var(&f.seed, "seed", 0, "`number` that fixes the script's chance, and the simulated bench's")
	c.Flags().Float64Var(&f.pace, "pace", 0, "simulated bench only: how many times faster than real the time passes; 0 is as fast as it can")
	f.listen.add(c)
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
	other := ""
	if unfinished == nil && !f.fresh {
		if other, err = cutShortOtherwise(book, program, b, f.seed); err != nil {
			return err
		}
	}
	p, err := leftOff(book, unfinished)
	if err != nil {
		return err
	}
	print := newProgressPrinter(io.err, f.quiet)
	print.opening(b, program, unfinished, other)
	shipping, err := f.ship.follow(io, book, print)
	if err != nil {
		return err
	}
	defer shipping.close()
	desk := newDesk(book)
	_, stopServing, err := desk.listen(f.listen, o.logbook, io.err)
	if err != nil {
		return err
	}
	defer stopServing()
	print.howOn = "go on with Enter here, or with: ringup resume; Ctrl-C ends the run"
	watch := runner.Observers{print, desk, shipping}
	bench, err := stand(ctx, b, o, p, f.pace, watch)
	if ctx.Err() != nil {
		return errors.Join(fmt.Errorf("%w while the instruments were being opened; nothing was switched on", errStopped), bench.close())
	}
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
	if errors.Is(err, logbook.ErrMoved) {
		return err // there is nothing to read it from
	}
	if printErr := printRun(io, o, book, run, time.Since(began)); err == nil {
		err = printErr
	}
	if err == nil && run.Accepted != nil && !*run.Accepted {
		err = errRejected
	}
	return err
}

// cutShortOtherwise says of the logbook's last run, if it was cut short and of the same script or bench file, why it is
// not gone on with. It is empty if there is no such run. The daemon has no script in mind: an empty one stands for any.
func cutShortOtherwise(book *logbook.Book, p runner.Program, b *bench.Bench, seed uint64) (string, error) {
	last, err := book.LastRun()
	if errors.Is(err, logbook.ErrNoRun) {
		return "", nil
	}
	if err != nil || !last.Ended.IsZero() || p.Text != "" && last.Script != p.Name && last.Bench != b.Path {
		return "", err
	}
	var differs []string
	if p.Text != "" && last.ScriptText != p.Text {
		differs = append(differs, "the script")
	}
	if last.BenchText != b.Text {
		differs = append(differs, "the bench file")
	}
	if last.Seed != seed {
		differs = append(differs, "the seed")
	}
	if differs == nil {
		return "", nil
	}
	return fmt.Sprintf("run %d was cut short and is not gone on with: %s differed then; to go on with it put back what it had (in the logbook: script_text, bench_text and seed of table run)",
		last.ID, strings.Join(differs, " and ")), nil
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
	if s.State == "running" || s.State == "held" {
		s.State = runner.CutShort // it is over, and its end is not in the logbook
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
