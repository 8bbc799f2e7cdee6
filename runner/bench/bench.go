// Package bench reads the bench file: which instruments are wired to which unit, what limits hold, what the
// probes touch and what a good start looks like.
package bench

import (
	"io"
	"os"
	"strings"
	"time"
)

// Bench is what a bench file says. All quantities are SI.
type Bench struct {
	Path string // as given
	Text string // the file itself, kept in the logbook with every run

	Unit   Unit
	Supply Instrument // without an address if a Switch is there
	Switch *Switch    // nil unless a relay stands in for a remote-controlled supply
	// SetByHandVolts is what a supply without remote control is set to; 0 with any other.
	SetByHandVolts float64
	Scope          Instrument  // without an address if the bench has none
	Thermometer    *Instrument // nil if the bench has none
	Rail           Probe
	Clock          Probe
	Lamp           *Probe // nil if no lamp probe is fitted
	Expect         Expect
	// HoldAfterUnread is how many cycles in a row may be unread before the run holds.
	HoldAfterUnread int
	Simulation      Simulation // only read when an address is sim:NAME

	where map[string]Position
}

// Unit is the thing under test and what it can bear.
type Unit struct {
	Name       string
	ClockHertz float64
	MaxVolts   float64 // never exceeded, whatever a script asks
	MaxAmps    float64
}

// Instrument is where an instrument is and how it speaks.
type Instrument struct {
	Address string
	Dialect string // "auto" or a dialect's name
	Channel int    // of a supply with several outputs
}

// Switch is the relay that switches a supply without remote control.
type Switch struct {
	Instrument        // Channel is the number of its contact
	Line       string // "DTR" or "RTS" of the serial adapter at the address; empty for a switching instrument
	Inverted   bool   // the contact is closed while the line is off
}

// Simulated says whether the instrument is one of the simulated bench.
func (i Instrument) Simulated() bool { return strings.HasPrefix(i.Address, "sim:") }

// Probe is one probe: on which scope channel, and what it does to the circuit.
type Probe struct {
	Channel     int
	Attenuation float64
	Farads      float64
	Ohms        float64
	Loads       string // clock probe only: one of the Loads constants
}

// What a clock probe can touch.
const (
	CrystalInput  = "crystal input"
	CrystalOutput = "crystal output"
	Buffered      = "buffered"
	NearField     = "near field"
)

// Expect is what a good start looks like.
type Expect struct {
	StartWithinSeconds float64
	// The least peak amplitude of the clock, in volts, or as a fraction of the set volts: one of the two.
	AmplitudeMinVolts    float64
	AmplitudeMinFraction float64
	FrequencyWithin      float64 // relative: 0.01 is 1 %
	UseAlias             bool    // a scope too slow for the clock may tell its frequency by an alias
	LampHertz            float64 // how often the lamp of a running unit blinks; 0 if not given
	// What the supply reads, from and to, when nothing is connected, when the unit hangs without its clock, and when it
	// runs; zeros if not given.
	OffAmps, HungAmps, RunningAmps [2]float64
	RailFraction                   float64 // of the set volts: the rail has risen when it crosses this
	ResidualMaxVolts               float64 // the rail must be below this before a start counts as one
}

// AmplitudeMin is the least peak amplitude of a running clock at the given supply, in volts.
func (e Expect) AmplitudeMin(setVolts float64) float64 {
	if e.AmplitudeMinFraction > 0 {
		return e.AmplitudeMinFraction * setVolts
	}
	return e.AmplitudeMinVolts
}

// Simulation sets up the simulated bench. It describes the world, so nothing that measures reads it.
type Simulation struct {
	Unit        string
	Seed        uint64
	Start       time.Time     // when a virtual night begins
	Mean, Swing float64       // ambient, in degrees Celsius
	ColdestAt   time.Duration // after midnight
}

// Simulated says whether the instruments are simulated ones. A bench is simulated or real, never both.
func (b *Bench) Simulated() bool {
	if b.Switch != nil {
		return b.Switch.Simulated()
	}
	return b.Supply.Simulated()
}

// HasScope says whether there is a scope. Without one a cycle is judged by the supply current alone.
func (b *Bench) HasScope() bool { return b.Scope.Address != "" }

// Where gives the position of a key in the file, for errors that show up later (an address that does not
// open), or the file's name if the key was left to its default.
func (b *Bench) Where(key string) string {
	if p, ok := b.where[key]; ok {
		return p.String()
	}
	return b.Path
}

// Load reads and checks a bench file. A file with mistakes gives *Errors, which lists them all.
func Load(path string) (*Bench, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, mostText+1)) // one byte more tells Parse that it is too long
	if err != nil {
		return nil, err
	}
	return Parse(path, text)
}

// Parse checks the text of a bench file; name stands for the file in errors.
func Parse(name string, text []byte) (*Bench, error) {
	entries, tables, err := document(name, text)
	if err != nil {
		return nil, err
	}
	b := &Bench{
		Path: name, Text: string(text), where: map[string]Position{},
		Expect:     Expect{FrequencyWithin: 0.01, RailFraction: 0.5, ResidualMaxVolts: 0.1},
		Rail:       Probe{Attenuation: 1},
		Clock:      Probe{Attenuation: 1, Loads: CrystalOutput},
		Supply:     Instrument{Dialect: "auto", Channel: 1},
		Scope:      Instrument{Dialect: "auto"},
		Simulation: defaultSimulation(),

		HoldAfterUnread: 5,
	}
	for _, e := range entries { // a table may be written as dotted keys, too
		if i := strings.LastIndex(e.key, "."); i > 0 && known(e.key[:i]) {
			if _, ok := tables[e.key[:i]]; !ok {
				tables[e.key[:i]] = Position{name, e.keyLine, e.keyColumn}
			}
		}
	}
	if _, ok := tables["thermometer"]; ok {
		b.Thermometer = &Instrument{Dialect: "auto"}
	}
	if _, ok := tables["switch"]; ok {
		b.Switch = &Switch{Instrument: Instrument{Dialect: "auto", Channel: 1}}
	}
	if _, ok := tables["probes.lamp"]; ok {
		b.Lamp = &Probe{Attenuation: 1}
	}
	c := checker{bench: b, name: name, tables: tables}
	c.read(entries)
	c.missing()
	c.together()
	if len(c.problems) > 0 {
		return nil, c.sorted()
	}
	return b, nil
}

func defaultSimulation() Simulation {
	start := time.Date(2026, time.January, 14, 18, 30, 0, 0, time.FixedZone("", 3600))
	return Simulation{
		Unit: "cracked-capacitor", Seed: 1, Start: start.In(offsetZone(start)),
		Mean: -6, Swing: 8, ColdestAt: 6 * time.Hour,
	}
}
