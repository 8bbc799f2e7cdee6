// Package failrate holds the statistics of failure rates: how often a unit
// fails and how sure that is, how many cycles a question needs, when a run has
// seen enough; whether two samples differ in failures or start times, and which
// treatment of a hunt changed something; at which voltage failures begin, fitted or
// searched for; how start times are distributed, and whether the cycles of a night
// were alike; and the tally of cycles by condition. It is pure: no clock, no files,
// no chance.
package failrate

import "math"

// Interval is a failure rate with its confidence interval.
type Interval struct {
	Estimate   float64 // failures / cycles; NaN (not measured) when there were no cycles
	Low, High  float64 // limits of the rate, each in [0, 1]
	Confidence float64 // 0.95 = 95 %
	OneSided   bool    // only one limit says anything (the other is 0 or 1), and it alone has the full Confidence
}

// ClopperPearson returns the exact interval that ringup reports. It is the
// two-sided Clopper-Pearson interval, except where nothing or everything
// failed: there one limit is known (0 or 1) and the other is the one-sided
// bound with the whole of the confidence, 1-(1-C)^(1/n) after no failure in n
// cycles, so that "0 of 300" reads "below 1.0 % with 95 % confidence". Each of
// these statements holds with the confidence C by itself. One who lets the count
// choose between them is right with at least 1-1.5(1-C) when there are many cycles;
// [TwoSided] is right with at least C.
//
// With no cycles nothing is known: Estimate is NaN and the interval [0, 1].
// The same is said of counts and confidences that cannot be; [Method.Interval]
// and [NewRate] refuse them.
//
// Source: Clopper and Pearson, Biometrika 26 (1934) 404; for zero failures
// Hanley and Lippman-Hand, JAMA 249 (1983) 1743.
func ClopperPearson(failures, cycles int, confidence float64) Interval {
	iv := TwoSided(failures, cycles, confidence)
	switch {
	case math.IsNaN(iv.Estimate):
	case failures == 0:
		iv.High, iv.OneSided = zeroFailures(float64(cycles), 1-confidence), true
	case failures == cycles:
		iv.Low, iv.OneSided = 1-zeroFailures(float64(cycles), 1-confidence), true
	}
	return iv
}

// TwoSided returns the two-sided Clopper-Pearson interval in every case, as
// published tables have it: each limit leaves out half of 1-confidence.
// What it says of no cycles and of impossible counts is what [ClopperPearson]
// says.
func TwoSided(failures, cycles int, confidence float64) Interval {
	return newInterval(exactLimits, failures, cycles, confidence)
}

// limits computes the limits of the rate after x failures in n cycles, leaving
// out tail on either side. Planning asks for x that are no whole numbers.
type limits func(x, n, tail float64) (low, high float64)

// newInterval returns the interval with those limits, [0, 1] where there is
// nothing to compute. It never returns a limit outside [0, 1].
func newInterval(of limits, failures, cycles int, confidence float64) Interval {
	if checkConfidence(confidence) != nil {
		return Interval{Estimate: math.NaN(), Low: 0, High: 1, Confidence: 1} // it is certain to hold
	}
	iv := Interval{Estimate: math.NaN(), Low: 0, High: 1, Confidence: confidence}
	if cycles == 0 || checkCounts(failures, cycles) != nil {
		return iv
	}
	x, n := float64(failures), float64(cycles)
	iv.Estimate = x / n
	low, high := of(x, n, (1-confidence)/2)
	iv.Low, iv.High = max(0, low), min(1, high)
	return iv
}

// exactLimits are Clopper and Pearson's.
func exactLimits(x, n, tail float64) (low, high float64) {
	switch x {
	case 0:
		return 0, zeroFailures(n, tail)
	case n:
		return 1 - zeroFailures(n, tail), 1
	}
	return betaQuantile(tail, x, n-x+1), betaQuantile(1-tail, x+1, n-x)
}

// zeroFailures returns the rate at which no failure in n cycles has
// probability tail, 1-tail^(1/n), without cancellation for large n.
func zeroFailures(n, tail float64) float64 {
	return -math.Expm1(math.Log(tail) / n)
}
