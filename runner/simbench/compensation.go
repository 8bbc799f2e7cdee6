package simbench

import (
	"fmt"
	"math"
	"time"

	"ringup/runner/crystal"
)

// The scope's own compensation terminal: a square wave between 0 V and compensationVolts.
const (
	compensationHertz = 1e3
	compensationVolts = 3
	// compensationTau is the time constant of a 10:1 probe whose trimmer is off: its 9 MΩ in parallel with the scope's
	// 1 MΩ, times the tip's 13 pF plus the 120 pF of cable, trimmer and input.
	compensationTau = 0.9e6 * 133e-12
)

// Where a probe can be clipped.
const (
	ToUnit         = "unit"         // where the bench was made with it
	ToCompensation = "compensation" // the scope's compensation terminal
	ToNothing      = "nothing"      // lifted, in the air
)

// compensationSignal is that square wave through a passive probe. A trimmer that is off lets the edges through too
// large or too small, and the error dies away with the probe's time constant. The scope's trigger does not see it.
type compensationSignal struct{ attenuation, trim float64 }

func (c compensationSignal) at(st *stretch, t float64) (level, amplitude float64) {
	const period = 1 / compensationHertz
	// The generator runs on from power-up to power-up.
	phase := math.Mod(float64(st.from.UnixNano()%int64(time.Second))*1e-9+t, period)
	ends, sign := float64(compensationVolts), 1.0
	if phase >= period/2 {
		phase, ends, sign = phase-period/2, 0, -1
	}
	// Each edge adds its error to what is left of those before: a geometric series.
	left := math.Exp(-period / 2 / compensationTau)
	surplus := compensationVolts * (c.trim - 1) / (1 + left)
	return (ends + sign*surplus*math.Exp(-phase/compensationTau)) / c.attenuation, 0
}

func (compensationSignal) square() bool { return false }

// Clip clips the probe of a scope channel to the unit, to the scope's compensation terminal, or to nothing. A record that
// is complete stays as it is. The clock's probe loads the crystal while it is on the unit, from the next power-up on.
func (h *Hand) Clip(channel int, to string) error {
	h.bench.mu.Lock()
	defer h.bench.mu.Unlock()
	h.bench.scope.catchUp(h.bench.clock.Now())
	return h.bench.scope.clip(channel, to)
}

func (s *scope) clip(channel int, to string) error {
	if channel < 1 || channel > scopeChannels {
		return fmt.Errorf("there is no scope channel %d; allowed are 1 to %d", channel, scopeChannels)
	}
	switch to {
	case ToUnit:
		s.signals[channel-1] = s.atUnit[channel-1]
	case ToCompensation:
		passive, ok := s.passive[channel]
		if !ok {
			return fmt.Errorf("what is on channel %d has no tip to clip to the compensation terminal", channel)
		}
		s.signals[channel-1] = passive
	case ToNothing:
		s.signals[channel-1] = clockSignal{}
	default:
		return fmt.Errorf("a probe cannot be clipped to %q; allowed: %s, %s, %s", to, ToUnit, ToCompensation, ToNothing)
	}
	if channel == ClockChannel {
		s.world.probe = crystal.Probe{}
		if to == ToUnit {
			s.world.probe = s.load
		}
	}
	return nil
}
