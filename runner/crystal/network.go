package crystal

import "math"

// Net is everything the crystal's motional arm sees except the crystal's own
// shunt capacitance and the inverter's gm. Symbols are those of the package
// comment; an absent parallel resistor is +Inf, an absent series one 0.
type Net struct {
	CA, RA   float64 // load capacitor at A and its series resistance (ESR, crack)
	CB, RB   float64 // load capacitor at B and its series resistance
	Cin      float64 // pin capacitance at A
	Cout     float64 // pin capacitance at D
	CsA, CsB float64 // stray A to ground, B to ground
	Cs       float64 // stray A to B
	Cfb      float64 // inverter's gate to drain capacitance, A to D
	Rf       float64 // feedback resistor, A to D
	Rleak    float64 // film across the crystal pads, A to B
	RgA, RgB float64 // leak A to ground, B to ground
	RvA      float64 // leak A to supply
	Rs       float64 // series damping resistor, D to B
	CpA, RpA float64 // probe at A
	CpB, RpB float64 // probe at B
	Rins     float64 // resistor inserted in series with the crystal's package
	Gds      float64 // inverter's output conductance, 1/ro
}

// Loaded returns the net with a probe's load added.
func (n Net) Loaded(p Probe) Net {
	ohms := p.Ohms
	if ohms == 0 {
		ohms = math.Inf(1)
	}
	switch p.Node {
	case "A":
		n.CpA, n.RpA = p.Farads, ohms
	case "B":
		n.CpB, n.RpB = p.Farads, ohms
	}
	return n
}

// admittances are the branches of the net at one complex frequency.
type admittances struct{ a, b, d, ab, ad complex128 }

func (n *Net) admittances(c0 float64, s complex128) admittances {
	return admittances{
		a:  branch(s, n.CA, n.RA) + scale(s, n.Cin+n.CsA+n.CpA) + complex(1/n.RpA+1/n.RgA+1/n.RvA, 0),
		b:  branch(s, n.CB, n.RB) + scale(s, n.CsB+n.CpB) + complex(1/n.RpB+1/n.RgB, 0),
		d:  scale(s, n.Cout) + complex(n.Gds, 0),
		ab: scale(s, c0+n.Cs) + complex(1/n.Rleak, 0),
		ad: scale(s, n.Cfb) + complex(1/n.Rf, 0),
	}
}

// branch is a capacitor with a series resistor, to ground.
func branch(s complex128, farads, ohms float64) complex128 {
	y := scale(s, farads)
	return divide(y, 1+scale(y, ohms))
}

// divide is z/w without the language's care for infinities and zeros, which
// finite circuits do not have and which takes most of a power-up's time.
func divide(z, w complex128) complex128 {
	k := 1 / (real(w)*real(w) + imag(w)*imag(w))
	return complex((real(z)*real(w)+imag(z)*imag(w))*k, (imag(z)*real(w)-real(z)*imag(w))*k)
}

func scale(z complex128, k float64) complex128 { return complex(real(z)*k, imag(z)*k) }

// Mobius is the impedance the motional arm sees, as a function of gm alone:
// Z = (N0 + N1·gm)/(D0 + D1·gm). One set of coefficients serves impedance,
// start condition, frequency and growth.
type Mobius struct{ N0, N1, D0, D1 complex128 }

// Ohms is the impedance at the transconductance gm (siemens).
func (m Mobius) Ohms(gm float64) complex128 {
	return divide(m.N0+scale(m.N1, gm), m.D0+scale(m.D1, gm))
}

// Coeffs solves the net exactly, every loss included, at the complex frequency
// s (jω, or α+jω during growth), with the crystal's shunt capacitance c0.
func Coeffs(n *Net, c0 float64, s complex128) Mobius {
	if n.Rins > 0 {
		return n.inserted(c0, s)
	}
	y := n.admittances(c0, s)
	if n.Rs == 0 {
		b, through := y.b+y.d, y.ab+y.ad
		return Mobius{N0: y.a + b, N1: 1, D0: y.a*b + through*(y.a+b), D1: through}
	}
	r := y.reduced(n.Rs)
	return Mobius{
		N0: r.aa + r.bb + r.ab + r.ba, N1: r.aaGm + r.baGm,
		D0: r.aa*r.bb - r.ab*r.ba, D1: r.aaGm*r.bb - r.ab*r.baGm,
	}
}

// reduced is the two-node admittance matrix left when node D is eliminated;
// the entries with Gm multiply the transconductance.
type reduced struct{ aa, ab, ba, bb, aaGm, baGm complex128 }

func (y admittances) reduced(rs float64) reduced {
	gs := complex(1/rs, 0)
	sum := gs + y.d + y.ad
	cross := -y.ab - gs*y.ad/sum
	return reduced{
		aa: y.a + y.ab + y.ad - y.ad*y.ad/sum, aaGm: y.ad / sum,
		ab: cross,
		ba: cross, baGm: gs / sum,
		bb: y.b + y.ab + gs - gs*gs/sum,
	}
}

// NodeOhms returns the phasor volts at A and at B per ampere of motional
// current flowing out of B through the crystal into A.
func NodeOhms(n *Net, c0, gm float64, s complex128) (a, b complex128) {
	if n.Rins > 0 {
		return insertedNodes(n, c0, gm, s)
	}
	y := n.admittances(c0, s)
	g := complex(gm, 0)
	if n.Rs == 0 {
		yb, through := y.b+y.d, y.ab+y.ad
		det := y.a*yb + through*(y.a+yb+g)
		return divide(yb, det), divide(-(y.a + g), det)
	}
	r := y.reduced(n.Rs)
	aa, ba := r.aa+g*r.aaGm, r.ba+g*r.baGm
	det := aa*r.bb - r.ab*ba
	return (r.bb + r.ab) / det, -(aa + ba) / det
}
