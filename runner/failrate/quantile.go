package failrate

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// betaQuantile returns the x at which the regularised incomplete beta function
// I_x(a, b) equals p, for a, b >= 1 and 0 < p < 1.
//
// The library's inverse stops at a tolerance of its own, which is coarse for
// the tiny x of a rare failure. It serves as a first guess; Newton steps on
// I_x, kept inside a shrinking bracket, take it to the precision of I_x
// itself: about 1e-13 relative for some hundred cycles, 1e-10 for a million.
func betaQuantile(p, a, b float64) float64 {
	low, high := 0.0, 1.0
	x := mathext.InvRegIncBeta(a, b, p)
	if !(x > 0 && x < 1) {
		x = a / (a + b)
	}
	logBeta := mathext.Lbeta(a, b)
	for range 200 { // bisection alone needs about a hundred for the smallest x
		excess := mathext.RegIncBeta(a, b, x) - p
		if excess == 0 {
			return x
		}
		if excess > 0 {
			high = x
		} else {
			low = x
		}
		density := math.Exp((a-1)*math.Log(x) + (b-1)*math.Log1p(-x) - logBeta)
		next := x - excess/density
		if !(next > low && next < high) {
			next = low + (high-low)/2
		}
		if math.Abs(next-x) <= 4e-16*x {
			return next
		}
		x = next
	}
	return x
}
