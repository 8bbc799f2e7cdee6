package crystal

import "math"

// Resonator is the crystal itself: motional arm and shunt capacitance
// (Butterworth - Van Dyke).
type Resonator struct{ L1, C1, R1, C0 float64 }

// NewResonator places the motional inductance so that the crystal rings at
// hertz with loadFarads across it, by the exact square-root form.
func NewResonator(hertz, loadFarads, c1, c0, r1 float64) Resonator {
	series := hertz / math.Sqrt(1+c1/(c0+loadFarads))
	w := 2 * math.Pi * series
	return Resonator{L1: 1 / (w * w * c1), C1: c1, R1: r1, C0: c0}
}

// omega is the angular frequency at which the motional arm's reactance is the
// opposite of the reactance x (ohms) of the net.
func (r Resonator) omega(x float64) float64 {
	return (-x + math.Sqrt(x*x+4*r.L1/r.C1)) / (2 * r.L1)
}

// frequencyPasses of the fixed point below leave less than 1e-12 of ω: each
// pass gains the factor by which the crystal is stiffer than the net, some 1e3.
const frequencyPasses = 4

// Settle returns the angular frequency at which crystal and net oscillate with
// the transconductance gm, and the impedance the motional arm sees there. Its
// real part is the negative resistance (negative when useful).
func (r Resonator) Settle(n *Net, gm float64) (omega float64, z complex128) {
	omega = r.omega(0)
	for range frequencyPasses {
		z = Coeffs(n, r.C0, complex(0, omega)).Ohms(gm)
		omega = r.omega(imag(z))
	}
	return omega, z
}

// LoadFarads is the effective load capacitance behind a net reactance x at ω.
func (r Resonator) LoadFarads(omega, x float64) float64 { return -1/(omega*x) - r.C0 }
