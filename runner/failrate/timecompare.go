package failrate

import (
	"math"
	"slices"
)

// TimeComparison compares start times, or growth time constants, of A with
// those of B.
type TimeComparison struct {
	Known      bool // there were times on both sides; else the rest is empty
	MeasuredA  int  // cycles that started (whose growth was measured)
	MeasuredB  int
	CensoredA  int // cycles that did not start within the window
	CensoredB  int
	MedianA    float64 // seconds; +Inf when more than half are censored
	MedianB    float64
	Ratio      Interval // factor A / B, Hodges-Lehmann; a limit that is not known is +Inf, or 0, see [Shift]
	P          float64  // Mann-Whitney, stratified by voltage, two-sided
	LogRank    LogRankTest
	LogRankSet bool // the log-rank test could be done
}

// timeStratum holds the times of both sides at one voltage, +Inf = censored.
type timeStratum struct{ a, b []float64 }

// compareTimes compares within strata.
func compareTimes(strata []timeStratum, confidence float64) TimeComparison {
	var t TimeComparison
	var all [2][]float64
	var aligned [2][]float64
	var starts []startStratum
	var informative []timeStratum
	for _, s := range strata {
		if len(s.a) == 0 || len(s.b) == 0 {
			continue
		}
		scale := finiteMedian(append(slices.Clone(s.a), s.b...))
		if scale == 0 {
			continue // none started: nothing to compare
		}
		informative = append(informative, s)
		var st startStratum
		for _, v := range s.a {
			all[0], aligned[0] = append(all[0], v), append(aligned[0], math.Log(v/scale))
			st.a = append(st.a, Start{v, math.IsInf(v, 1)})
		}
		for _, v := range s.b {
			all[1], aligned[1] = append(all[1], v), append(aligned[1], math.Log(v/scale))
			st.b = append(st.b, Start{v, math.IsInf(v, 1)})
		}
		starts = append(starts, st)
	}
	if len(informative) == 0 {
		return t
	}
	t.Known = true
	t.MeasuredA, t.CensoredA = countFinite(all[0])
	t.MeasuredB, t.CensoredB = countFinite(all[1])
	t.MedianA, t.MedianB = censoredMedian(all[0]), censoredMedian(all[1])
	t.P = 1
	if greater, less := rankSum(informative, 1); greater < 1 || less < 1 {
		t.P = min(1, 2*min(greater, less))
	}
	if shift, err := Shift(aligned[0], aligned[1], confidence); err == nil {
		iv := shift.Interval
		t.Ratio = Interval{Estimate: math.Exp(iv.Estimate), Low: math.Exp(iv.Low), High: math.Exp(iv.High), Confidence: confidence}
	}
	if test, err := stratifiedLogRank(starts, 0); err == nil {
		t.LogRank, t.LogRankSet = test, true
	}
	return t
}

// rankSum returns the one-sided p-values that A's times are later and sooner
// than B's by more than the factor: van Elteren's stratified rank sum test,
// corrected for ties and continuity. With a factor above 1 it asks for more than
// a mere difference.
//
// Source: van Elteren, Bull. Int. Statist. Inst. 37 (1960) 351.
func rankSum(strata []timeStratum, factor float64) (later, sooner float64) {
	one := func(scale float64) (z float64) {
		var excess, variance, correction float64
		for _, s := range strata {
			a := slices.Clone(s.a)
			for i := range a {
				a[i] *= scale
			}
			slices.Sort(a)
			b := slices.Sorted(slices.Values(s.b))
			n, m := float64(len(a)), float64(len(b))
			total := n + m
			u, ties := mannWhitney(a, b)
			excess += (u - n*m/2) / (total + 1)
			variance += n * m / 12 * (total + 1 - ties/(total*(total-1))) / square(total+1)
			correction = max(correction, 0.5/(total+1))
		}
		if variance <= 0 {
			return 0
		}
		return math.Copysign(max(0, math.Abs(excess)-correction)/math.Sqrt(variance), excess)
	}
	return normalUpper(one(1 / factor)), normalUpper(-one(factor))
}

// finiteMedian is the median of the finite values, 0 when there are none.
func finiteMedian(values []float64) float64 {
	finite := slices.DeleteFunc(slices.Clone(values), func(v float64) bool { return math.IsInf(v, 1) })
	if len(finite) == 0 {
		return 0
	}
	return median(finite)
}

// censoredMedian is the median, +Inf when it is censored.
func censoredMedian(values []float64) float64 {
	if m := median(slices.Clone(values)); !math.IsNaN(m) {
		return m
	}
	return math.Inf(1)
}

func countFinite(values []float64) (finite, infinite int) {
	for _, v := range values {
		if math.IsInf(v, 1) {
			infinite++
		} else {
			finite++
		}
	}
	return finite, infinite
}
