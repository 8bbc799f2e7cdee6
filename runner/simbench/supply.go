package simbench

import (
	"fmt"
	"math"
	"time"
)

// What the simulated supply can do.
const (
	supplyMaxVolts = 20
	supplyMaxAmps  = 2
	supplyMaxOVP   = 22
	supplyRstAmps  = 0.1
)

// Bits of the supply's questionable status (SCPI-99 volume 1, 9.4).
const (
	questionableVolts = 1 // the output is below its set-point: the current limit holds it down
	questionableAmps  = 2 // the over-current protection has switched the output off
)

// supply is the simulated bench supply.
type supply struct {
	*instrument
	world *world
	luck  chance
	// beforePower is told that the output is about to come on, so that what is past can be settled first.
	beforePower func(now time.Time)

	on                                bool
	setVolts, limitAmps, protectVolts float64
	protectCurrent                    bool // over-current protection: trip instead of limiting
	tripped                           bool

	// Faults for tests.
	deaf      int     // so many commands to switch off do nothing; below zero: all
	leadOpen  bool    // the output reaches the terminals but not the unit
	extraAmps float64 // measured on top of what the unit draws
}

func newSupply(w *world, seed uint64, beforePower func(time.Time)) *supply {
	s := &supply{world: w, luck: chance{seed}, beforePower: beforePower}
	s.defaults()
	measure := func(pattern string, read func(now time.Time) float64) command {
		return command{pattern: pattern, query: func(c call) ([]byte, *scpiError) { return real(read(c.now)), nil }}
	}
	s.instrument = newInstrument(fmt.Sprintf("ringup,simulated supply,SUP-%d,1", seed), s.reset, s.observe,
		quantity("[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]", "V", &s.setVolts, 0, supplyMaxVolts, s.allowVolts),
		quantity("[SOURce]:CURRent[:LEVel][:IMMediate][:AMPLitude]", "A", &s.limitAmps, 0, supplyMaxAmps, nil),
		quantity("[SOURce]:VOLTage:PROTection[:LEVel]", "V", &s.protectVolts, 0, supplyMaxOVP, s.allowProtection),
		toggle("[SOURce]:CURRent:PROTection:STATe", &s.protectCurrent),
		command{pattern: "OUTPut[:STATe]", parameters: 1,
			set: func(c call) *scpiError {
				on, err := c.boolean(0)
				switch {
				case err != nil:
					return err
				case on:
					return s.switchOn(c.now)
				}
				s.switchOff(c.now)
				return nil
			},
			query: func(call) ([]byte, *scpiError) { return flag(s.on), nil },
		},
		measure("MEASure[:SCALar]:VOLTage[:DC]", s.readVolts),
		measure("MEASure[:SCALar]:CURRent[:DC]", s.readAmps),
	)
	return s
}

// toggle is a command that sets and queries a boolean.
func toggle(pattern string, value *bool) command {
	return command{pattern: pattern, parameters: 1,
		set: func(c call) *scpiError {
			v, err := c.boolean(0)
			if err == nil {
				*value = v
			}
			return err
		},
		query: func(call) ([]byte, *scpiError) { return flag(*value), nil },
	}
}

func (s *supply) defaults() {
	s.setVolts, s.limitAmps, s.protectVolts, s.protectCurrent = 0, supplyRstAmps, supplyMaxOVP, false
}

func (s *supply) reset(now time.Time) {
	s.switchOff(now)
	s.defaults()
}

// allowVolts refuses another set-point while the output is on: the model of the unit knows one supply voltage for
// each power-up.
func (s *supply) allowVolts(v float64) *scpiError {
	if s.on && v != s.setVolts {
		return errorf(-221, "switch the output off before changing %g V to %g V", s.setVolts, v)
	}
	return nil
}

// allowProtection refuses a protection level that the output already exceeds.
func (s *supply) allowProtection(v float64) *scpiError {
	if s.on && v < s.setVolts {
		return errorf(-221, "the output is on at %g V, above %g V", s.setVolts, v)
	}
	return nil
}

// switchOn gives the unit power. Above the over-voltage protection the output stays off. A current limit below what
// the unit draws while it boots holds the voltage down in proportion or, with over-current protection, trips.
func (s *supply) switchOn(now time.Time) *scpiError {
	if s.on {
		return nil
	}
	if s.setVolts > s.protectVolts {
		return errorf(-221, "%g V is above the over-voltage protection, %g V", s.setVolts, s.protectVolts)
	}
	s.tripped = false
	if s.leadOpen {
		s.on = true
		return nil
	}
	s.beforePower(now)
	volts := s.setVolts
	if boot := s.world.unit.Supply.BootAmps; !s.world.noUnit && boot > s.limitAmps {
		if s.protectCurrent {
			s.tripped = true
			return nil
		}
		volts *= s.limitAmps / boot
	}
	s.on = true
	s.world.switchOn(now, volts)
	return nil
}

func (s *supply) switchOff(now time.Time) {
	s.tripped = false
	if !s.on {
		return
	}
	if s.deaf != 0 {
		s.deaf = max(s.deaf-1, -1)
		return
	}
	s.on = false
	s.world.switchOff(now)
}

// observe lets the protection act and brings the status up to date. Limit and protection leave the inrush into the
// unit's capacitor alone.
func (s *supply) observe(now time.Time) {
	condition := 0
	charged := !now.Before(s.world.latest().from.Add(seconds(chargedSeconds)))
	if s.on && charged && s.world.supplyAmps(now) > s.limitAmps {
		if s.protectCurrent {
			s.switchOff(now)
			s.tripped = true
		} else {
			condition |= questionableVolts
		}
	}
	if s.tripped {
		condition |= questionableAmps
	}
	s.status.questionable.set(condition)
}

// The read-back meter has an offset of its own and a little noise.
const (
	meterOffsetVolts, meterNoiseVolts = 1e-3, 0.3e-3
	meterOffsetAmps, meterNoiseAmps   = 20e-6, 10e-6
)

// readVolts is what the read-back meter shows for the terminals, with the output on or off.
func (s *supply) readVolts(now time.Time) float64 {
	v := s.world.terminalVolts(now)
	if s.leadOpen && s.on {
		v = s.setVolts
	}
	return v + s.meter("volts", now, meterOffsetVolts, meterNoiseVolts)
}

// readAmps is what it shows for the current.
func (s *supply) readAmps(now time.Time) float64 {
	return math.Min(s.world.supplyAmps(now), s.limitAmps) + s.extraAmps +
		s.meter("amps", now, meterOffsetAmps, meterNoiseAmps)
}

// meter is the error of one reading: an offset that belongs to the instrument, and noise.
func (s *supply) meter(quantity string, now time.Time, offset, noise float64) float64 {
	return offset*(2*s.luck.knot("supply offset "+quantity, 0).Float64()-1) +
		noise*s.luck.at("supply noise "+quantity, now).NormFloat64()
}
