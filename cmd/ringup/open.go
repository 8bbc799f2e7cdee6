package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"ringup/drivers"
	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/logbook"
	"ringup/runner/simbench"
)

// standing is a bench ready to run on: its instruments open, the supply read back as off.
type standing struct {
	rig   *runner.Rig
	clock runner.Clock
	sim   *simbench.Bench // nil on a real bench
	// offSince is when the unit was last switched off, if that is known: from the run before on the same bench, or on
	// the simulated bench from the logbook. On a real bench the logbook does not say: whoever was killed may have
	// switched on once more.
	offSince time.Time
}

// past is where an earlier run left a simulated bench.
type past struct {
	now      time.Time // zero: the bench file's start
	offSince time.Time
	offVolts float64
}

// leftOff reads from the logbook where an unfinished run stands.
func leftOff(book *logbook.Book, run *logbook.Run) (past, error) {
	if run == nil {
		return past{}, nil
	}
	p := past{now: run.Started}
	steps, err := book.Steps(run.ID)
	if err != nil || len(steps) == 0 {
		return p, err
	}
	p.now = steps[len(steps)-1].Ended
	return p, book.EachCycle(run.ID, func(c logbook.Cycle) error {
		p.offSince, p.offVolts = c.PoweredOff, c.SetVolts
		return nil
	})
}

// stand opens a bench's instruments. For sim: addresses it first sets the simulated bench up, on a clock of
// virtual time that runs pace times as fast as the real one (0: as fast as it can).
func stand(ctx context.Context, b *bench.Bench, o options, p past, pace float64, watch runner.Observer) (*standing, error) {
	s := &standing{clock: runner.WallClock{}}
	addresses := map[string]string{}
	if b.Simulated() {
		start := p.now
		if start.IsZero() {
			start = b.Simulation.Start
		}
		virtual := runner.NewVirtualClock(start.In(zone(b)), pace)
		s.clock, s.offSince = virtual, p.offSince
		var err error
		if s.sim, err = simulate(b, virtual, p); err != nil {
			return nil, usage{fmt.Errorf("%s: %w", b.Where("simulation.unit"), err)}
		}
		if addresses, err = serveSimulated(s.sim); err != nil {
			return nil, err
		}
	}
	var err error
	s.rig, err = runner.OpenRig(ctx, b, addresses, dialectFolder(o), func(e drivers.Exchange) {
		watch.Observe(runner.Event{Kind: runner.Exchanged, At: s.clock.Now(), Exchange: e})
	})
	if err != nil {
		return nil, errors.Join(err, s.close())
	}
	return s, nil
}

func (s *standing) close() error {
	if s == nil {
		return nil
	}
	var err error
	if s.rig != nil {
		err = s.rig.Close()
	}
	if s.sim != nil {
		err = errors.Join(err, s.sim.Close())
	}
	return err
}

// simulate makes the simulated bench that a bench file describes.
func simulate(b *bench.Bench, clock simbench.Clock, p past) (*simbench.Bench, error) {
	return simbench.New(simulation(b, clock, p))
}

func simulation(b *bench.Bench, clock simbench.Clock, p past) simbench.Options {
	probe := simbench.Probe{Farads: b.Clock.Farads, Ohms: b.Clock.Ohms, Attenuation: b.Clock.Attenuation}
	switch b.Clock.Loads {
	case bench.CrystalInput:
		probe.Node = simbench.NodeA
	case bench.CrystalOutput:
		probe.Node = simbench.NodeB
	case bench.Buffered:
		probe.Node = simbench.NodeBuffered
	case bench.NearField:
		probe.Node = simbench.NodeNearField
	}
	return simbench.Options{
		Unit: b.Simulation.Unit, Seed: b.Simulation.Seed, Clock: clock, ClockProbe: probe, LampProbe: b.Lamp != nil,
		Climate: simbench.Climate{
			MeanCelsius: b.Simulation.Mean, SwingCelsius: b.Simulation.Swing, ColdestAt: b.Simulation.ColdestAt, Zone: b.Simulation.Start.Location(),
		},
		OffSince: p.offSince, OffVolts: p.offVolts, SetByHandVolts: b.SetByHandVolts,
	}
}

// serveSimulated puts the simulated instruments on pseudo-terminals, or on TCP where there are none.
func serveSimulated(s *simbench.Bench) (map[string]string, error) {
	a, err := s.Serve("pty")
	if errors.Is(err, simbench.ErrNoPTY) {
		a, err = s.Serve("tcp")
	}
	return map[string]string{"sim:supply": a.Supply, "sim:scope": a.Scope, "sim:thermometer": a.Thermometer, "sim:switch": a.Switch}, err
}

func dialectFolder(o options) string {
	if o.dialects != "" {
		return o.dialects
	}
	beside := filepath.Join(filepath.Dir(o.bench), "dialects")
	if info, err := os.Stat(beside); err == nil && info.IsDir() {
		return beside
	}
	return ""
}

// loadBench reads the bench file; a mistake in it is the user's to mend.
func loadBench(path string) (*bench.Bench, error) {
	b, err := bench.Load(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil, usage{fmt.Errorf("there is no bench file %s; give one with -b, have one proposed with: ringup find -o bench.toml, or see a simulated bench at work with: ringup demo", path)}
	}
	if err != nil {
		return nil, usage{err}
	}
	return b, nil
}

// openLogbook opens the logbook for writing, making its folder if there is none.
func openLogbook(path string) (*logbook.Book, error) {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return nil, err
	}
	return logbook.Open(path)
}
