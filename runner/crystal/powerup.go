package crystal

import (
	"math"
	"math/rand/v2"
)

// PowerUp is one switching-on of a unit, decided: every draw has been made and
// everything that follows is a function of time. Times are seconds after the
// output comes on. It is read-only after it is made and safe for concurrent use.
type PowerUp struct {
	outcome Outcome
	clock   float64 // s, usable clock; +Inf if never
	dropout float64 // s, the lamp's current pulls the rail into reset; +Inf if never
	on      float64 // s, the stage begins to amplify; +Inf if never
	hertz   float64
	l1, r1  float64 // of the crystal as it is now

	rail      timeline
	ohms      float64 // series resistance, lead and contact
	leadShare float64 // of it that lies before the bench leads
	bootVolts float64 // settled rail while waiting for the clock

	aBias, bBias float64 // DC at the nodes over the rail
	swing        swing
	growth       growth
	again        restart // every later start of a reset loop driven by the lamp
}

// PowerUp switches the unit on once. Every random draw happens here; rng is
// not kept.
func (u Unit) PowerUp(s Surroundings, rng *rand.Rand) PowerUp {
	d := u.draw(&s, rng)
	var p PowerUp
	o := p.decide(&u, &s, &d, u.Inverter.beta())
	if o.x.L1 > 0 {
		p.swing = newSwing(o.x, &o.n, o.gm, o.omega, p.growth.limit.finalAmps)
	}
	return p
}

// oscillator is the circuit of one power-up, with its drawn parts.
type oscillator struct {
	x         Resonator
	n         Net
	gm, omega float64
}

// decide works out everything about a power-up but the volts at the nodes. beta
// is the inverter's current factor at T0.
func (p *PowerUp) decide(u *Unit, s *Surroundings, d *draws, beta float64) (o oscillator) {
	o.n = u.net(s, d)
	contact := u.Supply.ContactOhms
	if u.Contact.Ohms > 0 {
		contact = d.contactOhms
	}
	set := max(0, s.SupplyVolts+d.volts)
	p.clock, p.dropout, p.on = math.Inf(1), math.Inf(1), math.Inf(1)
	p.ohms = u.Supply.LeadOhms + contact
	p.leadShare = u.Supply.LeadOhms / p.ohms
	p.bootVolts = max(0, set-u.Supply.BootAmps*p.ohms)
	stage := u.Inverter.bias(&o.n, p.bootVolts, s.celsius(U1)+d.kelvin, beta)
	if p.bootVolts > 0 {
		p.aBias, p.bBias = stage.AVolts/p.bootVolts, stage.BVolts/p.bootVolts
	}
	o.n.Gds, o.gm = stage.Gds, stage.Gm
	if u.Crystal.L1 > 0 {
		p.oscillate(u, &o, d, set, s.celsius(Y1)+d.kelvin, s.AmbientCelsius)
	}
	p.follow(u, set, s.ResidualVolts)
	return o
}

// oscillate fills in what the oscillator does, once on, with the drawn parts.
func (p *PowerUp) oscillate(u *Unit, o *oscillator, d *draws, set, crystalCelsius, ambientCelsius float64) {
	// Of the crystal's temperature only its resistance touches the start; its few
	// ppm of frequency are added at the end.
	o.x = u.Crystal
	o.x.R1 = coldOhms(o.x.R1, crystalCelsius)
	x := &o.x
	omega, z := x.Settle(&o.n, o.gm)
	rn := -real(z)
	if u.Overtone.L1 > 0 {
		third := u.Overtone.in(x)
		if omega3, z3 := third.Settle(&o.n, o.gm); third.faster(-real(z3), x, rn) {
			o.x, omega, rn = third, omega3, -real(z3)
		}
	}
	o.omega = omega
	p.hertz = omega / (2 * math.Pi) * (1 + detuning(u.Firmware.NominalHertz, crystalCelsius))
	p.l1, p.r1 = x.L1, x.R1

	asleep := x.R1 * u.Sleep.Rise * d.sleep
	sigma := noiseAmps(x.L1, ambientCelsius+zeroCelsius, rn, x.R1+asleep)
	ramp := d.rampSeconds + rampPerRC*p.ohms*u.Supply.DecouplingFarads
	first := firstAmps(kickAmps(x.L1, omega, set/ramp), sigma, d.noise1, d.noise2)
	rail := railAmps(&o.n, x.C0, p.bootVolts, omega)
	p.growth.begin(x, rn, rail, first, asleep, u.Sleep.Amps)
}
