package failrate

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// HuntOptions says how the cycles of a hunt are judged.
type HuntOptions struct {
	Base       string  // the treatment that all others are compared with: "as found"
	Confidence float64 // that nothing is accused falsely, over all comparisons together: 0.95

	// LeastStartRatio is the factor by which start times have to move, up or down,
	// to count at all: a sound part moves them a little when chilled, too. 1, or 0
	// for not set, lets any movement count.
	LeastStartRatio float64
}

// Suspect is what one treatment showed against the base around it.
type Suspect struct {
	Treatment string
	Treated   Counts
	Base      Counts // just before and just after
	RateA     Interval
	RateB     Interval
	// Difference is the rate treated less the rate around it, Newcombe.
	Difference Interval
	Start      TimeComparison

	// FailureP and StartP are the p-values by themselves, FailureAdjusted and
	// StartAdjusted after Holm's correction for all comparisons of the hunt,
	// Adjusted is the smaller of those two. StartP is NaN, and not counted, where no
	// start times were there to compare.
	FailureP, StartP               float64
	FailureAdjusted, StartAdjusted float64
	Adjusted                       float64

	// BaseMoved: the base before and after differ by more than chance, so the
	// treatment was held against each of them by itself.
	BaseMoved bool

	Shown  bool    // Adjusted is below 1 - Confidence
	Effect float64 // how large: see [Hunt]

	level      float64   // that an unadjusted p-value has to reach first
	leastRatio float64   // of the start times
	deviations []float64 // of the logarithms of base start times from their median
}

// Visible is the effect that a comparison would have shown four times in five.
type Visible struct {
	Rate       float64 // failure rate above that of the base; NaN: not even always failing
	StartRatio float64 // factor on the start time, 1 or more; NaN: no start times
}

// HuntResult is the outcome of a hunt.
type HuntResult struct {
	Base        string
	Confidence  float64
	Suspects    []Suspect // those shown first, by the size of their effect; then by p-value
	Shown       bool      // some treatment changed something
	Comparisons int       // that Holm's correction allows for
	Clustered   bool      // cycles of one stretch are more alike than those of several; p allows for it
	NotCompared []string  // treatments without base cycles around them at the same voltage
}

// shownPower is the power at which an effect counts as visible.
const shownPower = 0.8

// Hunt compares every treatment with the base cycles around it and ranks the
// treatments. Cycles are counted ones, in the order they were done; cycles of the
// base belong before and after each treatment.
//
// Failure rates are compared exactly, start times by their ranks, censored ones
// last, both within each visit and voltage, so that neither the night's drift nor
// the voltage passes for the effect of a part. If the base itself moved between
// before and after, the treatment must differ from both sides in the same
// direction. Where stretches of the base differ from their neighbours by more than
// chance, cycles of one stretch are not independent, and every p-value allows for
// that. All p-values of the hunt are corrected together by Holm's method.
//
// A treatment is shown when either corrected p-value is below 1 - Confidence.
// Those shown are ranked by effect: the change of the failure rate or the
// logarithm of the factor on the start time, whichever is more, each at the end
// of its interval nearest to no change.
func Hunt(cycles []Cycle, o HuntOptions) (HuntResult, error) {
	if err := checkConfidence(o.Confidence); err != nil {
		return HuntResult{}, err
	}
	if o.LeastStartRatio == 0 {
		o.LeastStartRatio = 1
	}
	if !(o.LeastStartRatio >= 1) || math.IsInf(o.LeastStartRatio, 1) {
		return HuntResult{}, refuse("least start ratio", o.LeastStartRatio, "it is a factor of 1 or more")
	}
	if err := checkCycles(cycles); err != nil {
		return HuntResult{}, err
	}
	treatments, visits := visitsOf(cycles, o.Base)
	if len(treatments) == 0 {
		return HuntResult{}, refuse("treatments", 0, fmt.Sprintf("a hunt needs counted cycles of something other than %q", o.Base))
	}
	base := basePairs(cycles, o.Base)
	failures, starts := clusteringOf(base, failureScatter(base)), clusteringOf(base, startScatter)
	result := HuntResult{Base: o.Base, Confidence: o.Confidence, Clustered: failures.correlation > 0 || starts.correlation > 0}
	var p []float64
	for _, name := range treatments {
		s, ok := suspectOf(name, visits[name], o)
		if !ok {
			result.NotCompared = append(result.NotCompared, name)
			continue
		}
		s.FailureP, s.StartP = failures.widen(s.FailureP, visits[name]), starts.widen(s.StartP, visits[name])
		result.Suspects = append(result.Suspects, s)
		p = append(p, s.FailureP, s.StartP)
	}
	if len(result.Suspects) == 0 {
		return HuntResult{}, refuse("base", o.Base, "no treatment has cycles of the base before or after it at the same voltage; run some between the treatments")
	}
	for _, v := range p {
		if !math.IsNaN(v) {
			result.Comparisons++
		}
	}
	alpha := 1 - o.Confidence
	adjusted := Holm(p)
	for i := range result.Suspects {
		s := &result.Suspects[i]
		s.FailureAdjusted, s.StartAdjusted = adjusted[2*i], adjusted[2*i+1]
		s.Adjusted = s.FailureAdjusted
		if s.StartAdjusted < s.Adjusted {
			s.Adjusted = s.StartAdjusted
		}
		s.Shown = s.Adjusted < alpha
		result.Shown = result.Shown || s.Shown
		s.Effect = s.effect(alpha)
		s.level = alpha / float64(result.Comparisons)
	}
	slices.SortStableFunc(result.Suspects, func(x, y Suspect) int {
		if x.Shown != y.Shown {
			if x.Shown {
				return -1
			}
			return 1
		}
		if x.Shown {
			return cmp.Or(cmp.Compare(y.Effect, x.Effect), cmp.Compare(x.Adjusted, y.Adjusted))
		}
		return cmp.Or(cmp.Compare(x.Adjusted, y.Adjusted), cmp.Compare(x.smallest(), y.smallest()))
	})
	return result, nil
}

// smallest is the smaller of the two p-values.
func (s Suspect) smallest() float64 {
	if s.StartP < s.FailureP {
		return s.StartP
	}
	return s.FailureP
}

// suspectOf compares one treatment with the base around its visits.
func suspectOf(name string, visits []visit, o HuntOptions) (Suspect, bool) {
	s := Suspect{Treatment: name}
	var against, before, after, base []sides
	for _, v := range visits {
		against = append(against, sidesByVolts(v.treated, append(slices.Clone(v.before), v.after...))...)
		before = append(before, sidesByVolts(v.treated, v.before)...)
		after = append(after, sidesByVolts(v.treated, v.after)...)
		base = append(base, sidesByVolts(v.after, v.before)...)
	}
	if len(against) == 0 {
		return s, false
	}
	for _, pair := range against {
		s.Treated, s.Base = s.Treated.add(countsOf(pair.a)), s.Base.add(countsOf(pair.b))
	}
	s.RateA = ClopperPearson(s.Treated.Failures, s.Treated.Cycles, o.Confidence)
	s.RateB = ClopperPearson(s.Base.Failures, s.Base.Cycles, o.Confidence)
	s.Difference, _ = Newcombe(s.Treated, s.Base, o.Confidence) // both sides have cycles
	s.Start = compareTimes(timeStrata(against), o.Confidence)
	s.leastRatio, s.deviations = o.LeastStartRatio, baseDeviations(against)

	alpha := 1 - o.Confidence
	evidence := func(test func([]sides) (more, less float64)) (p float64, moved bool) {
		more, less := test(against)
		if len(before) > 0 && len(after) > 0 {
			rose, fell := test(base)
			if moved = 2*min(rose, fell) < alpha; moved {
				moreBefore, lessBefore := test(before)
				moreAfter, lessAfter := test(after)
				more, less = max(more, moreBefore, moreAfter), max(less, lessBefore, lessAfter)
			}
		}
		return min(1, 2*min(more, less)), moved
	}
	var failuresMoved, startsMoved bool
	s.FailureP, failuresMoved = evidence(failureEvidence)
	s.StartP = math.NaN()
	if s.Start.Known {
		s.StartP, startsMoved = evidence(func(pairs []sides) (float64, float64) {
			return rankSum(timeStrata(pairs), o.LeastStartRatio)
		})
	}
	s.BaseMoved = failuresMoved || startsMoved
	return s, true
}

// failureEvidence returns the exact one-sided p-values that A fails more often
// and more seldom than B.
func failureEvidence(pairs []sides) (more, less float64) {
	var strata []Stratum
	for _, p := range pairs {
		strata = append(strata, p.stratum())
	}
	m, failures := stratifiedMargin(strata)
	less, more = m.tails(failures, 0)
	return more, less
}

func timeStrata(pairs []sides) []timeStratum {
	var strata []timeStratum
	for _, p := range pairs {
		strata = append(strata, p.starts())
	}
	return strata
}

// effect is the size that ranks suspects; see [Hunt].
func (s Suspect) effect(alpha float64) float64 {
	nearest := func(low, high float64) float64 { return max(0, low, -high) }
	var size float64
	if s.FailureAdjusted < alpha {
		size = nearest(s.Difference.Low, s.Difference.High)
	}
	if s.StartAdjusted < alpha {
		size = max(size, nearest(math.Log(s.Start.Ratio.Low), math.Log(s.Start.Ratio.High)))
	}
	return size
}

// Visible works out what the comparison could have shown.
func (s Suspect) Visible() Visible {
	v := Visible{Rate: math.NaN(), StartRatio: math.NaN()}
	if rate, ok, err := DetectableRate(s.Base.Rate(), s.Base.Cycles, s.Treated.Cycles, true, shownPower, s.level); err == nil && ok {
		v.Rate = rate
	}
	if !s.Start.Known || len(s.deviations) < 2 {
		return v
	}
	// The rank sum test sees a shift of the logarithm of normal data with π/3 of
	// the variance of a t test (Lehmann, Nonparametrics (1975), section 2.4).
	const normalSpread = 1.4826 // of the median deviation
	spread := normalSpread * median(slices.Clone(s.deviations))
	n, m := float64(s.Treated.Cycles), float64(s.Base.Cycles)
	reach := normalQuantile(1-s.level/2) + normalQuantile(shownPower)
	v.StartRatio = s.leastRatio * math.Exp(reach*spread*math.Sqrt((1/n+1/m)*math.Pi/3))
	return v
}

// baseDeviations returns how far the logarithms of the base's start times lie
// from their median, within each visit and voltage.
func baseDeviations(pairs []sides) []float64 {
	var deviations []float64
	for _, pair := range pairs {
		times := startTimes(pair.b)
		if middle := finiteMedian(times); middle > 0 {
			for _, t := range times {
				if !math.IsInf(t, 1) {
					deviations = append(deviations, math.Abs(math.Log(t/middle)))
				}
			}
		}
	}
	return deviations
}
