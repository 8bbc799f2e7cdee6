package failrate

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Start is one cycle's time to start. A unit that did not start within the
// window is right-censored: all that is known is that it took longer.
type Start struct {
	Seconds  float64
	Censored bool // not started within Seconds
}

// LogRankTest compares the start times of A with those of B. More starts
// observed in A than expected means that A starts sooner.
type LogRankTest struct {
	Observed, Expected [2]float64 // starts of A and of B; weighted for a rho other than 0
	Variance           float64    // of Observed less Expected
	ChiSquare, P       float64    // one degree of freedom
}

// LogRank compares two sets of start times, censored ones included, without
// any assumption about their distribution.
//
// Source: Mantel, Cancer Chemother. Rep. 50 (1966) 163; Peto and Peto, JRSS-A
// 135 (1972) 185. The variance is the hypergeometric one, as in R's survdiff.
func LogRank(a, b []Start) (LogRankTest, error) { return FlemingHarrington(a, b, 0) }

// FlemingHarrington weighs every start by the share, to the power rho, that
// had not started before. 0 is the log-rank test; 1 looks more at the early
// starts (Peto and Peto's form of Wilcoxon's test).
//
// Source: Harrington and Fleming, Biometrika 69 (1982) 553.
func FlemingHarrington(a, b []Start, rho float64) (LogRankTest, error) {
	return stratifiedLogRank([]startStratum{{a, b}}, rho)
}

// startStratum holds the start times of A and B in one stratum.
type startStratum struct{ a, b []Start }

// stratifiedLogRank adds up the evidence of strata. Those without cycles of
// one side add nothing.
func stratifiedLogRank(strata []startStratum, rho float64) (LogRankTest, error) {
	if !(rho >= 0) || math.IsInf(rho, 1) {
		return LogRankTest{}, refuse("rho", rho, "it is 0 for the log-rank test, 1 to look more at early starts")
	}
	var t LogRankTest
	compared := false
	for _, s := range strata {
		if err := checkStarts(s.a); err != nil {
			return LogRankTest{}, err
		}
		if err := checkStarts(s.b); err != nil {
			return LogRankTest{}, err
		}
		if len(s.a) > 0 && len(s.b) > 0 {
			compared = true
			t.add(s, rho)
		}
	}
	switch {
	case !compared:
		return LogRankTest{}, refuse("cycles", 0, "a comparison needs start times on both sides; run some cycles first")
	case t.Variance <= 0:
		return LogRankTest{}, refuse("starts", "none that both sides were at risk of", "start times can only be compared when some cycles started")
	}
	t.ChiSquare = square(t.Observed[0]-t.Expected[0]) / t.Variance
	t.P = chiSquareUpper(t.ChiSquare, 1)
	return t, nil
}

func (t *LogRankTest) add(s startStratum, rho float64) {
	type entry struct {
		Start
		side int
	}
	all := make([]entry, 0, len(s.a)+len(s.b))
	for _, v := range s.a {
		all = append(all, entry{v, 0})
	}
	for _, v := range s.b {
		all = append(all, entry{v, 1})
	}
	slices.SortFunc(all, func(x, y entry) int { return cmp.Compare(x.Seconds, y.Seconds) })
	atRisk := [2]float64{float64(len(s.a)), float64(len(s.b))}
	survival := 1.0
	for i := 0; i < len(all); {
		var starts, leave [2]float64
		j := i
		for ; j < len(all) && all[j].Seconds == all[i].Seconds; j++ {
			leave[all[j].side]++
			if !all[j].Censored {
				starts[all[j].side]++
			}
		}
		n, d := atRisk[0]+atRisk[1], starts[0]+starts[1]
		if d > 0 {
			w := math.Pow(survival, rho)
			for side := range 2 {
				t.Observed[side] += w * starts[side]
				t.Expected[side] += w * d * atRisk[side] / n
			}
			if n > 1 {
				t.Variance += w * w * d * atRisk[0] / n * atRisk[1] / n * (n - d) / (n - 1)
			}
			survival *= 1 - d/n
		}
		atRisk[0] -= leave[0]
		atRisk[1] -= leave[1]
		i = j
	}
}

// checkStarts refuses times that none can be. An infinite one must be censored.
func checkStarts(starts []Start) error {
	for i, s := range starts {
		if !(s.Seconds >= 0) || math.IsInf(s.Seconds, 1) && !s.Censored {
			return refuse("start time", fmt.Sprintf("%v s in cycle %d of %d", s.Seconds, i+1, len(starts)),
				"it is 0 s or more; a cycle that did not start is censored at the window")
		}
	}
	return nil
}
