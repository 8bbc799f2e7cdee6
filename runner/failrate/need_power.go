package failrate

import (
	"fmt"
	"math"
)

// ChangePower returns the probability that Fisher's two-sided exact test calls
// a difference significant (p at most significance), when side A fails at rateA
// in cyclesA cycles and B at rateB in cyclesB. It is exact: summed over all
// outcomes. Rates may be 0 and 1. What cannot be is refused with an [*InputError].
func ChangePower(rateA float64, cyclesA int, rateB float64, cyclesB int, significance float64) (float64, error) {
	if err := checkChange(rateA, rateB, significance); err != nil {
		return 0, err
	}
	for _, n := range []int{cyclesA, cyclesB} {
		if n < 0 || n > maxChangeCycles {
			return 0, refuse("cycles", n, fmt.Sprintf("they lie from 0 to %s a side", Count(maxChangeCycles)))
		}
	}
	return fisherPower(rateA, cyclesA, rateB, cyclesB, significance), nil
}

// DetectableRate returns the rate nearest to from, above it or below, that a
// comparison of cyclesA cycles at the rate from with cyclesB at the other would
// have shown with at least that power: "a change to below 3 % would have been
// seen". There may be none: with few cycles not even a rate of 0 or 1 is far
// enough. What cannot be is refused with an [*InputError]; the test is that of
// [ChangePower].
func DetectableRate(from float64, cyclesA, cyclesB int, above bool, power, significance float64) (rate float64, ok bool, err error) {
	if err := checkRate("power", power); err != nil {
		return 0, false, err
	}
	far := 0.0
	if above {
		far = 1
	}
	most, err := ChangePower(from, cyclesA, far, cyclesB, significance)
	if err != nil || most < power {
		return 0, false, err
	}
	near := from
	for range 40 { // to a millionth of the way, and further for rare failures
		middle := near + (far-near)/2
		if fisherPower(from, cyclesA, middle, cyclesB, significance) >= power {
			far = middle
		} else {
			near = middle
		}
		if math.Abs(far-near) < 1e-6*min(far, 1-far) {
			break
		}
	}
	return far, true, nil
}

// checkChange refuses rates and a significance that no comparison can have.
func checkChange(rateA, rateB, significance float64) error {
	for _, rate := range []float64{rateA, rateB} {
		if !(rate >= 0 && rate <= 1) {
			return refuse("rate", rate, "it lies from 0 to 1; 1 % is 0.01")
		}
	}
	if !(significance > 0 && significance < 1) {
		return refuse("significance", significance, "it lies between 0 and 1; at 95 % confidence it is 0.05")
	}
	return nil
}

// fisherPower sums the probability of the outcomes that the test does not call
// significant, and leaves the rest. Outcomes of the same total share the
// test's distribution, so they are taken together.
func fisherPower(rateA float64, cyclesA int, rateB float64, cyclesB int, significance float64) float64 {
	leastA, a := binomialWindowTo(cyclesA, rateA, negligible)
	leastB, b := binomialWindowTo(cyclesB, rateB, negligible)
	var missed float64
	for total := leastA + leastB; total <= leastA+len(a)-1+leastB+len(b)-1; total++ {
		from, to := fisherInsignificant(cyclesA, cyclesB, total, significance)
		from = max(from, leastA, total-(leastB+len(b)-1))
		to = min(to, leastA+len(a)-1, total-leastB)
		for k := from; k <= to; k++ {
			missed += a[k-leastA] * b[total-k-leastB]
		}
	}
	return math.Max(0, 1-missed)
}

// fisherInsignificant returns the failures on side A, given the total, between
// which the test's two-sided p-value is above significance: the p-value is the
// probability of the outcomes no more likely, so it falls from the middle outwards.
// from > to if none is.
func fisherInsignificant(cyclesA, cyclesB, total int, significance float64) (from, to int) {
	from, weight := hypergeometricWindow(cyclesA, cyclesB, total)
	to = from + len(weight) - 1
	var rejected float64
	for len(weight) > 0 {
		// The least likely of those left, and those exactly as likely on either
		// side, have one p-value.
		limit := min(weight[0], weight[len(weight)-1]) * (1 + 1e-7)
		low, high := 0, len(weight)
		sum := rejected
		for low < high && weight[low] <= limit {
			sum += weight[low]
			low++
		}
		for high > low && weight[high-1] <= limit {
			sum += weight[high-1]
			high--
		}
		if sum > significance*(1+1e-12) { // 1/10 in binary is not below 0.1
			break
		}
		rejected = sum
		from, to, weight = from+low, to-(len(weight)-high), weight[low:high]
	}
	return from, to
}

// hypergeometricWindow returns the probabilities of least, least+1, … failures
// on side A when total cycles of both sides failed, built like [binomialWindow].
func hypergeometricWindow(cyclesA, cyclesB, total int) (least int, probability []float64) {
	first, last := max(0, total-cyclesB), min(total, cyclesA)
	mode := int(float64(cyclesA+1) * float64(total+1) / float64(cyclesA+cyclesB+2))
	return windowFromMode(min(max(mode, first), last), first, last, negligible, func(k int) float64 { // P(k+1) / P(k)
		return float64(cyclesA-k) * float64(total-k) / (float64(k+1) * float64(cyclesB-total+k+1))
	})
}
