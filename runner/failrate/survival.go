package failrate

import (
	"cmp"
	"math"
	"slices"
)

// Survival is the Kaplan-Meier estimate of the share of cycles not yet started,
// as a function of time since power came on.
type Survival struct {
	Steps      []SurvivalStep // at every time at which a cycle started
	Confidence float64        // of the limits
	Cycles     int
}

// SurvivalStep is what holds from one start time to the next.
type SurvivalStep struct {
	Seconds float64
	AtRisk  int // not started, and still watched, just before
	Starts  int // at this very time
	Share   float64
	Error   float64 // Greenwood's standard error of Share; 0 when Share is 0

	// Three kinds of limits. Log-log limits are the ones to show: they stay within
	// [0, 1] and hold in small samples. Plain ones are Share ± z Error, cut at 0 and 1;
	// log ones, cut at 1, are what R's survfit prints by default.
	LogLog, Plain, Log Limits

	Hazard, HazardError float64 // Nelson-Aalen, cumulative
}

// Limits are the two ends of an interval.
type Limits struct{ Low, High float64 }

// KaplanMeier estimates the share not yet started at every time. Cycles that
// never started are censored and stay at risk until then.
//
// Sources: Kaplan and Meier, JASA 53 (1958) 457; log-log limits Kalbfleisch and
// Prentice (1980), section 1.3.
func KaplanMeier(starts []Start, confidence float64) (Survival, error) {
	if err := checkConfidence(confidence); err != nil {
		return Survival{}, err
	}
	if err := checkStarts(starts); err != nil {
		return Survival{}, err
	}
	if len(starts) == 0 {
		return Survival{}, refuse("cycles", 0, "start times need counted cycles; run some first")
	}
	sorted := slices.SortedFunc(slices.Values(starts), func(x, y Start) int { return cmp.Compare(x.Seconds, y.Seconds) })
	s := Survival{Confidence: confidence, Cycles: len(starts)}
	z := twoSidedZ(confidence)
	share, greenwood, hazard, hazardVariance := 1.0, 0.0, 0.0, 0.0
	for i := 0; i < len(sorted); {
		j, d := i, 0
		for ; j < len(sorted) && sorted[j].Seconds == sorted[i].Seconds; j++ {
			if !sorted[j].Censored {
				d++
			}
		}
		if d > 0 {
			n := len(sorted) - i
			share *= float64(n-d) / float64(n)
			greenwood += float64(d) / (float64(n) * float64(n-d))
			hazard += float64(d) / float64(n)
			hazardVariance += float64(d) / square(float64(n))
			step := SurvivalStep{Seconds: sorted[i].Seconds, AtRisk: n, Starts: d, Share: share, Hazard: hazard, HazardError: math.Sqrt(hazardVariance)}
			step.limits(z, math.Sqrt(greenwood))
			s.Steps = append(s.Steps, step)
		}
		i = j
	}
	return s, nil
}

// limits fills in the error and the limits, given the relative error.
func (s *SurvivalStep) limits(z, relative float64) {
	if s.Share == 0 { // all have started; no formula says how sure that is of the next
		s.Plain, s.Log, s.LogLog = Limits{0, 0}, Limits{0, 0}, Limits{0, 0}
		return
	}
	s.Error = s.Share * relative
	s.Plain = Limits{max(0, s.Share-z*s.Error), min(1, s.Share+z*s.Error)}
	s.Log = Limits{s.Share * math.Exp(-z*relative), min(1, s.Share*math.Exp(z*relative))}
	factor := math.Exp(z * relative / math.Abs(math.Log(s.Share)))
	s.LogLog = Limits{math.Pow(s.Share, factor), math.Pow(s.Share, 1/factor)}
}

// Quantile returns the time by which the given share of cycles has started,
// 0.5 for the median, with log-log limits. Times beyond the window are +Inf, and
// so is an upper limit that there are too few cycles for.
func (s Survival) Quantile(started float64) (Interval, error) {
	return s.quantile(started, func(step SurvivalStep) Limits { return step.LogLog })
}

func (s Survival) quantile(started float64, limits func(SurvivalStep) Limits) (Interval, error) {
	if err := checkRate("share started", started); err != nil {
		return Interval{}, err
	}
	left := 1 - started
	// A share exactly at the level is passed at the middle of that step, as R has it.
	const rounding = 1e-12
	first := func(value func(SurvivalStep) float64) float64 {
		for i, step := range s.Steps {
			switch v := value(step); {
			case math.Abs(v-left) <= rounding && i+1 < len(s.Steps):
				return (step.Seconds + s.Steps[i+1].Seconds) / 2
			case v <= left+rounding:
				return step.Seconds
			}
		}
		return math.Inf(1)
	}
	return Interval{
		Estimate: first(func(st SurvivalStep) float64 { return st.Share }),
		Low:      first(func(st SurvivalStep) float64 { return limits(st).Low }),
		High: first(func(st SurvivalStep) float64 {
			if st.Share == 0 { // no formula says how sure that is; R has no limit here either
				return 1
			}
			return limits(st).High
		}),
		Confidence: s.Confidence,
	}, nil
}

// RestrictedMean returns the mean start time if every cycle that had not
// started by then had started at the given time, and its standard error.
func (s Survival) RestrictedMean(until float64) (mean, standardError float64, err error) {
	if !(until > 0) || math.IsInf(until, 1) {
		return 0, 0, refuse("time", until, "a restricted mean needs a time above 0 s, such as the window")
	}
	area := make([]float64, len(s.Steps)) // under the curve, from each step to the end
	end := until
	for i := len(s.Steps) - 1; i >= 0; i-- {
		if s.Steps[i].Seconds >= until {
			continue
		}
		if i+1 < len(s.Steps) {
			area[i] = area[i+1]
		}
		area[i] += s.Steps[i].Share * (end - s.Steps[i].Seconds)
		end = s.Steps[i].Seconds
	}
	mean = end // nothing has started before the first step
	if len(area) > 0 {
		mean += area[0]
	}
	var variance float64
	for i, step := range s.Steps {
		if step.Starts < step.AtRisk {
			variance += square(area[i]) * float64(step.Starts) / (float64(step.AtRisk) * float64(step.AtRisk-step.Starts))
		}
	}
	return mean, math.Sqrt(variance), nil
}
