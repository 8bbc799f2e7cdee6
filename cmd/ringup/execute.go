package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"time"

	"ringup/drivers"
	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
	"ringup/scripts"
)

// readScript reads a script file. A name that is no file may be one of the shipped library's.
func readScript(name string) (runner.Program, error) {
	text, err := os.ReadFile(name)
	if err == nil {
		return runner.Program{Name: name, Text: string(text)}, nil
	}
	base := strings.TrimSuffix(path.Base(filepath.ToSlash(name)), ".lua") + ".lua"
	if shipped, libErr := readLibrary(base); libErr == nil && errors.Is(err, fs.ErrNotExist) {
		return shipped, nil
	}
	return runner.Program{}, usage{fmt.Errorf("%w; the library has %s", err, strings.Join(libraryNames(), ", "))}
}

// readLibrary reads a shipped script.
func readLibrary(name string) (runner.Program, error) {
	text, err := fs.ReadFile(scripts.Library, "library/"+name)
	return runner.Program{Name: name, Text: string(text)}, err
}

func libraryNames() []string {
	var names []string
	entries, _ := fs.ReadDir(scripts.Library, "library") // embedded: cannot fail
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}

// execution is one run from its first call to the supply's last off.
type execution struct {
	standing   *standing
	book       *logbook.Book
	program    runner.Program
	unfinished *logbook.Run
	watch      runner.Observer
	seed       uint64
	started    func(*runner.Session) // told of the session before the script begins; may be nil
	interrupt  bool                  // the end of ctx leaves the run for later instead of stopping it
}

// errDaemonStopped is why a daemon's run is left, whatever stopped the daemon.
var errDaemonStopped = fmt.Errorf("%w (the daemon was stopped)", errLeft)

// do executes the script and returns the run. The supply is off and read back when it returns, or the error
// holds a *runner.NotOffError.
func (e *execution) do(ctx context.Context) (logbook.Run, error) {
	s, err := runner.Open(e.standing.rig, e.book, e.unfinished, runner.Options{
		Program: e.program, Clock: e.standing.clock, Observer: e.watch, OffSince: e.standing.offSince,
		Zone: zone(e.standing.rig.Bench), Seed: e.seed, Version: version(),
	})
	if err != nil {
		return logbook.Run{}, err
	}
	if e.started != nil {
		e.started(s)
	}
	run := s.Context(ctx)
	err = scripts.Run(run, scripts.Script{Name: e.program.Name, Source: e.program.Text}, facts(e.standing.rig.Bench), host{s}, io.Discard)
	var unwritten *logbook.Error
	if errors.As(err, &unwritten) {
		return s.Run(), errors.Join(err, s.Interrupt("the logbook cannot be written"))
	}
	if why := context.Cause(ctx); why != nil && (e.interrupt || errors.Is(why, errLeft)) {
		if e.interrupt {
			why = errDaemonStopped
		}
		return s.Run(), errors.Join(fmt.Errorf("%w: run %d is %w; give the same command again", errStopped, s.Run().ID, why), s.Interrupt(why.Error()))
	}
	if ctx.Err() != nil {
		s.Stop()
	}
	if s.Stopped() {
		err = errStopped // what the script said about being cut off says nothing new
	}
	err = s.End(err)
	e.standing.offSince = s.OffSince()
	return s.Run(), err
}

// zone is the bench's: a simulated night has one of its own.
func zone(b *bench.Bench) *time.Location {
	if b.Simulated() {
		return b.Simulation.Start.Location()
	}
	return time.Local
}

// host serves a script's calls from the session, and tells which errors a script may catch: only those that
// leave the run as it was. Everything else ends the script at once.
type host struct{ session caller }

// caller is a session, or what watches one.
type caller interface {
	Call(ctx context.Context, call string, arguments json.RawMessage, line int) (json.RawMessage, error)
}

func (h host) Call(ctx context.Context, call string, args json.RawMessage, line int) (json.RawMessage, error) {
	result, err := h.session.Call(ctx, call, args, line)
	var limit *drivers.LimitError
	var byHand *drivers.SetByHandError
	var input *failrate.InputError
	switch {
	case err == nil:
		return result, nil
	case errors.As(err, &input):
		return nil, &scripts.CallError{Kind: "argument", Message: err.Error()}
	case errors.As(err, &limit), errors.As(err, &byHand):
		return nil, &scripts.CallError{Kind: "limit", Message: err.Error()}
	default:
		return nil, scripts.Fatal{Err: err}
	}
}

func facts(b *bench.Bench) scripts.Facts {
	return scripts.Facts{
		Unit: scripts.UnitFacts{Name: b.Unit.Name, ClockHertz: b.Unit.ClockHertz, MaxVolts: b.Unit.MaxVolts, MaxAmps: b.Unit.MaxAmps},
		Bench: scripts.BenchFacts{
			Simulated: b.Simulated(), StartWithinSeconds: b.Expect.StartWithinSeconds, FrequencyWithin: b.Expect.FrequencyWithin,
			ClockProbe: b.Clock.Loads, Lamp: b.Lamp != nil, Thermometer: b.Thermometer != nil,
		},
	}
}

// checkScript compiles a script before anything is touched; a mistake in it is the user's to mend.
func checkScript(p runner.Program) error {
	err := scripts.Check(scripts.Script{Name: p.Name, Source: p.Text})
	var bad *scripts.ScriptError
	if errors.As(err, &bad) {
		return usage{err}
	}
	return err
}
