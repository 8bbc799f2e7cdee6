package failrate

import "math"

// profile returns the voltages at which a rate of eta is not contradicted by
// the (penalised) likelihood: twice the loss against the best curve stays below
// z².
func (f ThresholdFit) profile(eta, best, z float64) Limits {
	m, err := newThresholdModel(f.doses, f.Link, f.Penalised)
	if err != nil { // the doses of a fit are good ones
		return Limits{math.Inf(-1), math.Inf(1)}
	}
	// The curves that have the rate at x are one family. Near the voltages tried
	// they are told apart by their slope, far from them by their height at the centre.
	slope := f.Slope * m.width
	height := f.Intercept + f.Slope*m.centre
	loss := func(v float64) float64 {
		x := (v - m.centre) / m.width
		curve, guess := func(b1 float64) float64 { return m.at(eta-b1*x, b1).value }, slope
		if math.Abs(x) > 1 {
			curve, guess = func(b0 float64) float64 { return m.at(b0, (eta-b0)/x).value }, height
		}
		reached := peak(func(b float64) float64 {
			if value := curve(b); !math.IsNaN(value) {
				return value
			}
			return math.Inf(-1)
		}, guess)
		return 2*(f.top-reached) - z*z
	}
	// Step outwards, ever farther, to where the loss is too high. A limit that is
	// not found within some hundred times the range tried is none.
	end := func(direction float64) float64 {
		last := best
		step := m.width / 256
		for range 28 {
			next := last + direction*step
			if loss(next) > 0 {
				if direction > 0 {
					return rootBetween(loss, last, next)
				}
				return rootBetween(loss, next, last)
			}
			last, step = next, step*1.5
		}
		return math.Inf(int(direction))
	}
	return Limits{end(-1), end(1)}
}

// peak returns the height of the one peak of f, looked for from a first guess
// outwards.
func peak(f func(float64) float64, guess float64) float64 {
	step := 0.25 * max(math.Abs(guess), 1e-3)
	low, middle, high := guess-step, guess, guess+step
	at, left, right := f(middle), f(low), f(high)
	for range 60 {
		switch {
		case left > at:
			step *= 2
			high, right = middle, at
			middle, at = low, left
			low = middle - step
			left = f(low)
		case right > at:
			step *= 2
			low, left = middle, at
			middle, at = high, right
			high = middle + step
			right = f(high)
		default:
			x, height := highest(f, low, high)
			// A second, narrow pass takes the height to the precision of f.
			narrow := (high - low) * 1e-4
			_, height2 := highest(f, x-narrow, x+narrow)
			return max(height, height2, at)
		}
	}
	return at
}
