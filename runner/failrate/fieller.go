package failrate

import (
	"fmt"
	"math"
)

// ThresholdVolts is the voltage at which a share of cycles fails.
type ThresholdVolts struct {
	Rate       float64
	Volts      float64
	Error      float64 // standard error by the delta method
	Confidence float64

	// Three kinds of limits. Profile limits are the ones to show: they follow the
	// likelihood, also where it is lopsided. A limit is infinite where the data do
	// not bound the voltage on that side.
	Profile, Fieller, Delta Limits
	FiellerG                float64 // 1 or more: the slope itself is not shown, and Fieller's limits are infinite

	Extrapolated bool // Volts lies outside the voltages tried
}

// Volts returns the voltage at which the given share of cycles fails, 0.01,
// 0.1 or 0.5, with its limits. It refuses a curve that is level.
//
// Sources: Fieller, JRSS-B 16 (1954) 175; profile
// likelihood: Morgan, Analysis of Quantal Response Data (1992), section 2.7.
func (f ThresholdFit) Volts(rate, confidence float64) (ThresholdVolts, error) {
	if err := checkRate("failure rate", rate); err != nil {
		return ThresholdVolts{}, err
	}
	if err := checkConfidence(confidence); err != nil {
		return ThresholdVolts{}, err
	}
	if f.Slope == 0 || len(f.doses) == 0 {
		return ThresholdVolts{}, refuse("slope", f.Slope, "the failure rate is the same at every voltage tried, so there is no threshold among them")
	}
	eta := f.Link.eta(rate)
	z := twoSidedZ(confidence)
	v11, v12, v22 := f.Covariance[0][0], f.Covariance[0][1], f.Covariance[1][1]
	m := (eta - f.Intercept) / f.Slope
	// The variance of Intercept + Slope m, the vertical error at the threshold.
	vertical := max(0, v11+2*m*v12+m*m*v22)
	t := ThresholdVolts{Rate: rate, Volts: m, Confidence: confidence, Error: math.Sqrt(vertical) / math.Abs(f.Slope)}
	t.Delta = Limits{m - z*t.Error, m + z*t.Error}
	t.FiellerG = z * z * v22 / (f.Slope * f.Slope)
	t.Fieller = Limits{math.Inf(-1), math.Inf(1)}
	if g := t.FiellerG; g < 1 {
		centre := m + g/(1-g)*(m+v12/v22)
		half := z / (math.Abs(f.Slope) * (1 - g)) * math.Sqrt(max(0, vertical-g*(v11-v12*v12/v22)))
		t.Fieller = Limits{centre - half, centre + half}
	}
	t.Profile = f.profile(eta, m, z)
	first, last := f.doses[0].Volts, f.doses[len(f.doses)-1].Volts
	t.Extrapolated = m < first || m > last
	return t, nil
}

// Sentence says the threshold in words.
func (t ThresholdVolts) Sentence() string {
	text := fmt.Sprintf("%s of cycles fail at %s", Percent(t.Rate), volts(t.Volts))
	switch low, high := t.Profile.Low, t.Profile.High; {
	case math.IsInf(low, 0) && math.IsInf(high, 0):
		text += "; the cycles so far do not bound it"
	case math.IsInf(low, 0):
		text += fmt.Sprintf(", below %s with %s confidence; not bounded below", volts(high), Percent(t.Confidence))
	case math.IsInf(high, 0):
		text += fmt.Sprintf(", above %s with %s confidence; not bounded above", volts(low), Percent(t.Confidence))
	default:
		text += fmt.Sprintf(", between %s and %s with %s confidence", volts(low), volts(high), Percent(t.Confidence))
	}
	if t.Extrapolated {
		text += " (outside the voltages tried: the curve is carried on)"
	}
	return text
}

// volts words a voltage to the millivolt.
func volts(v float64) string { return fmt.Sprintf("%.3f V", v) }
