package simbench

import (
	"fmt"
	"math"
	"slices"
	"time"

	"ringup/runner/crystal"
)

// What the simulated scope can do.
const (
	scopeChannels   = 3
	recordDepth     = 1_000_000 // points of one record
	sampleRateMax   = 1e9       // points a second, in SAMPle
	peakRawRate     = 250e6     // samples a second that the peak detector looks at
	sweepMaxSeconds = 1000
)

// What is on which channel.
const (
	RailChannel  = 1
	ClockChannel = 2
	LampChannel  = 3
)

// Bits of the scope's operation condition (SCPI-99 volume 1, 9.3).
const (
	operationSweeping = 8
	operationWaiting  = 32
)

// scope is the simulated oscilloscope.
type scope struct {
	*instrument
	scopeSettings
	world   *world
	signals [scopeChannels]signal      // what each probe touches now
	atUnit  [scopeChannels]signal      // what it touches at the unit
	passive map[int]compensationSignal // the channels whose probe can be clipped elsewhere
	load    crystal.Probe              // of the clock's probe on the unit
	luck    chance
	extreme *extremes
	record  *record // nil before the first INITiate and after an ABORt
	missed  bool    // fault for tests: the next acquisition never triggers
}

func newScope(w *world, o Options) *scope {
	s := &scope{
		world: w, luck: chance{o.Seed}, extreme: &extremes{}, load: o.ClockProbe.load(),
		atUnit:  [scopeChannels]signal{railSignal{}, clockSignal(o.ClockProbe), lampSignal{fitted: o.LampProbe}},
		passive: map[int]compensationSignal{RailChannel: {attenuation: railAttenuation, trim: 1}},
	}
	s.signals = s.atUnit
	if o.ClockProbe.Node != NodeNearField {
		s.passive[ClockChannel] = compensationSignal{o.ClockProbe.attenuation(), o.ClockProbe.trim()}
	}
	s.defaults()
	s.instrument = newInstrument(fmt.Sprintf("ringup,simulated oscilloscope,OSC-%d,1", o.Seed), s.reset, s.observe,
		slices.Concat(s.settingCommands(), s.recordCommands(), s.measureCommands())...)
	return s
}

func (s *scope) reset(time.Time) {
	s.record = nil
	s.defaults()
}

// recordCommands start records and read them.
func (s *scope) recordCommands() []command {
	return []command{
		{pattern: "INITiate[:IMMediate]", set: s.initiate},
		{pattern: "ABORt", set: s.abort},
		{pattern: "TRACe:PREamble", queryParameters: 1, query: func(c call) ([]byte, *scpiError) {
			n, err := c.word(0, "CH1", "CH2", "CH3")
			if err != nil {
				return nil, err
			}
			return s.preamble(n), nil
		}},
		{pattern: "TRACe[:DATA]", queryParameters: 1, query: func(c call) ([]byte, *scpiError) {
			n, err := c.word(0, "CH1", "CH2", "CH3")
			if err != nil {
				return nil, err
			}
			if s.record == nil || !s.record.complete {
				return nil, errorf(-230, "no complete record; send INITiate and wait for the trigger")
			}
			return block(s.record.codes(n, s)), nil
		}},
	}
}

// initiate throws the older record away and arms the scope.
func (s *scope) initiate(c call) *scpiError {
	if s.record != nil && !s.record.complete {
		return errorf(-213, "the scope is armed or sweeping; send ABORt first")
	}
	rate := s.points / s.sweepSeconds
	if highest := map[bool]float64{false: sampleRateMax, true: peakRawRate / 2}[s.peak]; rate > highest*(1+1e-9) {
		return errorf(-221, "%g points in %g s is %g points a second, at most %g", s.points, s.sweepSeconds, rate, highest)
	}
	s.record = &record{scopeSettings: s.scopeSettings, searched: c.now}
	if s.source == 0 {
		s.record.trigger(c.now)
	} else if s.missed {
		s.record.source, s.missed = neverTriggers, false
	}
	s.observe(c.now)
	return nil
}

// abort stops an acquisition; a complete record stays readable.
func (s *scope) abort(c call) *scpiError {
	if s.record != nil && !s.record.complete {
		s.record = nil
	}
	s.status.operation.set(0)
	return nil
}

// observe moves the acquisition on to now and shows its state.
func (s *scope) observe(now time.Time) {
	condition := 0
	if r := s.record; r != nil && !r.complete {
		wasTriggered := r.triggered
		r.advance(now, s)
		switch {
		case !r.triggered:
			condition = operationWaiting
		case !r.complete:
			condition = operationSweeping
		case !wasTriggered: // swept between two looks at it
			s.status.operation.event |= operationSweeping
		}
	}
	s.status.operation.set(condition)
}

// catchUp settles what the scope still needs from the past and lets the world forget the rest.
func (s *scope) catchUp(now time.Time) {
	s.observe(now)
	needed := now
	if r := s.record; r != nil && !r.complete {
		begin := now
		if r.triggered {
			begin = r.at
		}
		if begin = begin.Add(seconds(math.Min(r.startSeconds, 0) - dcSettleSeconds)); begin.Before(needed) {
			needed = begin
		}
	}
	s.world.forget(needed)
}

// preamble answers what is needed to turn codes into volts and seconds:
// points, start_s, step_s, volts_per_code, code_zero, offset_volts, low_code, high_code, detector (0 sample, 1 peak), valid.
func (s *scope) preamble(n int) []byte {
	settings, valid := s.scopeSettings, false
	if s.record != nil {
		settings, valid = s.record.scopeSettings, s.record.complete
	}
	c := settings.channels[n]
	return fmt.Appendf(nil, "%d,%+.9E,%+.9E,%+.9E,%d,%+.9E,%d,%d,%s,%s", int(settings.points), settings.startSeconds,
		settings.sweepSeconds/settings.points, c.voltsPerCode(), codeZero, c.offsetVolts, codeLow, codeHigh,
		flag(settings.peak), flag(valid))
}

// seconds turns SI seconds into a Duration.
func seconds(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }
