package failrate

import (
	"fmt"
	"math"
)

// FisherExact returns the two-sided p-value of Fisher's exact test for the
// same failure rate in A (failA of nA cycles) and B (failB of nB): the
// probability, with all margins fixed, of the outcomes no more likely than the
// one seen. It is 1 when either side has no cycles.
// It panics if a failure count is not within 0...its cycles.
//
// Source: Agresti, Categorical Data Analysis (1990), section 3.5.
func FisherExact(failA, nA, failB, nB int) float64 {
	if failA < 0 || nA < failA || failB < 0 || nB < failB {
		panic(fmt.Sprintf("failrate: %d of %d against %d of %d; failures must be within 0...cycles", failA, nA, failB, nB))
	}
	fails := failA + failB
	least, most := max(0, fails-nB), min(fails, nA)
	// The number of failures in A is hypergeometric. Its probabilities follow
	// from each other by simple ratios, so they are built outwards from the
	// most likely count, where nothing overflows, and normalised by their sum.
	mode := int(float64(nA+1) * float64(fails+1) / float64(nA+nB+2))
	mode = min(max(mode, least), most)
	weight := make([]float64, most-least+1)
	weight[mode-least] = 1
	up := func(k int) float64 { // P(k+1) / P(k)
		return float64(nA-k) * float64(fails-k) / (float64(k+1) * float64(nB-fails+k+1))
	}
	for k := mode; k < most; k++ {
		weight[k+1-least] = weight[k-least] * up(k)
	}
	for k := mode; k > least; k-- {
		weight[k-1-least] = weight[k-least] / up(k-1)
	}
	// Outcomes exactly as likely as the one seen must not be lost to rounding.
	limit := weight[failA-least] * (1 + 1e-7)
	var asExtreme, total float64
	for _, w := range weight {
		total += w
		if w <= limit {
			asExtreme += w
		}
	}
	return math.Min(1, asExtreme/total)
}
