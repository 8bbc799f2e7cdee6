// Package simbench is the simulated bench: a supply, an oscilloscope, a thermometer and, between them, a unit with a
// crystal oscillator. The instruments answer SCPI on pseudo-terminals or TCP sockets of their own, so that the
// measuring side reaches them exactly as it reaches real ones; this package is the other end of the wire.
//
// The unit follows package crystal. The scope samples the voltages of that model and knows nothing of what anyone
// concludes from them.
//
// Time is the clock handed in and nothing else, so a bench on a virtual clock passes a night in seconds. All chance is
// a function of the seed and that time: the same seed at the same moment yields the same bytes, however many messages
// came before. (Only the wire faults for tests, which delay replies, know real time, as link time-outs do.)
package simbench

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"ringup/runner/crystal"
)

// Clock tells the bench's time; it may be virtual. It must be safe for concurrent use.
type Clock interface{ Now() time.Time }

// Options describe a bench.
type Options struct {
	Unit       string // one of crystal.Units
	Seed       uint64
	Clock      Clock
	Climate    Climate
	ClockProbe Probe
	LampProbe  bool // a photodiode looks at the status lamp, on channel 3
	// NoUnit leaves the bench leads open, for proving the instruments themselves.
	NoUnit bool
	// OnCompensation lists the scope channels whose probes are clipped to the scope's compensation terminal.
	OnCompensation []int
	// Baud is the speed of the instruments' own serial ports. At any other speed of the line a pseudo-terminal carries
	// garbage, as a wire does. Zero: they follow the line's speed.
	Baud int
	// SetByHandVolts makes a bench whose supply has no remote control: it is set to so many volts by hand, and a switching
	// instrument has a relay in its lead. Zero: the supply has remote control, and there is no relay.
	SetByHandVolts float64
	// OffSince is when the supply was last switched off, for a bench that goes on where an earlier one stopped; zero
	// means a day ago. OffVolts is what it had been set to; zero means the unit's 3.6 V.
	OffSince time.Time
	OffVolts float64
	// LinkDir is a folder in which Serve gives each pseudo-terminal a stable name, which survives its loss and return
	// (Faults.Hangup and Faults.Plug). Empty: addresses name the pseudo-terminals themselves.
	LinkDir string
	// Wires are the instruments' wires of another kind than Serve knows.
	Wires map[Instrument]Wire
}

// cellVolts is the unit's fresh cell.
const cellVolts = 3.6

// Bench is a simulated bench. It is safe for concurrent use.
type Bench struct {
	clock   Clock
	linkDir string
	others  map[Instrument]Wire
	baud    int
	faults  *Faults

	mu          sync.Mutex // guards everything behind the instruments' front panels
	world       *world
	supply      *supply
	scope       *scope
	instruments map[Instrument]*instrument

	wires  sync.Mutex // guards ports and what is in them
	ports  map[Instrument]*port
	closed bool
	served sync.WaitGroup // goroutines that serve a wire
}

// New makes a bench with the supply off and nothing connected to its instruments. The error names what is allowed.
func New(o Options) (*Bench, error) {
	if o.Clock == nil {
		return nil, errors.New("simulated bench: no clock given")
	}
	if err := o.ClockProbe.check(); err != nil {
		return nil, fmt.Errorf("simulated bench: clock probe: %w", err)
	}
	unit, err := crystal.NewUnit(o.Unit)
	if err != nil {
		return nil, fmt.Errorf("simulated bench: %w", err)
	}
	now := o.Clock.Now()
	if o.OffSince.IsZero() {
		o.OffSince = now.Add(-24 * time.Hour)
	}
	if o.OffSince.After(now) {
		return nil, fmt.Errorf("simulated bench: off since %s, which is later than the bench clock's %s",
			o.OffSince.Format(time.RFC3339), now.Format(time.RFC3339))
	}
	if o.OffVolts == 0 {
		o.OffVolts = cellVolts
	}
	b := &Bench{clock: o.Clock, linkDir: o.LinkDir, others: o.Wires, baud: o.Baud, ports: map[Instrument]*port{}}
	b.faults = &Faults{bench: b, wires: map[Instrument]*wireFaults{}}
	b.world = newWorld(o, unit, o.OffSince, o.OffVolts)
	b.scope = newScope(b.world, o)
	b.supply = newSupply(b.world, o.Seed, b.scope.catchUp)
	b.instruments = map[Instrument]*instrument{
		Supply:      b.supply.instrument,
		Scope:       b.scope.instrument,
		Thermometer: newThermometer(b.world, o.Seed),
	}
	if o.SetByHandVolts > 0 {
		b.supply.setVolts, b.supply.limitAmps = o.SetByHandVolts, supplyMaxAmps
		delete(b.instruments, Supply)
		b.instruments[Switch] = newRelays(b.supply, o.Seed)
	}
	for _, channel := range o.OnCompensation {
		if err := b.scope.clip(channel, ToCompensation); err != nil {
			return nil, fmt.Errorf("simulated bench: %w", err)
		}
	}
	for name := range b.instruments {
		b.faults.wires[name] = &wireFaults{}
	}
	return b, nil
}

// Hand is the door for a person's actions on the unit.
func (b *Bench) Hand() *Hand { return &Hand{bench: b} }

// Faults is the door for tests that want a bench to misbehave.
func (b *Bench) Faults() *Faults { return b.faults }

// SupplyOutput tells whether the supply is switched through to the unit's leads, by its output or by the relay, and the
// voltage set, for the assertions of tests.
func (b *Bench) SupplyOutput() (on bool, volts float64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.supply.on, b.supply.setVolts
}

// answer lets one instrument execute a line and returns its reply, nil when there is none.
func (b *Bench) answer(name Instrument, line string) []byte {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.instruments[name].execute(line, b.clock.Now())
}
