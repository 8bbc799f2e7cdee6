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
	n := u.net(&s, &d)
	contact := u.Supply.ContactOhms
	if u.Contact.Ohms > 0 {
		contact = d.contactOhms
	}
	set := max(0, s.SupplyVolts+d.volts)
	ohms := u.Supply.LeadOhms + contact
	p := PowerUp{
		clock: math.Inf(1), dropout: math.Inf(1), on: math.Inf(1),
		ohms: ohms, leadShare: u.Supply.LeadOhms / ohms,
		bootVolts: max(0, set-u.Supply.BootAmps*ohms),
	}
	stage := u.Inverter.Bias(&n, p.bootVolts, s.celsius(U1)+d.kelvin)
	if p.bootVolts > 0 {
		p.aBias, p.bBias = stage.AVolts/p.bootVolts, stage.BVolts/p.bootVolts
	}
	n.Gds = stage.Gds
	if u.Crystal.L1 > 0 {
		p.oscillate(&u, &n, &d, stage.Gm, set, s.celsius(Y1)+d.kelvin, s.AmbientCelsius)
	}
	p.follow(&u, set, s.ResidualVolts)
	return p
}

// oscillate fills in what the oscillator does, once on, with the drawn parts.
func (p *PowerUp) oscillate(u *Unit, n *Net, d *draws, gm, set, crystalCelsius, ambientCelsius float64) {
	x := u.Crystal
	x.R1 = coldOhms(x.R1, crystalCelsius)
	omega, z := x.Settle(n, gm)
	rn := -real(z)
	p.hertz = omega / (2 * math.Pi)
	p.l1, p.r1 = x.L1, x.R1

	asleep := x.R1 * u.Sleep.Rise * d.sleep
	sigma := noiseAmps(x.L1, ambientCelsius+zeroCelsius, rn, x.R1+asleep)
	ramp := d.rampSeconds + rampPerRC*p.ohms*u.Supply.DecouplingFarads
	first := firstAmps(kickAmps(x.L1, omega, set/ramp), sigma, d.noise1, d.noise2)
	rail := railAmps(n, x.C0, p.bootVolts, omega)
	p.growth = newGrowth(x, rn, rail, first, asleep, u.Sleep.Amps)
	p.swing = newSwing(x, n, gm, omega, p.growth.limit.finalAmps)
}
