package failrate

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Anytime returns an interval that holds the true rate, with the confidence
// given, at all cycles of a run together. So it holds whenever the run is
// stopped, and for whatever reason: because enough was seen, because it looked
// good, because it was Monday. The price is a width about half as large again as
// Clopper-Pearson's. It depends on the counts alone, not on their order.
//
// A rate p is left out when the likelihood of the cycles averaged over Jeffreys'
// prior exceeds their likelihood at p by the factor 1/(1-C). At the true rate that
// ratio is a martingale with mean 1, which ever reaches 1/(1-C) with a
// probability of at most 1-C.
//
// Source: Darling and Robbins, Proc. Natl. Acad. Sci. 58 (1967) 66; Robbins,
// Ann. Math. Statist. 41 (1970) 1397, the mixture; Ville, Étude critique de la
// notion de collectif (1939), the bound.
//
// Of no cycles and of impossible counts it says what [ClopperPearson] says.
func Anytime(failures, cycles int, confidence float64) Interval {
	return newInterval(anytimeLimits, failures, cycles, confidence)
}

func anytimeLimits(x, n, tail float64) (low, high float64) {
	good := n - x
	least := anytimeLikelihood(x, good, 2*tail)
	// What is solved is x·ln p + good·ln(1-p) = least, which rises up to x/n and
	// falls from there.
	excess := func(p float64) (float64, float64) {
		return x*math.Log(p) + good*math.Log1p(-p) - least, x/p - good/(1-p)
	}
	shortfall := func(p float64) (float64, float64) {
		value, slope := excess(p)
		return -value, -slope
	}
	estimate := x / n
	switch {
	case x == 0:
		return 0, -math.Expm1(least / n)
	case good == 0:
		return math.Exp(least / n), 1
	}
	return risingRoot(0, estimate, estimate/2, excess), risingRoot(estimate, 1, min(2*estimate, (1+estimate)/2), shortfall)
}

// anytimeLikelihood returns the log-likelihood below which a rate is left out:
// that averaged over the prior, B(x+1/2, good+1/2)/B(1/2, 1/2), less ln(1/miss).
func anytimeLikelihood(x, good, miss float64) float64 {
	return mathext.Lbeta(x+0.5, good+0.5) - math.Log(math.Pi) + math.Log(miss)
}
