package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"ringup/dashboards/live"
	"ringup/drivers"
	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/logbook"
)

func newServe(io streams, o *options) *cobra.Command {
	var f runFlags
	c := &cobra.Command{
		Use: "serve", Short: "the daemon: take runs, go on with an interrupted one", Args: cobra.NoArgs,
		Long: `Holds the bench, serves page and metrics, and takes runs one at a time from ringup submit or
the page. A run that a crash, a power cut or a restart of the daemon interrupted goes on where
it stopped. Stopping the daemon switches the supply off, reads it back, and leaves the run to
be gone on with.

` + cautions,
		Example: "  ringup serve -b bench.toml &\n  ringup submit soak.lua",
		RunE: func(cmd *cobra.Command, _ []string) error {
			ctx, done := untilEnding(cmd.Context(), io.err)
			defer done()
			d := daemon{io: io, o: *o, f: f, submitted: make(chan submission)}
			return d.serve(ctx, cmd.Flags().Changed("seed"))
		},
	}
	f.add(c)
	f.ship.add(c)
	return c
}

// daemon takes runs one at a time.
type daemon struct {
	io    streams
	o     options
	f     runFlags
	bench *bench.Bench
	book  *logbook.Book
	desk  *desk
	print *progressPrinter
	ship  *shipping

	submitted chan submission
}

// submission is a script on its way in; begun tells its sender how that went.
type submission struct {
	program runner.Program
	begun   chan<- begun
}

type begun struct {
	run int64
	err error
}

func (d *daemon) serve(ctx context.Context, seeded bool) (err error) {
	if d.bench, err = loadBench(d.o.bench); err != nil {
		return err
	}
	d.f.chooseSeed(d.bench, seeded)
	if d.book, err = openLogbook(d.o.logbook); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.book.Close()) }()
	d.print = newProgressPrinter(d.io.err, d.f.quiet)
	if d.ship, err = d.f.ship.follow(d.io, d.book, d.print); err != nil {
		return err
	}
	defer d.ship.close()
	d.desk = newDesk(d.book)
	d.desk.submit = func(name, script string) (int64, error) { return d.submit(ctx, name, script) }
	page, stopServing, err := d.desk.listen(d.f.listen, d.o.logbook, d.io.err)
	if err != nil {
		return err
	}
	defer stopServing()
	guard, err := startGuard(d.bench, d.o)
	if err != nil {
		return err
	}
	defer func() { guard.dismiss(err) }()

	at := ""
	if page != "" {
		at = " at " + page
	}
	fmt.Fprintf(d.io.err, "ringup serves %s%s\n%s\n", d.bench.Unit.Name, at, cautions)
	unfinished, err := d.interrupted()
	if err != nil {
		return err
	}
	if unfinished == nil {
		other, err := cutShortOtherwise(d.book, runner.Program{}, d.bench, d.f.seed)
		if err != nil {
			return err
		}
		if other != "" {
			fmt.Fprintln(d.io.err, other)
		}
	}
	for {
		if unfinished != nil {
			p := runner.Program{Name: unfinished.Script, Text: unfinished.ScriptText}
			fmt.Fprintf(d.io.err, "going on with run %d, which was interrupted\n", unfinished.ID)
			if err := d.do(ctx, p, unfinished, nil); err != nil {
				return err
			}
			unfinished = nil
		}
		select {
		case <-ctx.Done():
			return nil
		case s := <-d.submitted:
			if err := d.do(ctx, s.program, nil, s.begun); err != nil {
				return err
			}
		}
	}
}

// interrupted is the logbook's newest run if it was cut short on this very bench.
func (d *daemon) interrupted() (*logbook.Run, error) {
	last, err := d.book.LastRun()
	if errors.Is(err, logbook.ErrNoRun) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return runner.Unfinished(d.book, runner.Program{Name: last.Script, Text: last.ScriptText}, d.bench, d.f.seed)
}

// submit hands a script to the serving goroutine, if that is free.
func (d *daemon) submit(ctx context.Context, name, script string) (int64, error) {
	program := runner.Program{Name: name, Text: script}
	if err := checkScript(program); err != nil {
		return 0, fmt.Errorf("%w: %w", live.ErrBadScript, err)
	}
	answer := make(chan begun, 1)
	select {
	case d.submitted <- submission{program, answer}:
	default:
		return 0, live.ErrBusy
	}
	select {
	case b := <-answer:
		return b.run, b.err
	case <-ctx.Done():
		return 0, ctx.Err()
	}
}

// do executes one run. Only a supply that is not confirmed off, or the daemon's own end, is an error: a run
// that failed is in the logbook, and the daemon lives.
func (d *daemon) do(ctx context.Context, p runner.Program, unfinished *logbook.Run, tell chan<- begun) error {
	told := func(b begun) {
		if tell != nil {
			tell <- b
			tell = nil
		}
	}
	from, err := leftOff(d.book, unfinished)
	if err != nil {
		told(begun{err: err})
		return err
	}
	watch := runner.Observers{d.print, d.desk, d.ship}
	bench, err := d.stand(ctx, from, watch, unfinished != nil)
	if err != nil {
		told(begun{err: err})
		return keepServing(d.io, err)
	}
	e := execution{
		standing: bench, book: d.book, program: p, unfinished: unfinished, watch: watch, seed: d.f.seed,
		started:   func(s *runner.Session) { d.desk.attach(s); told(begun{run: s.Run().ID}) },
		interrupt: true, // the daemon ends; the run does not
	}
	_, err = e.do(ctx)
	told(begun{err: err}) // only if it never started
	d.desk.attach(nil)
	err = errors.Join(err, bench.close())
	if ctx.Err() != nil && !isNotOff(err) {
		return nil
	}
	return keepServing(d.io, err)
}

// instrumentPause is how long an interrupted run waits, in real time, before it looks for its instruments again.
const instrumentPause = time.Second

// stand opens the bench. For an interrupted run it waits until the instruments answer: after a power cut they may come
// up later than this computer.
func (d *daemon) stand(ctx context.Context, from past, watch runner.Observer, wait bool) (*standing, error) {
	said := false
	for {
		s, err := stand(ctx, d.bench, d.o, from, d.f.pace, watch)
		kind := drivers.KindOf(err)
		if !wait || kind != "gone" && kind != "timeout" || ctx.Err() != nil {
			return s, err
		}
		if !said {
			fmt.Fprintf(d.io.err, "the run goes on once its instruments answer: %v\n", err)
			said = true
		}
		select {
		case <-time.After(instrumentPause):
		case <-ctx.Done():
		}
	}
}

func keepServing(io streams, err error) error {
	if err == nil || isNotOff(err) {
		return err
	}
	fmt.Fprintln(io.err, "ringup:", err)
	return nil
}

func isNotOff(err error) bool {
	var notOff *runner.NotOffError
	return errors.As(err, &notOff)
}
