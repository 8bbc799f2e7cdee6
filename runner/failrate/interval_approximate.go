package failrate

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// The intervals of this file are shorter than the exact one. They hold the true
// rate with their confidence on average over rates, and for single rates less
// often. All are two-sided; of no cycles and of impossible counts they say what
// [ClopperPearson] says.

// Wilson returns the score interval, without continuity correction: the rates
// that a normal test would not reject.
//
// Source: Wilson, J. Amer. Statist. Assoc. 22 (1927) 209.
func Wilson(failures, cycles int, confidence float64) Interval {
	return newInterval(wilsonLimits, failures, cycles, confidence)
}

// wilsonLimits are the roots of (n+z²)p² - (2x+z²)p + x²/n. The smaller one
// comes from their product, since a difference of nearly equal numbers would
// lose the digits of a rare failure.
func wilsonLimits(x, n, tail float64) (low, high float64) {
	z := -normalQuantile(tail)
	sum := x + z*z/2 + z*math.Sqrt(x*(n-x)/n+z*z/4)
	switch x {
	case 0:
		return 0, sum / (n + z*z)
	case n:
		return n / (n + z*z), 1
	}
	return x * x / n / sum, sum / (n + z*z)
}

// Jeffreys returns the equal-tailed interval of the posterior under Jeffreys'
// prior, Beta(1/2, 1/2). Where nothing failed its lower limit is 0, where
// everything failed its upper limit is 1.
//
// Source: Brown, Cai and DasGupta, Statist. Sci. 16 (2001) 101.
func Jeffreys(failures, cycles int, confidence float64) Interval {
	return newInterval(jeffreysLimits, failures, cycles, confidence)
}

func jeffreysLimits(x, n, tail float64) (low, high float64) {
	low, high = 0, 1
	if x > 0 {
		low = betaQuantile(tail, x+0.5, n-x+0.5)
	}
	if x < n {
		high = betaQuantile(1-tail, x+0.5, n-x+0.5)
	}
	return low, high
}

// MidP returns the interval of the exact test that counts half of the
// probability of what was seen.
//
// Source: Lancaster, J. Amer. Statist. Assoc. 56 (1961) 223; Berry and
// Armitage, The Statistician 44 (1995) 417.
func MidP(failures, cycles int, confidence float64) Interval {
	return newInterval(midPLimits, failures, cycles, confidence)
}

func midPLimits(x, n, tail float64) (low, high float64) {
	switch x { // with no failure half of (1-p)^n is tail
	case 0:
		return 0, zeroFailures(n, 2*tail)
	case n:
		return 1 - zeroFailures(n, 2*tail), 1
	}
	return midPLimit(x, n, tail), midPLimit(x, n, 1-tail)
}

// midPLimit returns the rate at which P(X > x) + P(X = x)/2 is tail.
func midPLimit(x, n, tail float64) float64 {
	atLeast, above := betaDensity(x, n-x+1), betaDensity(x+1, n-x)
	guess := betaQuantile(tail, x+0.5, n-x+0.5)
	return risingRoot(0, 1, guess, func(p float64) (excess, slope float64) {
		return (mathext.RegIncBeta(x, n-x+1, p)+mathext.RegIncBeta(x+1, n-x, p))/2 - tail, (atLeast(p) + above(p)) / 2
	})
}
