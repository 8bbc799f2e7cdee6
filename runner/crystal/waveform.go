package crystal

// Outcome is what becomes of this power-up.
func (p *PowerUp) Outcome() Outcome { return p.outcome }

// ClockSeconds is when the microcontroller has a usable clock, after output on;
// +Inf if it never gets one within its time-out.
func (p *PowerUp) ClockSeconds() float64 { return p.clock }

// DropoutSeconds is when the lamp's first on-phase pulls the rail into reset
// and the clock stops again; +Inf if it does not.
func (p *PowerUp) DropoutSeconds() float64 { return p.dropout }

// Hertz is the frequency of oscillation, of whatever size it is.
func (p *PowerUp) Hertz() float64 { return p.hertz }

// TerminalVolts is the voltage at the bench leads' ends, the supply's side of
// the contact, t seconds after output on.
func (p *PowerUp) TerminalVolts(t float64) float64 {
	source := p.rail.sourceVolts(t)
	return source - (source-p.rail.volts(t))*p.leadShare
}

// UnitVolts is the rail behind the contact.
func (p *PowerUp) UnitVolts(t float64) float64 { return p.rail.volts(t) }

// SupplyAmps is what the supply delivers, inrush included; 0 before output on.
func (p *PowerUp) SupplyAmps(t float64) float64 {
	if t < 0 {
		return 0
	}
	return max(0, (p.rail.sourceVolts(t)-p.rail.volts(t))/p.ohms)
}

// LampOn reports whether the lamp is lit. It blinks by the unit's own clock, so
// a fast clock blinks fast, beginning half a period after the clock is usable.
func (p *PowerUp) LampOn(t float64) bool {
	s, _ := p.rail.at(t)
	return s.state == lampLit
}

// MotionalAmps is the peak motional current of the crystal: 0 before output on,
// then the noise it starts from, growth, the limit, and stops by brown-out.
// Once limited it follows the rail, which moves with lamp and firmware.
func (p *PowerUp) MotionalAmps(t float64) float64 {
	if t < 0 {
		return 0
	}
	s, t := p.rail.at(t)
	var amps float64
	if t > p.dropout {
		amps = p.again.at(t)
	} else {
		amps = p.growth.amps(t - p.on)
	}
	if s.state >= running && p.bootVolts > 0 {
		amps *= s.volts(t) / p.bootVolts
	}
	return amps
}

// NodeAmplitude is the peak amplitude of the oscillation at node "A" or "B",
// in volts; 0 for any other node.
func (p *PowerUp) NodeAmplitude(node string, t float64) float64 {
	return p.swing.volts(node, p.MotionalAmps(t))
}

// NodeBias is the direct voltage at node "A" or "B"; 0 for any other node.
func (p *PowerUp) NodeBias(node string, t float64) float64 {
	switch node {
	case "A":
		return p.aBias * p.rail.volts(t)
	case "B":
		return p.bBias * p.rail.volts(t)
	default:
		return 0
	}
}
