package verdict

import "math"

// growthTop is the fraction of the steady amplitude up to which the growth is
// followed: beyond it the limiting of the amplifier is no longer small.
const growthTop = 0.35

// growthModel is the relative standard uncertainty of a time constant that comes
// from the law below being an idea of the amplifier.
const growthModel = 0.02

// growth returns the time constant and its standard uncertainty of the exponential growth by which the
// envelope, level high when settled, reached bin top; NaN if too little of it is
// seen. Both are in seconds.
//
// It is the weighted straight line through ln of the amplitude, taken as that
// of an oscillator whose gain falls with the square of its amplitude,
//
//	A(t) = S / sqrt(1 + ((S/a0)^2 - 1) exp(-2t/tau))
//
// so that ln(A/sqrt(1-(A/S)^2)) rises by exactly t/tau. The weights follow from
// the noise being the same at every amplitude.
func (e *envelope) growth(top int, level float64) (tau, sd float64) {
	for top >= e.first && e.amplitude[top] > growthTop*level {
		top--
	}
	bottom := top
	floor := max(2*e.floor, 0.05*level)
	for bottom >= e.first && e.amplitude[bottom] >= floor {
		bottom--
	}
	bottom++
	const fewest, leastRise = 4, 0.7 // bins, nepers
	if top-bottom+1 < fewest || !(math.Log(e.amplitude[top]/e.amplitude[bottom]) >= leastRise) {
		return math.NaN(), math.NaN()
	}
	var w, wx, wy, wxx, wxy float64
	for i := bottom; i <= top; i++ {
		a := e.amplitude[i] / level
		limit := 1 - a*a
		y := math.Log(a) - math.Log(limit)/2
		weight := a * a * limit * limit
		x := float64(i - bottom)
		w += weight
		wx += weight * x
		wy += weight * y
		wxx += weight * x * x
		wxy += weight * x * y
	}
	binsPerNeper := (w*wxx - wx*wx) / (w*wxy - wx*wy)
	if !(binsPerNeper > 0) || !finite(binsPerNeper) {
		return math.NaN(), math.NaN()
	}
	// The slope's standard deviation, for amplitudes of which e.shared go together.
	noise := e.deviation(growthTop*level) / level * math.Sqrt(float64(e.shared))
	relative := binsPerNeper * noise / math.Sqrt(wxx-wx*wx/w)
	tau = binsPerNeper * e.t.StepSeconds
	return tau, tau * math.Hypot(relative, growthModel)
}
