package crystal

import "math"

// SupplyPath is what lies between the bench supply and the unit's rail, and
// what the rail does. Its constants are a model choice.
type SupplyPath struct {
	DecouplingFarads   float64
	LeadOhms           float64 // from the supply to the bench leads' ends
	ContactOhms        float64 // J1
	SlewVoltsPerSecond float64 // of the supply's output when it comes on

	ResetAmps float64 // held in reset
	BootAmps  float64 // released, waiting for the clock
	HungAmps  float64 // given up waiting
	RunAmps   float64 // clock usable
	LampAmps  float64 // on top of RunAmps while the lamp is lit

	BrownOutVolts float64 // below this the unit is reset
	ReleaseVolts  float64 // above this the reset is released
	RearmVolts    float64 // the power-on reset re-arms only below this

	BleedOhms    float64 // across the capacitor
	OffAmps      float64 // leakage with the output open, above OffKneeVolts
	OffLowAmps   float64 // the same, below
	OffKneeVolts float64
}

func soundSupply() SupplyPath {
	return SupplyPath{
		DecouplingFarads: 10.1e-6, LeadOhms: 0.15, ContactOhms: 0.05, SlewVoltsPerSecond: 10e3,
		ResetAmps: 12e-6, BootAmps: 8.5e-3, HungAmps: 6.2e-3, RunAmps: 3.1e-3, LampAmps: 8e-3,
		BrownOutVolts: 1.80, ReleaseVolts: 1.88, RearmVolts: 0.70,
		BleedOhms: 220e3, OffAmps: 12e-6, OffLowAmps: 1e-6, OffKneeVolts: 1.2,
	}
}

// span is the rail during one state of the unit, in closed form: the source
// rises evenly or stands, the load is constant, and R·C does the rest.
type span struct {
	start    float64 // s
	from     float64 // V on the capacitor at start
	source   float64 // V of the supply at start
	slew     float64 // V/s of the supply
	amps     float64 // load
	ohms, rc float64
	state    state
}

type state int8

const (
	inReset state = iota
	booting
	running
	lampLit
	hung
)

func (s *span) sourceVolts(t float64) float64 { return s.source + s.slew*(t-s.start) }

func (s *span) volts(t float64) float64 {
	dt := t - s.start
	settled := s.source + s.slew*(dt-s.rc) - s.amps*s.ohms
	initial := s.source - s.slew*s.rc - s.amps*s.ohms
	v := settled + (s.from-initial)*math.Exp(-dt/s.rc)
	return max(0, v)
}

// crossing is when the rail first reaches v, between the span's start and
// limit; +Inf if it does not. The rail must be monotonic there.
func (s *span) crossing(v, limit float64) float64 {
	if s.slew == 0 {
		settled := s.source - s.amps*s.ohms
		q := (s.from - settled) / (v - settled)
		if !(q >= 1) {
			return math.Inf(1)
		}
		return s.start + s.rc*math.Log(q)
	}
	if s.from >= v {
		return s.start
	}
	if s.volts(limit) < v {
		return math.Inf(1)
	}
	// Once the RC has settled the rail runs parallel to the source; Newton's
	// method from there, and the safe way where that leaves the span.
	t := s.start + s.rc + (v+s.amps*s.ohms-s.source)/s.slew
	initial := s.source - s.slew*s.rc - s.amps*s.ohms
	for range 8 {
		left := (s.from - initial) * math.Exp(-(t-s.start)/s.rc)
		step := (initial + s.slew*(t-s.start) + left - v) / (s.slew - left/s.rc)
		if t -= step; !(t >= s.start && t <= limit) {
			break
		}
		if math.Abs(step) <= 1e-15*t {
			return t
		}
	}
	return bracketedRoot(func(t float64) float64 { return s.volts(t) - v }, s.start, limit)
}

// Discharge is the voltage left on the decoupling capacitor after seconds with
// the output off, from v0 volts.
func (u Unit) Discharge(v0Volts, seconds float64) float64 {
	s := &u.Supply
	rc := s.BleedOhms * s.DecouplingFarads
	fall := func(v, amps, t float64) float64 {
		return (v+amps*s.BleedOhms)*math.Exp(-t/rc) - amps*s.BleedOhms
	}
	v := v0Volts
	if v > s.OffKneeVolts {
		extra := s.OffAmps * s.BleedOhms
		knee := rc * math.Log((v+extra)/(s.OffKneeVolts+extra))
		if seconds <= knee {
			return fall(v, s.OffAmps, seconds)
		}
		v, seconds = s.OffKneeVolts, seconds-knee
	}
	return max(0, fall(v, s.OffLowAmps, seconds))
}
