package runner

import (
	"cmp"
	"math"
	"slices"

	"ringup/runner/failrate"
)

// leastStarts is the fewest counted cycles of a condition whose start times are described.
const leastStarts = 20

// startShares are the shares of the starts that show gives a time for.
var startShares = []float64{0.5, 0.9, 0.99}

// StartTimes is how long one condition takes to start: Kaplan and Meier's estimate, in which a cycle that did not start
// took longer than the window.
type StartTimes struct {
	Treatment     string        `json:"treatment"`
	Volts         float64       `json:"volts"`
	Cycles        int           `json:"cycles"`
	Started       int           `json:"started"`
	WindowSeconds float64       `json:"window_seconds"` // the longest
	Within        []StartWithin `json:"within"`
	Curve         *StartCurve   `json:"curve"` // null where neither lognormal nor Weibull describes the times
}

// StartWithin is the time within which a share of the starts has come, with log-log limits. What lies beyond the window,
// or would take more cycles to bound, is null.
type StartWithin struct {
	Share      float64  `json:"share"`
	Seconds    *float64 `json:"seconds"`
	Low        *float64 `json:"low"`
	High       *float64 `json:"high"`
	Confidence float64  `json:"confidence"`
}

// StartCurve is the distribution that describes the start times: the likelier of the two, and its times lie within
// the limits of every [StartWithin].
type StartCurve struct {
	Family string    `json:"family"`
	Scale  float64   `json:"scale_seconds"` // the lognormal's median; the Weibull's 63.2 %
	Sigma  float64   `json:"sigma"`         // of the logarithm; the Weibull's shape is 1/sigma
	Within []float64 `json:"within"`        // seconds, for the shares of StartTimes
}

// RestEffect says whether one condition's failure rate goes with the rest before the start.
type RestEffect struct {
	Treatment string            `json:"treatment"`
	Volts     float64           `json:"volts"`
	Rests     []RestCounts      `json:"rests"` // the shortest first
	P         float64           `json:"p"`     // of a trend with the logarithm of the rest
	OddsTen   failrate.Interval `json:"odds_ratio_ten_times_as_long"`
	Sentence  string            `json:"sentence"`
}

// RestCounts is what the counted cycles after one rest showed.
type RestCounts struct {
	RestSeconds float64 `json:"rest_seconds"`
	failrate.Counts
}

// startTimesOf describes the start times of one condition's cycles; ok is false for too few.
func startTimesOf(c failrate.Condition, cycles []failrate.Cycle) (s StartTimes, ok bool) {
	if len(cycles) < leastStarts {
		return s, false
	}
	s = StartTimes{Treatment: c.Treatment, Volts: c.Volts, Cycles: len(cycles), Within: []StartWithin{}}
	var starts []failrate.Start
	for _, cycle := range cycles {
		s.WindowSeconds = max(s.WindowSeconds, cycle.WatchSeconds)
		if math.IsNaN(cycle.StartSeconds) && !cycle.Failed {
			return s, false // it started and nobody timed it: judged without the clock
		}
		if math.IsNaN(cycle.StartSeconds) {
			window := cycle.WatchSeconds
			if window == 0 { // not known
				window = math.Inf(1)
			}
			starts = append(starts, failrate.Start{Seconds: window, Censored: true})
			continue
		}
		s.Started++
		starts = append(starts, failrate.Start{Seconds: cycle.StartSeconds})
	}
	km, err := failrate.KaplanMeier(starts, Confidence)
	if err != nil {
		return s, false
	}
	var limits []failrate.Interval
	for _, share := range startShares {
		q, err := km.Quantile(share)
		if err != nil {
			return s, false
		}
		limits = append(limits, q)
		s.Within = append(s.Within, StartWithin{share, measured(q.Estimate), measured(q.Low), measured(q.High), q.Confidence})
	}
	s.Curve = startCurveOf(starts, limits)
	return s, true
}

// startCurveOf fits both families and returns the likelier one, nil where even that leaves the limits.
func startCurveOf(starts []failrate.Start, limits []failrate.Interval) *StartCurve {
	best := failrate.StartFit{LogLikelihood: math.Inf(-1)}
	for _, family := range []failrate.Family{failrate.Lognormal, failrate.Weibull} {
		if fit, err := failrate.FitStarts(family, starts); err == nil && fit.LogLikelihood > best.LogLikelihood {
			best = fit
		}
	}
	if best.Family == "" {
		return nil
	}
	curve := &StartCurve{Family: string(best.Family), Scale: best.Scale(), Sigma: best.Sigma}
	for i, share := range startShares {
		p, err := best.Percentile(share, Confidence)
		if err != nil || p.Estimate > limits[i].High || p.Estimate < limits[i].Low && !math.IsInf(limits[i].Low, 1) {
			return nil
		}
		curve.Within = append(curve.Within, p.Estimate)
	}
	return curve
}

// restEffectOf looks for an effect of the rest; ok is false where there was one rest only, or no or nothing but failures.
func restEffectOf(c failrate.Condition, cycles []failrate.Cycle) (e RestEffect, ok bool) {
	at := map[float64]failrate.Counts{}
	for _, cycle := range cycles {
		if !(cycle.RestSeconds > 0) {
			continue // without a rest there is no logarithm of it
		}
		n := at[cycle.RestSeconds]
		n.Cycles++
		if cycle.Failed {
			n.Failures++
		}
		at[cycle.RestSeconds] = n
	}
	e = RestEffect{Treatment: c.Treatment, Volts: c.Volts}
	for rest, counts := range at {
		e.Rests = append(e.Rests, RestCounts{rest, counts})
	}
	slices.SortFunc(e.Rests, func(a, b RestCounts) int { return cmp.Compare(a.RestSeconds, b.RestSeconds) })
	var rests []failrate.RestCounts
	for _, r := range e.Rests {
		rests = append(rests, failrate.RestCounts{RestSeconds: r.RestSeconds, Counts: r.Counts})
	}
	effect, err := failrate.RestTrend(rests, Confidence)
	if err != nil {
		return e, false
	}
	e.P, e.OddsTen, e.Sentence = effect.Trend.P, effect.OddsTen, effect.Sentence()
	return e, true
}
