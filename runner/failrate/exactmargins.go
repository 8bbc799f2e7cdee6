package failrate

import "math"

// marginal is the exact distribution of the failures in A with all margins
// fixed: hypergeometric for one pair of rates, the convolution of such for
// several strata. With odds ratio r the probability of least+i is proportional
// to exp(logWeight[i]) r^(least+i).
type marginal struct {
	least     int
	logWeight []float64 // the largest is 0
}

// hypergeometric is the distribution of A's failures given the margins.
func hypergeometric(a, b Counts) marginal {
	fails := a.Failures + b.Failures
	least, most := max(0, fails-b.Cycles), min(fails, a.Cycles)
	// Neighbouring probabilities follow from each other by simple ratios.
	// Their logarithms neither overflow nor vanish.
	m := marginal{least, make([]float64, most-least+1)}
	for k := least; k < most; k++ {
		ratio := float64(a.Cycles-k) * float64(fails-k) / (float64(k+1) * float64(b.Cycles-fails+k+1))
		m.logWeight[k+1-least] = m.logWeight[k-least] + math.Log(ratio)
	}
	m.scale()
	return m
}

func (m marginal) scale() {
	top := math.Inf(-1)
	for _, w := range m.logWeight {
		top = max(top, w)
	}
	for i := range m.logWeight {
		m.logWeight[i] -= top
	}
}

// plus is the distribution of the sum of both.
func (m marginal) plus(o marginal) marginal {
	weights := make([]float64, len(m.logWeight)+len(o.logWeight)-1)
	w := make([]float64, len(o.logWeight))
	for j, l := range o.logWeight {
		w[j] = math.Exp(l)
	}
	for i, l := range m.logWeight {
		if v := math.Exp(l); v > 0 {
			for j := range w {
				weights[i+j] += v * w[j]
			}
		}
	}
	for i := range weights {
		weights[i] = math.Log(weights[i])
	}
	sum := marginal{m.least + o.least, weights}
	sum.scale()
	return sum
}

// at calls visit with every outcome and its probability up to one factor, for
// the odds ratio exp(logRatio).
func (m marginal) at(logRatio float64, visit func(k int, weight float64)) {
	top := math.Inf(-1)
	for i, l := range m.logWeight {
		top = max(top, l+float64(i)*logRatio)
	}
	for i, l := range m.logWeight {
		visit(m.least+i, math.Exp(l+float64(i)*logRatio-top))
	}
}

// tails returns P(X <= k) and P(X >= k) at the odds ratio.
func (m marginal) tails(k int, logRatio float64) (less, greater float64) {
	var total float64
	m.at(logRatio, func(x int, w float64) {
		total += w
		if x <= k {
			less += w
		}
		if x >= k {
			greater += w
		}
	})
	return min(1, less/total), min(1, greater/total)
}

// twoSided is the probability, at odds ratio 1, of the outcomes no more likely
// than k.
func (m marginal) twoSided(k int) float64 {
	// Outcomes exactly as likely as the one seen must not be lost to rounding.
	limit := math.Exp(m.logWeight[k-m.least]) * (1 + 1e-7)
	var asExtreme, total float64
	m.at(0, func(_ int, w float64) {
		total += w
		if w <= limit {
			asExtreme += w
		}
	})
	return min(1, asExtreme/total)
}

// mean is the expected count at the odds ratio.
func (m marginal) mean(logRatio float64) float64 {
	var total, sum float64
	m.at(logRatio, func(x int, w float64) {
		total += w
		sum += w * float64(x)
	})
	return sum / total
}

// most is the largest possible count.
func (m marginal) most() int { return m.least + len(m.logWeight) - 1 }

// widestLogRatio bounds the search for odds ratios; e^100 is beyond any count.
const widestLogRatio = 100

// ratio returns the conditional maximum likelihood estimate of the odds ratio
// after k failures in A, and its exact limits.
func (m marginal) ratio(k int, confidence float64) Interval {
	iv := Interval{Estimate: math.NaN(), Low: 0, High: math.Inf(1), Confidence: confidence}
	tail := (1 - confidence) / 2
	solve := func(f func(logRatio float64) float64) float64 {
		return math.Exp(rootBetween(f, -widestLogRatio, widestLogRatio))
	}
	switch {
	case len(m.logWeight) == 1: // the margins leave nothing to chance
		return iv
	case k == m.least:
		iv.Estimate = 0
	case k == m.most():
		iv.Estimate = math.Inf(1)
	default:
		iv.Estimate = solve(func(l float64) float64 { return m.mean(l) - float64(k) })
	}
	if k > m.least {
		iv.Low = solve(func(l float64) float64 { _, greater := m.tails(k, l); return math.Log(greater / tail) })
	}
	if k < m.most() {
		iv.High = solve(func(l float64) float64 { less, _ := m.tails(k, l); return math.Log(less / tail) })
	}
	return iv
}
