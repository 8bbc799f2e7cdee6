package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"ringup/drivers"
	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/crystal"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
	"ringup/scripts"
)

// rehearseFlags are those of rehearse, as typed.
type rehearseFlags struct {
	start       string
	units       []string
	answers     []string
	answerAfter time.Duration
	atMost      time.Duration
	mostCycles  int
	rate        string
	log         bool
}

func newRehearse(io streams, o *options) *cobra.Command {
	var f rehearseFlags
	c := &cobra.Command{
		Use:   "rehearse SCRIPT",
		Short: "what a script would do on this bench, and how long it takes",
		Long: `Executes a script in virtual time on the simulated bench, within the limits and expectations
of the bench file, and says when the run would end, how often and how long the unit would be
switched on, at which voltage at most, what a person will be asked and when, and which failure
rate so many cycles can show. Mistakes in the script come out here instead of at night.

No instrument of the bench file is opened, and no logbook is written. A script that decides as
it goes takes another time with another unit, so it is rehearsed with several simulated ones:
--unit chooses them. On a real bench they stand in for the unit, scaled to its clock, its
max_volts and its start_within. What they show is no result.

Each question is answered with --answer: given several times, the questions get them in turn.
A script that never ends is left after --at-most of its time, or so many --cycles.

Exit status: 0 rehearsed, also if the script still went on; 1 the script fails; 2 usage or a
bad file; 4 stopped by a person.

Units: ` + strings.Join(crystal.Units(), ", "),
		Example: "  ringup rehearse soak.lua -b bench.toml\n  ringup rehearse soak.lua --start 22:15 --json\n  ringup rehearse proof.lua --unit healthy --unit wet-flux --answer \"C7 = 27 pF\" --answer-after 20m",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx, stop := signal.NotifyContext(cmd.Context(), os.Interrupt, syscall.SIGTERM)
			defer stop()
			return f.rehearse(ctx, io, *o, args[0])
		},
	}
	jsonFlag(c, o)
	flags := c.Flags()
	flags.StringVar(&f.start, "start", "", "`when` the run begins: a time of day as 22:15, or a date and time as \"2026-01-14 22:15\" (default: now; simulation.start on a simulated bench)")
	flags.StringArrayVar(&f.units, "unit", nil, "simulated `unit` to rehearse with; may be given several times (default: healthy and cracked-capacitor; on a simulated bench its own, too)")
	flags.StringArrayVar(&f.answers, "answer", []string{"done"}, "`text` that answers a question; may be given several times, the last one answers all that follow")
	flags.DurationVar(&f.answerAfter, "answer-after", 0, "`time` that a person takes for each answer")
	flags.DurationVar(&f.atMost, "at-most", 7*24*time.Hour, "`time` of the run after which the rehearsal is left")
	flags.IntVar(&f.mostCycles, "cycles", 20_000, "`number` of cycles after which the rehearsal is left")
	flags.StringVar(&f.rate, "rate", "10%", "failure `rate` for which to say what the run would show")
	flags.BoolVar(&f.log, "log", false, "print what the script logs")
	return c
}

// rehearsed is what rehearse prints as JSON.
type rehearsed struct {
	Script         string             `json:"script"`
	Bench          string             `json:"bench"`
	Unit           string             `json:"unit"` // of the bench file
	MaxVolts       float64            `json:"max_volts"`
	Simulated      bool               `json:"simulated"`       // the bench file's instruments are
	DependsOnUnit  bool               `json:"depends_on_unit"` // the rehearsals differ, or the script asks for what the unit did
	AnswerSeconds  float64            `json:"answer_seconds"`  // that a person was taken to need for each answer
	InstrumentTime instrumentTimeJSON `json:"instrument_time"`
	Rehearsals     []runner.Rehearsal `json:"rehearsals"` // the longest first
}

// instrumentTimeJSON is the time that each cycle was taken to need besides the rest asked for, the watch window and the
// lamp's record, in seconds. It is null where nothing is known of it and it is left out.
type instrumentTimeJSON struct {
	OffSeconds []restOverrunJSON `json:"off_seconds"`
	OnSeconds  *float64          `json:"on_seconds"`
	Source     string            `json:"source"`
}

type restOverrunJSON struct {
	RestSeconds float64 `json:"rest_seconds"`
	Seconds     float64 `json:"seconds"`
}

// rehearse is the command.
func (f *rehearseFlags) rehearse(ctx context.Context, io streams, o options, name string) error {
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
	start, err := f.begins(b)
	if err != nil {
		return err
	}
	rate, err := failrate.ParseRate(f.rate)
	if err != nil {
		return fmt.Errorf("--rate: %w", err)
	}
	switch {
	case rate == 0 || rate == 1:
		return usage{fmt.Errorf("--rate %s: it lies between 0 %% and 100 %%", f.rate)}
	case f.atMost <= 0 || f.mostCycles <= 0 || f.answerAfter < 0:
		return usage{errors.New("--at-most and --cycles are above 0, and --answer-after is not below")}
	}
	takes, source, err := instrumentTime(b, o.logbook)
	if err != nil {
		return err
	}
	r := rehearser{flags: *f, o: o, bench: b, program: program, start: start, takes: takes, log: io.err}
	units := f.chosen(b)
	for _, unit := range units {
		if _, err := crystal.NewUnit(unit); err != nil {
			where := "--unit"
			if len(f.units) == 0 {
				where = b.Where("simulation.unit")
			}
			return usage{fmt.Errorf("%s: %w", where, err)}
		}
	}
	found, err := r.all(ctx, units)
	a := rehearsed{Script: program.Name, Bench: b.Path, Unit: b.Unit.Name, MaxVolts: b.Unit.MaxVolts, Simulated: b.Simulated(), AnswerSeconds: f.answerAfter.Seconds(), InstrumentTime: source, Rehearsals: found}
	if len(found) > 0 {
		if err := a.conclude(rate); err != nil {
			return err
		}
		if printErr := a.print(io, o); err == nil {
			err = printErr
		}
	}
	return err
}

// chosen are the units to rehearse with.
func (f *rehearseFlags) chosen(b *bench.Bench) []string {
	units := f.units
	if len(units) == 0 {
		units = []string{"healthy", "cracked-capacitor"}
		if b.Simulated() {
			units = append([]string{b.Simulation.Unit}, units...)
		}
	}
	var once []string
	for _, unit := range units {
		if !slices.Contains(once, unit) {
			once = append(once, unit)
		}
	}
	return once
}

// begins is when the run is taken to begin, in the bench's zone.
func (f *rehearseFlags) begins(b *bench.Bench) (time.Time, error) {
	usual := time.Now()
	if b.Simulated() {
		usual = b.Simulation.Start
	}
	usual = usual.In(zone(b))
	if f.start == "" {
		return usual, nil
	}
	if ofDay, err := time.Parse("15:04", f.start); err == nil {
		year, month, day := usual.Date()
		at := time.Date(year, month, day, ofDay.Hour(), ofDay.Minute(), 0, 0, usual.Location())
		if at.Before(usual) {
			at = time.Date(year, month, day+1, ofDay.Hour(), ofDay.Minute(), 0, 0, usual.Location())
		}
		return at, nil
	}
	for _, form := range []string{"2006-01-02 15:04", "2006-01-02T15:04", time.RFC3339} {
		if at, err := time.ParseInLocation(form, f.start, usual.Location()); err == nil {
			return at.In(usual.Location()), nil
		}
	}
	return time.Time{}, usage{fmt.Errorf("--start %q: it is a time of day, as 22:15, or a date and time, as \"2026-01-14 22:15\"", f.start)}
}

// instrumentTime is what the instruments take of each cycle: from the logbook's earlier runs or, where there are none,
// what their serial line takes to carry the records.
func instrumentTime(b *bench.Bench, path string) (runner.InstrumentTime, instrumentTimeJSON, error) {
	if b.Simulated() {
		return runner.InstrumentTime{}, instrumentTimeJSON{Source: "simulated instruments take no time"}, nil
	}
	known := func(t runner.InstrumentTime, source string) (runner.InstrumentTime, instrumentTimeJSON, error) {
		on := t.On.Seconds()
		j := instrumentTimeJSON{OffSeconds: []restOverrunJSON{}, OnSeconds: &on, Source: source}
		for _, o := range t.Off {
			j.OffSeconds = append(j.OffSeconds, restOverrunJSON{o.Rest.Seconds(), o.By.Seconds()})
		}
		return t, j, nil
	}
	if _, err := os.Stat(path); err == nil {
		book, err := logbook.OpenReadOnly(path)
		if err != nil {
			return runner.InstrumentTime{}, instrumentTimeJSON{}, err
		}
		defer book.Close()
		t, err := runner.InstrumentTimeOf(book, b)
		if err != nil {
			return t, instrumentTimeJSON{}, err
		}
		if t.Cycles > 0 {
			return known(t, fmt.Sprintf("%s cycles of earlier runs with these instruments, in %s", failrate.Count(t.Cycles), path))
		}
	}
	if wire := runner.CapturePlan(b, nil, 0).TransferSeconds; wire > 0 {
		return known(runner.InstrumentTime{On: time.Duration(wire * float64(time.Second))}, fmt.Sprintf("the records over the scope's serial line alone, since no earlier run with these instruments is in %s", path))
	}
	return runner.InstrumentTime{}, instrumentTimeJSON{Source: fmt.Sprintf("no earlier run with these instruments is in %s", path)}, nil
}

// rehearser is one script to be rehearsed.
type rehearser struct {
	flags   rehearseFlags
	o       options
	bench   *bench.Bench
	program runner.Program
	start   time.Time
	takes   runner.InstrumentTime
	log     io.Writer
}

// all rehearses with each unit, side by side.
func (r *rehearser) all(ctx context.Context, units []string) ([]runner.Rehearsal, error) {
	found, errs := make([]runner.Rehearsal, len(units)), make([]error, len(units))
	print := newProgressPrinter(r.log, r.o.json)
	print.printed = time.Now()
	var running sync.WaitGroup
	for i, unit := range units {
		running.Go(func() {
			found[i], errs[i] = r.with(ctx, unit, &rehearsalProgress{print, unit, r.flags.log})
		})
	}
	running.Wait()
	print.finish()
	var done []runner.Rehearsal
	for _, f := range found {
		if f.State != "" {
			done = append(done, f)
		}
	}
	return done, together(units, errs)
}

// together is what went wrong, and with which units where it did not with all.
func together(units []string, errs []error) error {
	var all []error
	for i, err := range errs {
		if err == nil || slices.ContainsFunc(errs[:i], func(e error) bool { return e != nil && e.Error() == err.Error() }) {
			continue
		}
		var with []string
		for j, e := range errs {
			if e != nil && e.Error() == err.Error() {
				with = append(with, units[j])
			}
		}
		if len(with) < len(units) {
			err = fmt.Errorf("with the simulated unit %s: %w", failrate.List(with), err)
		}
		all = append(all, err)
	}
	return errors.Join(all...)
}

// with rehearses with one unit.
func (r *rehearser) with(ctx context.Context, unit string, watch runner.Observer) (found runner.Rehearsal, err error) {
	dir, err := os.MkdirTemp("", "ringup-rehearsal-")
	if err != nil {
		return found, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	book, err := logbook.Open(filepath.Join(dir, "logbook.db"))
	if err != nil {
		return found, err
	}
	defer func() { err = errors.Join(err, book.Close()) }()
	book.SetWaveformBudget(0)
	at, err := r.stand(ctx, unit, watch)
	if err != nil {
		return found, err
	}
	defer func() { err = errors.Join(err, at.close()) }()

	rehearsing := runner.NewRehearsing(at.clock, runner.RehearsalOptions{
		Unit: unit, AtMost: r.flags.atMost, MostCycles: r.flags.mostCycles, Answers: r.flags.answers, AnswerAfter: r.flags.answerAfter,
	})
	session, err := runner.Open(rehearsing.Meter(at.rig), book, nil, runner.Options{
		Program: r.program, Clock: at.clock, Observer: runner.Observers{rehearsing, watch}, Zone: r.start.Location(),
		Seed: r.bench.Simulation.Seed, Version: version(),
	})
	if err != nil {
		return found, err
	}
	run := session.Context(rehearsing.Begin(ctx, session))
	err = scripts.Run(run, scripts.Script{Name: r.program.Name, Source: r.program.Text}, facts(r.bench), host{rehearsing}, io.Discard)
	var stopped error
	if ctx.Err() != nil {
		rehearsing.Leave()
		stopped = errStopped
	}
	found, err = rehearsing.End(err)
	return found, errors.Join(stopped, err)
}

// stand sets up the simulated bench: the one of the bench file or, for a real one, one that stands in for it.
func (r *rehearser) stand(ctx context.Context, unit string, watch runner.Observer) (*standing, error) {
	if r.bench.Simulated() {
		b := *r.bench
		b.Simulation.Unit = unit
		return stand(ctx, &b, r.o, past{now: r.start}, 0, watch)
	}
	in := runner.NewStandIn(r.bench, unit, r.start, r.takes)
	s := &standing{clock: in.Clock()}
	var err error
	if s.sim, err = simulate(in.Simulated, in.SimulatedClock(), past{}); err != nil {
		return nil, err
	}
	addresses, err := serveSimulated(s.sim)
	if err != nil {
		return nil, errors.Join(err, s.close())
	}
	opened, err := runner.OpenRig(ctx, in.Simulated, addresses, "", func(drivers.Exchange) {})
	if err != nil {
		return nil, errors.Join(err, s.close())
	}
	s.rig = in.Rig(opened)
	return s, nil
}

// rehearsalProgress tells a person that something goes on, and what the script logs if that is wanted.
type rehearsalProgress struct {
	print *progressPrinter
	unit  string
	log   bool
}

// Observe implements runner.Observer.
func (p *rehearsalProgress) Observe(e runner.Event) {
	p.print.mu.Lock()
	defer p.print.mu.Unlock()
	switch {
	case e.Kind == runner.Logged && p.log:
		p.print.say(fmt.Sprintf("%s  with %s: %s", e.At.Format("Mon 15:04"), p.unit, e.Reason))
	case e.Kind == runner.CycleDone && !p.print.quiet && time.Since(p.print.printed) >= p.print.every:
		p.print.line([]string{fmt.Sprintf("rehearsing with %s: %d cycles, %s", p.unit, e.Progress.Done, e.At.Format("Mon 15:04"))})
	}
}
