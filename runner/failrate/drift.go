package failrate

import (
	"cmp"
	"math"
	"slices"
)

// MannKendallTest asks whether values rise or fall in the course of time,
// whatever the shape of the trend.
type MannKendallTest struct {
	S        int     // pairs that rise less pairs that fall
	Variance float64 // of S by chance, corrected for ties
	Z        float64 // with continuity correction
	Tau      float64 // Kendall's tau-b
	P        float64 // two-sided: exact where Exact, else from Z
	Exact    bool    // up to 50 values without ties
}

// MannKendall tests a series, in the order of time, for a trend.
//
// Sources: Mann, Econometrica 13 (1945) 245; Kendall, Rank Correlation Methods
// (1975); the variance with ties as in Gilbert (1987), section 16.4.
func MannKendall(values []float64) (MannKendallTest, error) {
	if err := checkValues(values, 3); err != nil {
		return MannKendallTest{}, err
	}
	n := float64(len(values))
	rank, ties := denseRanks(values)
	var t MannKendallTest
	tree := make([]int, len(ties)+1) // Fenwick tree: how often each rank came so far
	for i, r := range rank {
		below, upTo := prefix(tree, r), prefix(tree, r+1)
		t.S += below - (i - upTo)
		for k := r + 1; k < len(tree); k += k & -k {
			tree[k]++
		}
	}
	t.Variance = n * (n - 1) * (2*n + 5)
	tied := 0.0
	for _, m := range ties {
		f := float64(m)
		t.Variance -= f * (f - 1) * (2*f + 5)
		tied += f * (f - 1) / 2
	}
	t.Variance /= 18
	t.P = 1
	if pairs := n * (n - 1) / 2; pairs > tied {
		t.Tau = float64(t.S) / math.Sqrt(pairs*(pairs-tied))
	}
	if t.Variance > 0 && t.S != 0 {
		t.Z = (math.Abs(float64(t.S)) - 1) / math.Sqrt(t.Variance)
		t.P = min(1, 2*normalUpper(t.Z))
		t.Z = math.Copysign(t.Z, float64(t.S))
	}
	if t.Exact = tied == 0 && len(values) <= 50; t.Exact {
		t.P = min(1, 2*kendallTail(max(t.S, -t.S), len(values)))
	}
	return t, nil
}

// denseRanks numbers the different values from 0 and counts how often each occurs.
func denseRanks(values []float64) (rank, ties []int) {
	order := make([]int, len(values))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(values[a], values[b]) })
	rank = make([]int, len(values))
	for k, i := range order {
		if k == 0 || values[i] != values[order[k-1]] {
			ties = append(ties, 0)
		}
		rank[i] = len(ties) - 1
		ties[len(ties)-1]++
	}
	return rank, ties
}

// prefix sums a Fenwick tree over ranks below r.
func prefix(tree []int, r int) (sum int) {
	for ; r > 0; r -= r & -r {
		sum += tree[r]
	}
	return sum
}

// kendallTail is P(S >= s) over all orders of n different values, by counting
// orders by their number of falling pairs.
func kendallTail(s, n int) float64 {
	ways := []float64{1} // as probabilities
	for i := 2; i <= n; i++ {
		next := make([]float64, len(ways)+i-1)
		for k, w := range ways {
			for j := range i {
				next[k+j] += w / float64(i)
			}
		}
		ways = next
	}
	// S = n(n-1)/2 - 2 falling
	var tail float64
	for falling, w := range ways {
		if len(ways)-1-2*falling >= s {
			tail += w
		}
	}
	return tail
}

// longestSen bounds the pairs that [SenSlope] looks at.
const longestSen = 5000

// SenSlope is the median slope of all pairs, per step of the series. It
// refuses more than 5,000 values, since the pairs grow with the square.
//
// Source: Sen, JASA 63 (1968) 1379.
func SenSlope(values []float64) (float64, error) {
	if err := checkValues(values, 2); err != nil {
		return 0, err
	}
	if len(values) > longestSen {
		return 0, refuse("values", len(values), "at most "+Count(longestSen)+" are allowed; average them in blocks first")
	}
	slopes := make([]float64, 0, len(values)*(len(values)-1)/2)
	for i := range values {
		for j := i + 1; j < len(values); j++ {
			slopes = append(slopes, (values[j]-values[i])/float64(j-i))
		}
	}
	slices.Sort(slopes)
	return (slopes[(len(slopes)-1)/2] + slopes[len(slopes)/2]) / 2, nil
}

// Autocorrelation is the correlation of a series with itself a lag later, about
// the mean of all values and with all N in the divisor. (The correlation of the
// two overlapping series, which some programs print, is a little larger.) By
// chance it lies within ±1.96/√N with 95 % probability. It refuses a series
// that does not vary.
//
// Source: Box and Jenkins, Time Series Analysis (1976), section 2.1.5.
func Autocorrelation(values []float64, lag int) (float64, error) {
	if lag < 1 {
		return 0, refuse("lag", lag, "it is 1 or more")
	}
	if err := checkValues(values, lag+2); err != nil {
		return 0, err
	}
	var mean, variance, product float64
	for _, v := range values {
		mean += v / float64(len(values))
	}
	for i, v := range values {
		variance += square(v - mean)
		if i+lag < len(values) {
			product += (v - mean) * (values[i+lag] - mean)
		}
	}
	if variance == 0 {
		return 0, refuse("values", "all the same", "what does not vary has no correlation")
	}
	return product / variance, nil
}

// Portmanteau asks whether any of the first autocorrelations differs from 0.
type Portmanteau struct {
	LjungBox, LjungBoxP   float64 // the one to read
	BoxPierce, BoxPierceP float64
	Lags                  int // degrees of freedom
}

// Independence is the test of Ljung and Box, Biometrika 65 (1978) 297, and that
// of Box and Pierce, JASA 65 (1970) 1509, over the given number of lags.
func Independence(values []float64, lags int) (Portmanteau, error) {
	if lags < 1 {
		return Portmanteau{}, refuse("lags", lags, "it is 1 or more")
	}
	t := Portmanteau{Lags: lags}
	n := float64(len(values))
	for lag := 1; lag <= lags; lag++ {
		r, err := Autocorrelation(values, lag)
		if err != nil {
			return Portmanteau{}, err
		}
		t.LjungBox += n * (n + 2) * r * r / (n - float64(lag))
		t.BoxPierce += n * r * r
	}
	t.LjungBoxP = chiSquareUpper(t.LjungBox, float64(lags))
	t.BoxPierceP = chiSquareUpper(t.BoxPierce, float64(lags))
	return t, nil
}
