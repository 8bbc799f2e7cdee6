package failrate

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// normalUpper returns P(Z > z) of the standard normal distribution. The
// library's Survival subtracts from 1 and is left with nothing beyond z = 8.
func normalUpper(z float64) float64 { return math.Erfc(z/math.Sqrt2) / 2 }

// normalQuantile returns the z with P(Z <= z) = p, infinite at 0 and 1.
func normalQuantile(p float64) float64 { return mathext.NormalQuantile(p) }

// chiSquareUpper returns P(X > x) of the chi-square distribution.
func chiSquareUpper(x, degrees float64) float64 {
	return distuv.ChiSquared{K: degrees}.Survival(x)
}

// tQuantile returns the t with P(T <= t) = p of Student's distribution.
func tQuantile(p, degrees float64) float64 {
	if p > 0.5 {
		return -tQuantile(1-p, degrees)
	}
	if p == 0.5 {
		return 0
	}
	// Both tails together, 2p, are I_x(degrees/2, 1/2) at x = degrees/(degrees+t²).
	x := betaQuantile(2*p, degrees/2, 0.5)
	return -math.Sqrt(degrees * (1 - x) / x)
}

// betaQuantile returns the x at which the regularised incomplete beta function
// I_x(a, b) equals p, for 0 < p < 1.
//
// The library's inverse stops at a tolerance of its own, which is coarse for
// the tiny x of a rare failure. It serves as a first guess only. The result is
// as good as I_x itself: about 1e-13 relative for some hundred cycles, 1e-10
// for a million.
func betaQuantile(p, a, b float64) float64 {
	guess := mathext.InvRegIncBeta(a, b, p)
	if !(guess > 0 && guess < 1) {
		guess = a / (a + b)
	}
	density := betaDensity(a, b)
	return risingRoot(0, 1, guess, func(x float64) (excess, slope float64) {
		return mathext.RegIncBeta(a, b, x) - p, density(x)
	})
}

// betaDensity returns the density of the beta distribution.
func betaDensity(a, b float64) func(x float64) float64 {
	logBeta := mathext.Lbeta(a, b)
	return func(x float64) float64 {
		return math.Exp((a-1)*math.Log(x) + (b-1)*math.Log1p(-x) - logBeta)
	}
}

// risingRoot returns the x between low and high at which a function that rises
// there is zero, by Newton steps kept inside a bracket that shrinks, from a
// first guess. low is not negative. f returns the function and its slope.
func risingRoot(low, high, guess float64, f func(x float64) (value, slope float64)) float64 {
	x := guess
	for range 200 { // bisection alone needs about a hundred for the smallest x
		value, slope := f(x)
		switch {
		case value == 0:
			return x
		case value > 0:
			high = x
		default:
			low = x
		}
		next := x - value/slope
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

// binomialAtMost returns P(X <= k) for X failures in n cycles that each fail
// with probability p.
func binomialAtMost(k, n int, p float64) float64 {
	switch {
	case k < 0:
		return 0
	case k >= n, p <= 0:
		return 1
	case p >= 1:
		return 0
	case k == 0:
		return math.Exp(float64(n) * math.Log1p(-p))
	}
	return mathext.RegIncBeta(float64(n-k), float64(k+1), 1-p)
}

// binomialAtLeast returns P(X >= k), see [binomialAtMost].
func binomialAtLeast(k, n int, p float64) float64 {
	switch {
	case k <= 0:
		return 1
	case k > n, p <= 0:
		return 0
	case p >= 1:
		return 1
	}
	return mathext.RegIncBeta(float64(k), float64(n-k+1), p)
}

// How far a distribution is followed, as a part of its most likely count's
// probability: negligible in a sum near 1, and deep for sums that are tiny
// themselves.
const (
	negligible = 1e-18
	deep       = 1e-300
)

// binomialWindow returns the probabilities of least, least+1, … failures in n
// cycles; what lies outside adds up to less than 1e-19.
func binomialWindow(n int, p float64) (least int, probability []float64) {
	return binomialWindowTo(n, p, 1e-22)
}

// binomialWindowTo is [binomialWindow] up to where the probabilities are less
// than the most likely one's by the factor cut.
//
// They follow from each other by simple ratios, so they are built outwards from
// the most likely count, where nothing overflows, and divided by their sum.
// Through log-gamma they would lose nine digits at a million cycles.
func binomialWindowTo(n int, p, cut float64) (least int, probability []float64) {
	switch {
	case p <= 0 || n == 0:
		return 0, []float64{1}
	case p >= 1:
		return n, []float64{1}
	}
	odds := p / (1 - p)
	return windowFromMode(min(n, int(float64(n+1)*p)), 0, n, cut, func(k int) float64 { // P(k+1) / P(k)
		return float64(n-k) / float64(k+1) * odds
	})
}

// windowFromMode returns the probabilities around the most likely of the counts
// from first to last, given the ratio of that of k+1 to that of k.
func windowFromMode(mode, first, last int, cut float64, ratio func(k int) float64) (least int, probability []float64) {
	var below []float64 // from the mode outwards
	for k, w := mode-1, 1.0; k >= first; k-- {
		if w /= ratio(k); w < cut {
			break
		}
		below = append(below, w)
	}
	slices.Reverse(below)
	probability = append(below, 1)
	for k, w := mode, 1.0; k < last; k++ {
		if w *= ratio(k); w < cut {
			break
		}
		probability = append(probability, w)
	}
	var total float64
	for _, w := range probability {
		total += w
	}
	for i := range probability {
		probability[i] /= total
	}
	return mode - len(below), probability
}
