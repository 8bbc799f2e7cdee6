package crystal

import "fmt"

// mostInserted bounds what Insert takes: with more, no oscillator starts, and the value is a slip of the unit.
const mostInserted = 1e6 // ohms

// Insert returns the unit with a resistor soldered in series with a part, in ohms; 0 takes it out again. Only the
// crystal Y1 has a place for one: it is the series-resistor test of the start margin.
func (u Unit) Insert(p Part, ohms float64) (Unit, error) {
	if p != Y1 {
		return u, fmt.Errorf("insert %s: a series resistor has its place at the crystal; the part must be Y1", p)
	}
	if !(ohms >= 0 && ohms <= mostInserted) {
		return u, fmt.Errorf("insert Y1: %g ohms; a series resistor is from 0 (none) to 1 Mohm", ohms)
	}
	u.Net.Rins = ohms
	return u, nil
}

// The inserted resistor lies outside the crystal's package, so the shunt
// capacitance C0 is on its other side and cannot be part of the net. The net
// without C0, Zt, and the resistor are in series; C0 is across both:
// Z = (Zt+R)/(1+s·C0·(Zt+R)), still a Möbius function of gm.

// inserted is Coeffs for a net with an inserted resistor.
func (n *Net) inserted(c0 float64, s complex128) Mobius {
	m := n.terminals(s)
	y := scale(s, c0)
	return Mobius{N0: m.N0, N1: m.N1, D0: m.D0 + y*m.N0, D1: m.D1 + y*m.N1}
}

// terminals is what the crystal's package sees: net and resistor in series.
func (n *Net) terminals(s complex128) Mobius {
	bare := *n
	bare.Rins = 0
	m := Coeffs(&bare, 0, s)
	return Mobius{N0: m.N0 + scale(m.D0, n.Rins), N1: m.N1 + scale(m.D1, n.Rins), D0: m.D0, D1: m.D1}
}

// insertedNodes is NodeOhms for a net with an inserted resistor: of the motional
// current only the share that does not go through C0 reaches the net.
func insertedNodes(n *Net, c0, gm float64, s complex128) (a, b complex128) {
	bare := *n
	bare.Rins = 0
	share := 1 / (1 + scale(s, c0)*n.terminals(s).Ohms(gm))
	a, b = NodeOhms(&bare, 0, gm, s)
	return a * share, b * share
}
