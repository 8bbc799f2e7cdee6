package failrate

import (
	"fmt"
	"math"
	"slices"
)

// LocationShift says by how much the values of A lie beside those of B.
type LocationShift struct {
	// Interval is the shift A - B, or for [Ratio] the factor A / B: the median of
	// all pairs. A limit is infinite where too many values are, and both are where
	// there are too few values for the confidence: three a side are for 95 %.
	Interval Interval
	U        float64 // Mann-Whitney: pairs in which A is greater, ties half
	P        float64 // two-sided, that values so unequal come from one distribution
	Exact    bool    // P and the limits are from the exact distribution
}

// Shift is the Hodges-Lehmann estimate of A - B with its confidence interval
// and the Mann-Whitney test: a stray value moves neither. +Inf stands for "not
// within the window" and counts as later than all others.
//
// Without ties and with fewer than 50 values on both sides p-value and limits are
// exact; otherwise they are normal approximations, the p-value with corrections
// for ties and continuity.
//
// Source: Hollander and Wolfe, Nonparametric Statistical Methods (1999),
// sections 4.1 to 4.3.
func Shift(a, b []float64, confidence float64) (LocationShift, error) {
	if err := checkConfidence(confidence); err != nil {
		return LocationShift{}, err
	}
	for _, side := range [][]float64{a, b} {
		if len(side) == 0 {
			return LocationShift{}, refuse("values", 0, "a comparison needs values on both sides; run some cycles first")
		}
		for i, v := range side {
			if math.IsNaN(v) || math.IsInf(v, -1) {
				return LocationShift{}, refuse("value", fmt.Sprintf("%v, number %d of %d", v, i+1, len(side)), "it is a number, or +Inf for later than the window")
			}
		}
	}
	p := newPairs(a, b)
	s := LocationShift{}
	var ties float64
	s.U, ties = mannWhitney(p.a, p.b)
	n, m := float64(len(a)), float64(len(b))
	s.Exact = ties == 0 && len(a) < 50 && len(b) < 50
	tail := (1 - confidence) / 2
	pairs := len(a) * len(b)
	var cut int // this many of the sorted differences lie outside each limit, the limit itself counted
	if s.Exact {
		cumulative := mannWhitneyDistribution(len(a), len(b))
		atMost := func(u float64) float64 { return cumulative[int(u)] }
		if s.U > n*m/2 {
			s.P = min(1, 2*atMost(n*m-s.U))
		} else {
			s.P = min(1, 2*atMost(s.U))
		}
		for cut < pairs && cumulative[cut] <= tail*(1+1e-12) { // 1/20 is no more than (1-0.9)/2
			cut++
		}
	} else {
		total := n + m
		variance := n * m / 12 * (total + 1 - ties/(total*(total-1)))
		s.P = 1
		if excess := math.Abs(s.U-n*m/2) - 0.5; variance > 0 && excess > 0 {
			s.P = min(1, 2*normalUpper(excess/math.Sqrt(variance)))
		}
		cut = int(math.Floor(n*m/2 - twoSidedZ(confidence)*math.Sqrt(n*m*(total+1)/12)))
	}
	lower, upper := p.ordered((pairs+1)/2), p.ordered(pairs/2+1)
	s.Interval = Interval{Estimate: middle(lower, upper), Low: math.Inf(-1), High: math.Inf(1), Confidence: confidence}
	if cut >= 1 { // else not even the whole range of the differences is so sure
		s.Interval.Low, s.Interval.High = p.ordered(cut), p.ordered(pairs+1-cut)
	}
	return s, nil
}

// Ratio is [Shift] on logarithms: the factor by which A's values are B's. All
// values must be above 0.
func Ratio(a, b []float64, confidence float64) (LocationShift, error) {
	logs := func(values []float64) ([]float64, error) {
		l := make([]float64, len(values))
		for i, v := range values {
			if !(v > 0) {
				return nil, refuse("value", fmt.Sprintf("%v, number %d of %d", v, i+1, len(values)), "a ratio needs values above 0")
			}
			l[i] = math.Log(v)
		}
		return l, nil
	}
	logA, err := logs(a)
	if err != nil {
		return LocationShift{}, err
	}
	logB, err := logs(b)
	if err != nil {
		return LocationShift{}, err
	}
	s, err := Shift(logA, logB, confidence)
	if err != nil {
		return LocationShift{}, err
	}
	iv := &s.Interval
	iv.Estimate, iv.Low, iv.High = math.Exp(iv.Estimate), math.Exp(iv.Low), math.Exp(iv.High)
	return s, nil
}

// middle is half way between two numbers, and 0 between the infinities: as
// likely sooner as later, by nobody knows how much.
func middle(low, high float64) float64 {
	if math.IsInf(low, -1) && math.IsInf(high, 1) {
		return 0
	}
	return low/2 + high/2
}

// mannWhitney counts the pairs in which a value of A is greater, ties half, and
// the sum of t³-t over groups of t tied values. Both slices are sorted.
func mannWhitney(a, b []float64) (u, ties float64) {
	i, j := 0, 0
	for i < len(a) || j < len(b) {
		var value float64
		if j == len(b) || i < len(a) && a[i] <= b[j] {
			value = a[i]
		} else {
			value = b[j]
		}
		before, tiedA, tiedB := j, 0, 0
		for ; i < len(a) && a[i] == value; i++ {
			tiedA++
		}
		for ; j < len(b) && b[j] == value; j++ {
			tiedB++
		}
		u += float64(tiedA) * (float64(before) + float64(tiedB)/2)
		t := float64(tiedA + tiedB)
		ties += t*t*t - t
	}
	return u, ties
}

// mannWhitneyDistribution returns P(U <= u), u = 0...nm, without ties. The
// number of ways is the coefficient of q^u in the Gaussian binomial.
func mannWhitneyDistribution(n, m int) []float64 {
	ways := make([]float64, n*m+1)
	ways[0] = 1
	for i := 1; i <= n; i++ {
		for u := len(ways) - 1; u >= m+i; u-- { // times 1 - q^(m+i)
			ways[u] -= ways[u-m-i]
		}
		for u := i; u < len(ways); u++ { // by 1 - q^i
			ways[u] += ways[u-i]
		}
	}
	var total float64
	for u := range ways {
		total += ways[u]
		ways[u] = total
	}
	for u := range ways {
		ways[u] /= total
	}
	return ways
}

// pairs holds all differences of a value of A and one of B, without making
// them: there may be millions.
type pairs struct {
	a, b               []float64 // sorted, all of them
	finiteA, finiteB   int
	later, sooner, tie int // infinite differences, and pairs both infinite, which are even
}

func newPairs(a, b []float64) pairs {
	p := pairs{a: slices.Sorted(slices.Values(a)), b: slices.Sorted(slices.Values(b))}
	finite := func(s []float64) int {
		n, _ := slices.BinarySearch(s, math.Inf(1))
		return n
	}
	p.finiteA, p.finiteB = finite(p.a), finite(p.b)
	p.later = (len(a) - p.finiteA) * p.finiteB
	p.sooner = p.finiteA * (len(b) - p.finiteB)
	p.tie = (len(a) - p.finiteA) * (len(b) - p.finiteB)
	return p
}

// atMost counts the differences up to x, a finite number.
func (p pairs) atMost(x float64) int {
	count := p.sooner
	if x >= 0 {
		count += p.tie
	}
	// The smallest b with a - b <= x rises with a.
	j := 0
	for i := range p.finiteA {
		for j < p.finiteB && p.a[i]-p.b[j] > x {
			j++
		}
		count += p.finiteB - j
	}
	return count
}

// ordered returns the k-th smallest difference, k from 1, exactly: by halving
// over the representable numbers.
func (p pairs) ordered(k int) float64 {
	switch {
	case k <= p.atMost(-math.MaxFloat64):
		return math.Inf(-1)
	case k > p.atMost(math.MaxFloat64):
		return math.Inf(1)
	}
	low, high := rank(-math.MaxFloat64), rank(math.MaxFloat64)
	for low < high {
		middle := low + (high-low)/2
		if p.atMost(unrank(middle)) >= k {
			high = middle
		} else {
			low = middle + 1
		}
	}
	return unrank(low)
}

// rank numbers the finite floating-point numbers in their order; unrank goes
// back. Both zeros are number 1<<63.
func rank(x float64) uint64 {
	bits := math.Float64bits(math.Abs(x))
	if x < 0 {
		return 1<<63 - bits
	}
	return 1<<63 + bits
}

func unrank(r uint64) float64 {
	if r < 1<<63 {
		return -math.Float64frombits(1<<63 - r)
	}
	return math.Float64frombits(r - 1<<63)
}
