package crystal

import (
	"math"
	"math/cmplx"
)

// Growth returns the complex root s = α+jω of R1 + s·L1 + 1/(s·C1) + Zc(s) = 0
// by Newton's method from the settled frequency: the amplitude goes as e^(αt),
// α negative when it decays.
func (r Resonator) Growth(n *Net, gm float64) (alphaPerSecond, hertz float64) {
	omega, z := r.Settle(n, gm)
	s := complex(-(real(z)+r.R1)/(2*r.L1), omega)
	mesh := func(s complex128) complex128 {
		return complex(r.R1, 0) + scale(s, r.L1) + 1/scale(s, r.C1) + Coeffs(n, r.C0, s).Ohms(gm)
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
	return real(s), imag(s) / (2 * math.Pi)
}
