// Package failrate holds the statistics of failure rates: exact confidence
// intervals, the exact comparison of two rates, the correction for many
// comparisons, and the tally of cycles by condition. It is pure: no clock, no
// files, no chance.
package failrate

import (
	"fmt"
	"math"
)

// Interval is a failure rate with its confidence interval.
type Interval struct {
	Estimate   float64 // failures / cycles; NaN when there were no cycles
	Low, High  float64 // limits of the rate, each in [0, 1]
	Confidence float64 // 0.95 = 95 %
	OneSided   bool    // only one limit says anything (the other is 0 or 1), and it alone has the full Confidence
}

// ClopperPearson returns the exact interval that ringup reports. It is the
// two-sided Clopper-Pearson interval, except where nothing or everything
// failed: there one limit is known (0 or 1) and the other is the one-sided
// bound with the whole of the confidence, 1-(1-C)^(1/n) after no failure in n
// cycles, so that "0 of 300" reads "below 1.0 % with 95 % confidence".
//
// With no cycles nothing is known: Estimate is NaN and the interval [0, 1].
// It panics if failures is not within 0...cycles or confidence not within (0, 1).
//
// Source: Clopper and Pearson, Biometrika 26 (1934) 404; for zero failures
// Hanley and Lippman-Hand, JAMA 249 (1983) 1743.
func ClopperPearson(failures, cycles int, confidence float64) Interval {
	iv := TwoSided(failures, cycles, confidence)
	switch {
	case cycles == 0:
	case failures == 0:
		iv.High, iv.OneSided = zeroFailures(cycles, 1-confidence), true
	case failures == cycles:
		iv.Low, iv.OneSided = 1-zeroFailures(cycles, 1-confidence), true
	}
	return iv
}

// TwoSided returns the two-sided Clopper-Pearson interval in every case, as
// published tables have it: each limit leaves out half of 1-confidence.
// Its arguments and its answer to no cycles are those of [ClopperPearson].
func TwoSided(failures, cycles int, confidence float64) Interval {
	if failures < 0 || cycles < failures {
		panic(fmt.Sprintf("failrate: %d failures in %d cycles; failures must be within 0...cycles", failures, cycles))
	}
	if !(confidence > 0 && confidence < 1) {
		panic(fmt.Sprintf("failrate: confidence %v; it must lie between 0 and 1, 0.95 for 95 %%", confidence))
	}
	iv := Interval{Estimate: math.NaN(), Low: 0, High: 1, Confidence: confidence}
	if cycles == 0 {
		return iv
	}
	x, n := float64(failures), float64(cycles)
	iv.Estimate = x / n
	tail := (1 - confidence) / 2
	switch failures {
	case 0:
		iv.High = zeroFailures(cycles, tail)
	case cycles:
		iv.Low = 1 - zeroFailures(cycles, tail)
	default:
		iv.Low = betaQuantile(tail, x, n-x+1)
		iv.High = betaQuantile(1-tail, x+1, n-x)
	}
	return iv
}

// zeroFailures returns the rate at which no failure in n cycles has
// probability tail, 1-tail^(1/n), without cancellation for large n.
func zeroFailures(n int, tail float64) float64 {
	return -math.Expm1(math.Log(tail) / float64(n))
}
