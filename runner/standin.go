package runner

import (
	"context"
	"math"
	"time"

	"ringup/drivers"
	"ringup/runner/bench"
)

// StandIn lets the simulated bench take the place of a real one's instruments and unit, so that a script can be
// rehearsed there. The simulated unit is made for a clock, a cell and an allowed time of its own. Like a transformer
// between the two, StandIn scales volts, the time of a start, and the clock's frequency, each by one factor: then a start
// takes the same part of the time that the bench file allows, at the same part of its max_volts. The lamp blinks as it
// does. A rest lasts as long as is asked for, and then the unit is discharged: how long a unit takes for that, only it
// knows.
type StandIn struct {
	// Simulated is the bench to be opened with OpenRig, and to simulate.
	Simulated *bench.Bench
	shown     *bench.Bench // what the run sees
	clock     *standInClock
	scale     standInScale
	takes     InstrumentTime
}

// standInScale is the real bench's by the simulated one's.
type standInScale struct{ volts, seconds, hertz float64 }

// What the simulated unit is made for, and what a good start of it looks like: those of the simulated bench's own bench
// file, with the pick-up coil that does not load it.
const (
	standInHertz        = 7.3728e6
	standInVolts        = 3.9
	standInAmps         = 150e-3
	standInStartSeconds = 68e-3
	standInAmplitude    = 0.06 // of the set volts
	standInAttenuation  = 20   // of the coil
)

// The simulated unit's supply current with the leads open, hung without its clock, and running.
var standInOff, standInHung, standInRunning = [2]float64{0, 0.1e-3}, [2]float64{5.5e-3, 7e-3}, [2]float64{2.5e-3, 3.7e-3}

// NewStandIn prepares a rehearsal of b that begins at start. takes is the time that the real instruments take; zero
// where it is not known. No instrument is touched.
func NewStandIn(b *bench.Bench, unit string, start time.Time, takes InstrumentTime) *StandIn {
	s := &StandIn{takes: takes, scale: standInScale{
		volts:   b.Unit.MaxVolts / standInVolts,
		seconds: b.Expect.StartWithinSeconds / standInStartSeconds,
		hertz:   b.Unit.ClockHertz / standInHertz,
	}}
	s.clock = &standInClock{VirtualClock: NewVirtualClock(start, 0), simulated: NewVirtualClock(start, 0), scale: s.scale.seconds, off: start}

	shown := *b
	shown.Unit.MaxAmps = max(b.Unit.MaxAmps, standInAmps)
	shown.Rail = bench.Probe{Channel: 1, Attenuation: 10}
	shown.Clock = bench.Probe{Channel: 2, Attenuation: standInAttenuation, Loads: bench.NearField}
	if b.Lamp != nil {
		shown.Lamp = &bench.Probe{Channel: 3, Attenuation: 1}
	}
	shown.Expect.AmplitudeMinVolts, shown.Expect.AmplitudeMinFraction = 0, standInAmplitude
	shown.Expect.FrequencyWithin, shown.Expect.UseAlias, shown.Expect.LampHertz = 0.01, false, 0
	shown.Expect.OffAmps, shown.Expect.HungAmps, shown.Expect.RunningAmps = [2]float64{}, [2]float64{}, [2]float64{}
	if !b.HasScope() {
		shown.Expect.OffAmps, shown.Expect.HungAmps, shown.Expect.RunningAmps = standInOff, standInHung, standInRunning
	}
	shown.Expect.ResidualMaxVolts = max(b.Expect.ResidualMaxVolts, 0.1*s.scale.volts) // of the same scale as the rail
	s.shown = &shown

	simulated := shown
	simulated.Unit.ClockHertz, simulated.Unit.MaxVolts, simulated.Unit.MaxAmps = standInHertz, standInVolts, standInAmps
	simulated.Simulation.Unit, simulated.Simulation.Start = unit, start
	instrument := func(role string) bench.Instrument {
		return bench.Instrument{Address: "sim:" + role, Dialect: "auto", Channel: 1}
	}
	if b.Switch != nil {
		simulated.Switch = &bench.Switch{Instrument: instrument("switch")}
		simulated.SetByHandVolts = b.SetByHandVolts / s.scale.volts
	} else {
		simulated.Supply = instrument("supply")
	}
	if b.HasScope() {
		simulated.Scope = instrument("scope")
	}
	if b.Thermometer != nil {
		t := instrument("thermometer")
		simulated.Thermometer = &t
	}
	s.Simulated = &simulated
	return s
}

// Clock is the run's, SimulatedClock that of the simulated bench.
func (s *StandIn) Clock() Clock                  { return s.clock }
func (s *StandIn) SimulatedClock() *VirtualClock { return s.clock.simulated }

// Rig is the simulated bench, opened, as the run sees it: with the real bench's volts, times and clock.
func (s *StandIn) Rig(opened *Rig) *Rig {
	r := &Rig{Bench: s.shown, Supply: &standInSupply{Supply: opened.Supply, standIn: s}, Thermometer: opened.Thermometer}
	if opened.Scope != nil {
		r.Scope = &standInScope{Scope: opened.Scope, standIn: s}
	}
	return r
}

// standInClock moves the simulated bench's clock along: as fast by itself, and scaled while a start is watched.
type standInClock struct {
	*VirtualClock
	simulated *VirtualClock
	scale     float64   // seconds of the run for one of the simulated bench, in a start
	starting  bool      // the unit has been switched on and the start is watched
	powered   bool      // the unit has been switched on
	off       time.Time // when it was switched off
}

// discharging is how long the simulated unit takes until nothing is left of its supply, and some more.
const discharging = 10 * time.Second

// Sleep implements Clock.
func (c *standInClock) Sleep(ctx context.Context, d time.Duration) error {
	if err := c.VirtualClock.Sleep(ctx, d); err != nil {
		return err
	}
	if c.starting {
		d = time.Duration(math.Ceil(float64(d) / c.scale)) // never a moment short of a record's end
	}
	return c.simulated.Sleep(ctx, d)
}

// standInSupply is the simulated supply or relay.
type standInSupply struct {
	drivers.Supply
	standIn *StandIn
}

// Limit implements drivers.Supply: the simulated bench has its own limits since it was opened.
func (s *standInSupply) Limit(context.Context, float64, float64) error { return nil }

// SetVolts implements drivers.Supply.
func (s *standInSupply) SetVolts(ctx context.Context, volts float64) error {
	if b := s.standIn.shown; b.Switch != nil && !sameVolts(volts, b.SetByHandVolts) {
		return &drivers.SetByHandError{Asked: volts, Set: b.SetByHandVolts}
	}
	return s.Supply.SetVolts(ctx, volts/s.standIn.scale.volts)
}

// On implements drivers.Supply. What the instruments do in a cycle before it takes its time here.
func (s *standInSupply) On(ctx context.Context) error {
	clock := s.standIn.clock
	if err := clock.Sleep(ctx, s.standIn.takes.OffAfter(clock.Now().Sub(clock.off))); err != nil {
		return err
	}
	if err := s.Supply.On(ctx); err != nil {
		return err
	}
	clock.starting, clock.powered = true, true
	return nil
}

// Off implements drivers.Supply.
func (s *standInSupply) Off(ctx context.Context) error {
	clock := s.standIn.clock
	clock.starting = false
	if err := s.Supply.Off(ctx); err != nil || !clock.powered {
		return err
	}
	clock.powered, clock.off = false, clock.Now()
	return clock.simulated.Sleep(ctx, discharging)
}

// Read implements drivers.Supply. The first one comes when the start has been watched. What the instruments do in a cycle
// with the output on takes its time here.
func (s *standInSupply) Read(ctx context.Context) (drivers.SupplyReading, error) {
	if clock := s.standIn.clock; clock.starting {
		clock.starting = false
		if err := clock.Sleep(ctx, s.standIn.takes.On); err != nil {
			return drivers.SupplyReading{}, err
		}
	}
	r, err := s.Supply.Read(ctx)
	r.Volts *= s.standIn.scale.volts
	return r, err
}

// standInScope is the simulated scope.
type standInScope struct {
	drivers.Scope
	standIn *StandIn
	seconds float64 // of the record armed last: the run's by the simulated bench's
}

// Arm implements drivers.Scope.
func (s *standInScope) Arm(ctx context.Context, setup drivers.RecordSetup) error {
	in := s.standIn
	switch {
	case setup.Peak: // the start, while the supply is still off
		s.seconds = in.scale.seconds
	case setup.Channels[0].Number == in.shown.Clock.Channel: // periods of the clock
		s.seconds = 1 / in.scale.hertz
	default: // what is left on the rail, or the lamp
		s.seconds = 1
	}
	setup.StartSeconds /= s.seconds
	setup.WindowSeconds /= s.seconds
	channels := make([]drivers.ChannelSetup, len(setup.Channels))
	for i, c := range setup.Channels {
		c.LowVolts, c.HighVolts = c.LowVolts/in.scale.volts, c.HighVolts/in.scale.volts
		channels[i] = c
	}
	setup.Channels = channels
	if setup.Trigger != nil {
		trigger := *setup.Trigger
		trigger.LevelVolts /= in.scale.volts
		setup.Trigger = &trigger
	}
	return s.Scope.Arm(ctx, setup)
}

// Fetch implements drivers.Scope.
func (s *standInScope) Fetch(ctx context.Context, channel int) (drivers.Waveform, error) {
	w, err := s.Scope.Fetch(ctx, channel)
	if err != nil {
		return w, err
	}
	volts := s.standIn.scale.volts
	w.StartSeconds, w.StepSeconds = w.StartSeconds*s.seconds, w.StepSeconds*s.seconds
	w.LowVolts, w.HighVolts = w.LowVolts*volts, w.HighVolts*volts
	plain := len(w.Min) > 0 && &w.Min[0] == &w.Max[0] // one slice for both
	for i := range w.Min {
		w.Min[i] *= volts
		if !plain {
			w.Max[i] *= volts
		}
	}
	return w, nil
}
