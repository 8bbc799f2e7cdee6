package simbench

import (
	"math"
	"math/rand/v2"
	"time"

	"ringup/runner/crystal"
)

// world is the unit on the bench with all that is physical round it: the air, the hand's doings, and when the supply
// was switched on and off. It knows nothing of instruments.
type world struct {
	luck    chance
	climate Climate
	probe   crystal.Probe // what the clock probe loads
	unit    crystal.Unit
	noUnit  bool     // the bench leads are open
	actions []Action // of the hand, oldest first
	// stretches are the times of power and of rest, oldest first; the last one is still going on.
	stretches []stretch
}

// stretch is a time during which the unit was either powered or resting.
type stretch struct {
	from time.Time
	on   bool
	// up is the power-up of this stretch or, while resting, of the one before it; nil before the first.
	up      *crystal.PowerUp
	onSince time.Time // when up was powered
	phase   float64   // of the oscillation, radians at onSince
	// volts is what the supply was set to or, while resting, what the decoupling capacitor held when the output went
	// off, and unit is the unit it belongs to.
	volts float64
	unit  crystal.Unit
	// open: the leads are, and up is nil.
	open bool
}

// ringDownTau is how fast a crystal that is no longer driven falls still, 2·L1/R1.
const ringDownTau = 2.4e-3

// newWorld has the unit resting since offSince, its capacitor then at offVolts.
func newWorld(o Options, unit crystal.Unit, offSince time.Time, offVolts float64) *world {
	return &world{
		luck: chance{o.Seed}, climate: o.Climate, probe: o.ClockProbe.load(), unit: unit, noUnit: o.NoUnit,
		stretches: []stretch{{from: offSince, unit: unit, volts: offVolts, open: o.NoUnit}},
	}
}

func (w *world) ambient(t time.Time) float64 { return w.climate.celsius(t, w.luck) }

func (w *world) latest() *stretch { return &w.stretches[len(w.stretches)-1] }

func (w *world) powered() bool { return w.latest().on }

// powerUp is what the unit would do if it were given these volts now.
func (w *world) powerUp(now time.Time, volts float64) *crystal.PowerUp {
	rest := w.latest()
	seconds := now.Sub(rest.from).Seconds()
	up := w.unit.PowerUp(crystal.Surroundings{
		SupplyVolts:    volts,
		RestSeconds:    seconds,
		ResidualVolts:  rest.unit.Discharge(rest.volts, seconds),
		AmbientCelsius: w.ambient(now),
		PartCelsius:    w.partCelsius(now),
		Probe:          w.probe,
	}, rand.New(rand.NewPCG(w.luck.seed, uint64(now.UnixNano()))))
	return &up
}

// switchOn begins a stretch of power.
func (w *world) switchOn(now time.Time, volts float64) {
	if w.noUnit {
		w.stretches = append(w.stretches, stretch{from: now, on: true, onSince: now, volts: volts, unit: w.unit, open: true})
		return
	}
	w.stretches = append(w.stretches, stretch{
		from: now, on: true, up: w.powerUp(now, volts), onSince: now, volts: volts,
		phase: 2 * math.Pi * w.luck.at("phase", now).Float64(),
	})
}

// chargedSeconds after output-on the decoupling capacitor is as full as it will be.
const chargedSeconds = 5e-3

// switchOff ends it; the unit then lives on what its decoupling capacitor holds. A capacitor that has had the time is
// taken to be charged to what the supply was set to: the millivolts lost in lead and contact are left out, so that a
// bench made anew from Options.OffSince and OffVolts goes on to the last digit.
func (w *world) switchOff(now time.Time) {
	last := *w.latest()
	if !last.on {
		return
	}
	volts := last.volts
	if last.open {
		w.stretches = append(w.stretches, stretch{
			from: now, onSince: last.onSince, volts: last.openVolts(now.Sub(last.from).Seconds()), unit: w.unit, open: true,
		})
		return
	}
	if t := now.Sub(last.from).Seconds(); t < chargedSeconds {
		volts = last.up.UnitVolts(t)
	}
	w.stretches = append(w.stretches, stretch{
		from: now, up: last.up, onSince: last.onSince, phase: last.phase, unit: w.unit, volts: volts,
	})
}

// forget drops every stretch that was over at t.
func (w *world) forget(t time.Time) {
	keep := 0
	for keep+1 < len(w.stretches) && !w.stretches[keep+1].from.After(t) {
		keep++
	}
	w.stretches = w.stretches[keep:]
}

// terminalVolts is what the bench leads carry now.
func (w *world) terminalVolts(now time.Time) float64 {
	last := w.latest()
	return last.terminalVolts(now.Sub(last.from).Seconds())
}

// supplyAmps is what the unit draws from the supply now.
func (w *world) supplyAmps(now time.Time) float64 {
	if last := w.latest(); last.on && !last.open {
		return last.up.SupplyAmps(now.Sub(last.from).Seconds())
	}
	return 0
}

// terminalVolts is the voltage at the unit's supply leads, t seconds into the stretch.
func (s *stretch) terminalVolts(t float64) float64 {
	if s.open {
		return s.openVolts(t)
	}
	if s.on {
		return s.up.TerminalVolts(t)
	}
	return s.unit.Discharge(s.volts, t)
}

// openTau is how fast the supply's own output capacitor empties into its bleeder, with nothing on the leads.
const openTau = 20e-3

// openVolts is the voltage on open leads: the supply's own ramp, no load; its output capacitor after switch-off.
func (s *stretch) openVolts(t float64) float64 {
	if s.on {
		return min(s.volts, s.unit.Supply.SlewVoltsPerSecond*t)
	}
	return s.volts * math.Exp(-t/openTau)
}

// wasOn is how long the power-up had lasted when this rest began, in seconds.
func (s *stretch) wasOn() float64 { return s.from.Sub(s.onSince).Seconds() }

// node is bias and amplitude (peak) at a crystal pin, t seconds into the stretch. After switch-off the crystal rings
// down, and the bias follows the capacitor.
func (s *stretch) node(name string, t float64) (bias, amplitude float64) {
	switch {
	case s.up == nil:
		return 0, 0
	case s.on:
		return s.up.NodeBias(name, t), s.up.NodeAmplitude(name, t)
	}
	if s.volts > 0 {
		bias = s.up.NodeBias(name, s.wasOn()) * s.unit.Discharge(s.volts, t) / s.volts
	}
	return bias, s.up.NodeAmplitude(name, s.wasOn()) * math.Exp(-t/ringDownTau)
}

// motionalAmps is the peak current through the crystal's motional arm, t seconds into the stretch.
func (s *stretch) motionalAmps(t float64) float64 {
	switch {
	case s.up == nil:
		return 0
	case s.on:
		return s.up.MotionalAmps(t)
	}
	return s.up.MotionalAmps(s.wasOn()) * math.Exp(-t/ringDownTau)
}

// logicVolts is the supply of a logic output that carries the usable clock; 0 while there is none.
func (s *stretch) logicVolts(t float64) float64 {
	if s.on && s.up != nil && t >= s.up.ClockSeconds() {
		return s.up.UnitVolts(t)
	}
	return 0
}

// lampOn tells whether the status lamp is lit.
func (s *stretch) lampOn(t float64) bool { return s.on && s.up != nil && s.up.LampOn(t) }
