package crystal

import (
	"math"
	"math/cmplx"
)

// GmRange is the open range of transconductance in which the oscillator
// starts. Low is NaN when no gm starts it; High is +Inf when more gm never hurts.
type GmRange struct{ Low, High float64 }

// startRange solves -Re Z > r1 as a quadratic in gm, exactly, losses included.
func (m Mobius) startRange(r1 float64) GmRange {
	cross := func(x, y complex128) float64 { return real(x * cmplx.Conj(y)) }
	a := cross(m.N1, m.D1) + r1*cross(m.D1, m.D1)
	b := cross(m.N0, m.D1) + cross(m.N1, m.D0) + 2*r1*cross(m.D0, m.D1)
	c := cross(m.N0, m.D0) + r1*cross(m.D0, m.D0)
	disc := b*b - 4*a*c
	never := GmRange{Low: math.NaN(), High: math.NaN()}
	if a > 0 {
		if disc <= 0 || b >= 0 {
			return never
		}
		q := (-b + math.Sqrt(disc)) / 2
		return GmRange{Low: max(0, c/q), High: q / a}
	}
	// Opens downward (a series resistor does this): above the larger root.
	switch {
	case disc < 0:
		return GmRange{Low: 0, High: math.Inf(1)}
	case b < 0: // the form that does not cancel, and serves a line as well
		return GmRange{Low: max(0, 2*c/(-b+math.Sqrt(disc))), High: math.Inf(1)}
	case a == 0:
		return never
	}
	return GmRange{Low: max(0, (-b-math.Sqrt(disc))/(2*a)), High: math.Inf(1)}
}

// StartRange returns the transconductances between which the oscillator
// starts. The frequency follows gm, so it is settled at the lower limit.
func (r Resonator) StartRange(n *Net) GmRange {
	omega := r.omega(0)
	var limits GmRange
	for range frequencyPasses {
		m := Coeffs(n, r.C0, complex(0, omega))
		limits = m.startRange(r.R1)
		if math.IsNaN(limits.Low) {
			return limits
		}
		omega = r.omega(imag(m.Ohms(limits.Low)))
	}
	return limits
}

// GainMargin is gm over the least gm that starts, at fixed output conductance;
// 0 when no gm starts it.
func (r Resonator) GainMargin(n *Net, gm float64) float64 {
	low := r.StartRange(n).Low
	if math.IsNaN(low) {
		return 0
	}
	return gm / low
}

// CriticalGm is the textbook least gm, 4·ESR·ω²·(C0+CL)² (form of ST AN2867).
// It is blind to film, crack and output resistance: for comparison only, the
// simulated unit never uses it.
func CriticalGm(hertz, esrOhms, c0, loadFarads float64) float64 {
	w := 2 * math.Pi * hertz * (c0 + loadFarads)
	return 4 * esrOhms * w * w
}

// TimeoutOhms is what a time-out costs: growth from firstAmps to levelAmps
// within seconds needs |Rn| > R1 + TimeoutOhms. It leaves out that growth slows
// near the limit, so it is a rule for the engineer; the simulated unit
// integrates instead.
func (r Resonator) TimeoutOhms(firstAmps, levelAmps, seconds float64) float64 {
	return 2 * r.L1 * math.Log(levelAmps/firstAmps) / seconds
}
