package failrate

import "math"

// Trend is the test whether the failure rate rises or falls along ordered
// groups, such as voltages.
type Trend struct {
	Slope float64 // change of the rate for one unit of score, weighted by cycles

	// ChiSquare is Cochran and Armitage's with the variance divided by N, one
	// degree of freedom; Corrected by N-1, always a little smaller.
	ChiSquare, P                   float64
	ChiSquareCorrected, PCorrected float64

	// Groups is the chi-square for any difference between the groups, with
	// GroupsDegrees degrees of freedom.
	Groups, GroupsP float64
	GroupsDegrees   int
}

// TrendTest is the Cochran-Armitage test for a trend of the failure rate along
// the scores. Groups without cycles are left out. It refuses fewer than two
// different scores, no failures, and nothing but failures.
//
// Source: Armitage, Biometrics 11 (1955) 375.
func TrendTest(scores []float64, groups []Counts) (Trend, error) {
	if len(scores) != len(groups) {
		return Trend{}, refuse("scores", len(scores), "one score for each group is needed")
	}
	var n, fails, sumX, sumXX float64
	for i, g := range groups {
		if err := checkCounts(g.Failures, g.Cycles); err != nil {
			return Trend{}, err
		}
		if !ordinary(scores[i]) {
			return Trend{}, refuse("score", scores[i], "a score is a finite number, such as the volts")
		}
		n += float64(g.Cycles)
		fails += float64(g.Failures)
		sumX += scores[i] * float64(g.Cycles)
	}
	if fails == 0 || fails == n {
		return Trend{}, refuse("failures", fails, "a trend needs failures and good starts")
	}
	pooled, mean := fails/n, sumX/n
	var t Trend
	var cross float64
	var first, last = math.Inf(1), math.Inf(-1)
	t.GroupsDegrees = -1
	for i, g := range groups {
		if g.Cycles == 0 {
			continue
		}
		cycles, x := float64(g.Cycles), scores[i]-mean
		cross += x * (float64(g.Failures) - cycles*pooled)
		sumXX += cycles * x * x
		t.Groups += cycles * square(g.Rate()-pooled) / (pooled * (1 - pooled))
		t.GroupsDegrees++
		first, last = min(first, scores[i]), max(last, scores[i])
	}
	if !(last-first > 1e-100) {
		return Trend{}, refuse("scores", "all the same", "a trend needs cycles at two different scores at least")
	}
	t.Slope = cross / sumXX
	t.ChiSquare = cross * cross / (pooled * (1 - pooled) * sumXX)
	t.ChiSquareCorrected = t.ChiSquare * (n - 1) / n
	t.P, t.PCorrected = chiSquareUpper(t.ChiSquare, 1), chiSquareUpper(t.ChiSquareCorrected, 1)
	t.GroupsP = chiSquareUpper(t.Groups, float64(t.GroupsDegrees))
	return t, nil
}
