package crystal

import (
	"math"
	"math/cmplx"
)

// Growth returns the complex root s = α+jω of R1 + s·L1 + 1/(s·C1) + Zc(s) = 0
// by Newton's method from the settled frequency: the amplitude goes as e^(αt),
// α negative when it decays.
func (r Resonator) Growth(n *Net, gm float64) (alphaPerSecond, hertz float64) {
	m := r.mode(n, gm, nil)
	return m.AlphaPerSecond, m.Hertz
}

// mode is Growth, with another arm of the crystal beside this one if there is
// one.
func (r *Resonator) mode(n *Net, gm float64, other *Resonator) Mode {
	omega, z := r.Settle(n, gm)
	s := complex(-(real(z)+r.R1)/(2*r.L1), omega)
	mesh := func(s complex128) complex128 {
		z := Coeffs(n, r.C0, s).Ohms(gm)
		if other != nil {
			z = 1 / (1/z + 1/other.arm(s))
		}
		return r.arm(s) + z
	}
	for range 20 {
		// The mesh is analytic in s: a central difference along ω is its slope.
		h := complex(0, 1e-6*imag(s))
		step := mesh(s) * 2 * h / (mesh(s+h) - mesh(s-h))
		s -= step
		if cmplx.Abs(step) < 1e-13*cmplx.Abs(s) {
			break
		}
	}
	return Mode{AlphaPerSecond: real(s), Hertz: imag(s) / (2 * math.Pi)}
}

// arm is the motional arm's impedance at a complex frequency.
func (r *Resonator) arm(s complex128) complex128 {
	return complex(r.R1, 0) + scale(s, r.L1) + 1/scale(s, r.C1)
}
