package failrate

import "math"

// rootBetween finds where f crosses zero in [low, high], where it has opposite
// signs, by regula falsi (the Illinois variant) guarded by bisection. It runs
// until the interval cannot shrink.
func rootBetween(f func(float64) float64, low, high float64) float64 {
	fLow, fHigh := f(low), f(high)
	switch {
	case fLow == 0:
		return low
	case fHigh == 0:
		return high
	}
	var side int
	for i := range 300 {
		next := (low*fHigh - high*fLow) / (fHigh - fLow)
		// Every third step halves, so that no shape of f can stall it.
		if i%3 == 2 || !(next > min(low, high) && next < max(low, high)) {
			next = low + (high-low)/2
		}
		if next == low || next == high || math.Abs(high-low) <= 4e-16*math.Abs(next) {
			return next
		}
		switch value := f(next); {
		case value == 0:
			return next
		case math.Signbit(value) == math.Signbit(fLow):
			low, fLow = next, value
			if side == -1 {
				fHigh /= 2
			}
			side = -1
		default:
			high, fHigh = next, value
			if side == 1 {
				fLow /= 2
			}
			side = 1
		}
	}
	return low + (high-low)/2
}

// highest returns where f is highest in [low, high], where it has one peak, and
// its height there, by golden section. A height is flat at its top: the place
// to a hundred thousandth of the interval gives the height to nine digits.
func highest(f func(float64) float64, low, high float64) (at, height float64) {
	const golden = 0.6180339887498949
	const steps = 25 // golden^25 = 6e-6
	x1, x2 := high-golden*(high-low), low+golden*(high-low)
	f1, f2 := f(x1), f(x2)
	for range steps {
		if f1 > f2 {
			high, x2, f2 = x2, x1, f1
			x1 = high - golden*(high-low)
			f1 = f(x1)
		} else {
			low, x1, f1 = x1, x2, f2
			x2 = low + golden*(high-low)
			f2 = f(x2)
		}
	}
	if f1 > f2 {
		return x1, f1
	}
	return x2, f2
}
