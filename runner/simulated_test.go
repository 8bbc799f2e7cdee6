package runner_test

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/logbook"
	"ringup/runner/simbench"
)

// benchText is a bench whose probes leave the crystal alone. The pick-up coil sees the crystal's current, of which a
// unit with an open load capacitor has less although its clock is fine: hence the low amplitude_min.
//
// start_within is what the logger's firmware allows, seen from the scope. The firmware waits 65.54 ms from the release
// of its reset, some 0.2 ms after the rail's rise, for a clock it can count: 0.45 of the largest current the stage can
// drive, and 1024 periods. The scope times the start to 90 % of the steady amplitude, in these units 2.2 ms later (the
// last stretch of a slow growth; 0.9 ms for the sleepy crystal, which wakes as it grows).
const benchText = `
[unit]
name      = "river-level logger 0231"
clock     = "7.3728 MHz"
max_volts = "3.9 V"
max_amps  = "150 mA"
[supply]
address = "sim:supply"
[scope]
address = "sim:scope"
[thermometer]
address = "sim:thermometer"
[probes.rail]
channel     = 1
attenuation = 10
[probes.clock]
channel     = 2
attenuation = 20
loads       = "near field"
[expect]
start_within  = "68 ms"
amplitude_min = "6 %"
`

// nightBegins is when the virtual clock of every test starts.
var nightBegins = time.Date(2026, 1, 14, 18, 30, 0, 0, time.UTC)

// simulation is a whole simulated bench: unit, instruments on their wires, logbook.
type simulation struct {
	unit     string
	celsius  float64       // of still air
	rested   time.Duration // how long the unit has been off when the night begins
	seed     uint64
	text     string  // bench file; empty: benchText
	byHand   float64 // volts to which the supply is really set by hand, with a relay
	link     string  // of simbench; empty: pty, or tcp where there are none
	dialects string  // folder of dialect files; empty: the built-in ones
	watch    runner.Observer
	clock    *runner.VirtualClock
	sim      *simbench.Bench
	rig      *runner.Rig
	book     *logbook.Book
}

// simulate sets the bench up; all of it is taken down with the test.
func simulate(t testing.TB, s simulation) *simulation {
	t.Helper()
	b, err := bench.Parse("bench.toml", []byte(cmp.Or(s.text, benchText)))
	if err != nil {
		t.Fatal(err)
	}
	s.clock = runner.NewVirtualClock(nightBegins, 0)
	sim, err := simbench.New(simbench.Options{
		Unit: s.unit, Seed: s.seed, Clock: s.clock, OffSince: nightBegins.Add(-s.rested),
		Climate:    simbench.Climate{MeanCelsius: s.celsius, Still: true},
		ClockProbe: simbench.Probe{Node: simbench.NodeNearField, Attenuation: b.Clock.Attenuation}, LinkDir: t.TempDir(), SetByHandVolts: s.byHand,
	})
	if err != nil {
		t.Fatal(err)
	}
	wires, err := sim.Serve(cmp.Or(s.link, simbench.PTY))
	if s.link == "" && errors.Is(err, errors.ErrUnsupported) {
		wires, err = sim.Serve("tcp")
	}
	if err != nil {
		t.Fatal(err)
	}
	s.rig, err = runner.OpenRig(t.Context(), b, map[string]string{
		"sim:supply": wires.Supply, "sim:scope": wires.Scope, "sim:thermometer": wires.Thermometer, "sim:switch": wires.Switch,
	}, s.dialects, nil)
	if err != nil {
		t.Fatal(err)
	}
	if s.book, err = logbook.Open(filepath.Join(t.TempDir(), "logbook.db")); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := errors.Join(s.book.Close(), s.rig.Close(), sim.Close()); err != nil {
			t.Error(err)
		}
	})
	s.sim = sim
	return &s
}

// open begins a run, or resumes the unfinished one.
func (s *simulation) open(t testing.TB, unfinished *logbook.Run) *runner.Session {
	t.Helper()
	session, err := runner.Open(s.rig, s.book, unfinished, runner.Options{
		Program: runner.Program{Name: "test"}, Clock: s.clock, OffSince: nightBegins.Add(-s.rested), Zone: time.UTC, Seed: s.seed, Observer: s.watch,
	})
	if err != nil {
		t.Fatal(err)
	}
	return session
}

// soak are the arguments of a soak call, as a script's call arrives.
type soak struct {
	Title  string    `json:"title"`
	Volts  []float64 `json:"volts"`
	Cycles int       `json:"cycles"`
	Order  string    `json:"order"`
	Rest   float64   `json:"rest"`
	Watch  float64   `json:"watch"`
}

func call(ctx context.Context, s *runner.Session, name string, arguments any) (json.RawMessage, error) {
	raw, err := json.Marshal(arguments)
	if err != nil {
		return nil, fmt.Errorf("arguments of %s: %w", name, err)
	}
	return s.Call(ctx, name, raw, 1)
}

// cycles reads a run's cycles back from the logbook.
func (s *simulation) cycles(t testing.TB, run int64) []logbook.Cycle {
	t.Helper()
	var all []logbook.Cycle
	err := s.book.EachCycle(run, func(c logbook.Cycle) error {
		all = append(all, c)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}
