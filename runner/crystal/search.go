package crystal

import "math"

// boundary bisects between low, where holds is true, and high, where it is not.
func boundary(low, high float64, holds func(float64) bool) float64 {
	for range 40 {
		mid := (low + high) / 2
		if mid == low || mid == high {
			break
		}
		if holds(mid) {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// bracketedRoot finds the zero of a rising function between low and high by
// false position with the Illinois weighting, to machine precision or 80 steps.
func bracketedRoot(f func(float64) float64, low, high float64) float64 {
	fl, fh := f(low), f(high)
	if fl >= 0 {
		return low
	}
	if fh <= 0 {
		return high
	}
	side := 0
	x := low
	for range 80 {
		last := x
		x = (low*fh - high*fl) / (fh - fl)
		if x <= low || x >= high {
			x = (low + high) / 2
		}
		y := f(x)
		if y == 0 || math.Abs(x-last) < 1e-14*math.Abs(x) {
			break
		}
		if y < 0 {
			low, fl = x, y
			if side < 0 {
				fh /= 2
			}
			side = -1
		} else {
			high, fh = x, y
			if side > 0 {
				fl /= 2
			}
			side = 1
		}
	}
	return x
}

// golden finds the lowest point of f between low and high by golden section.
func golden(low, high float64, f func(float64) float64) float64 {
	const g = 0.6180339887498949
	a, b := high-g*(high-low), low+g*(high-low)
	fa, fb := f(a), f(b)
	for range 60 {
		if fa < fb {
			high, b, fb = b, a, fa
			a = high - g*(high-low)
			fa = f(a)
		} else {
			low, a, fa = a, b, fb
			b = low + g*(high-low)
			fb = f(b)
		}
	}
	return (low + high) / 2
}
