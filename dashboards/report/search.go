package report

import (
	"fmt"
	"math"

	"ringup/dashboards/plot"
	"ringup/runner"
	"ringup/runner/failrate"
)

// fewAtEach is the mean number of cycles at a voltage below which no voltage is spoken of by itself: a search for the
// threshold spreads its cycles like this.
const fewAtEach = 5

// searched gives the threshold of a run that looked for it; ok is false for other runs.
func searched(f *findings) (t runner.Threshold, ok bool) {
	base := baseOf(f)
	if len(base) == 0 || pooled(base).Cycles >= fewAtEach*len(base) {
		return t, false
	}
	for _, t := range f.analysis.Thresholds {
		if t.Treatment == base[0].Treatment && t.Refused == "" {
			return t, true
		}
	}
	return t, false
}

// voltsAt is where that share of the cycles fails.
func voltsAt(t runner.Threshold, rate float64) runner.ThresholdVolts {
	for _, v := range t.Volts {
		if v.Rate == rate {
			return v
		}
	}
	return runner.ThresholdVolts{Volts: math.NaN()}
}

// searchChart shows the fitted curve among the rates at the voltages tried.
func searchChart(f *findings, t runner.Threshold) plot.Curves {
	half, tenth := voltsAt(t, 0.5), voltsAt(t, 0.1)
	tried := plot.Line{Name: "failed at each voltage tried", Apart: true}
	low, high := math.Inf(1), math.Inf(-1)
	for _, c := range baseOf(f) {
		if c.Cycles > 0 {
			tried.Dots = append(tried.Dots, len(tried.X))
			tried.X, tried.Y = append(tried.X, c.Volts), append(tried.Y, 100*c.Estimate)
			low, high = min(low, c.Volts), max(high, c.Volts)
		}
	}
	// The curve goes on to where half fail and to where a tenth do, but no further beyond the voltages than these reach.
	span := high - low
	for _, v := range []float64{half.Volts, tenth.Volts} {
		low, high = max(min(low, v), low-span), min(max(high, v), high+span)
	}
	// It is logistic, so two of its points give all of it.
	slope := math.Log(9) / (tenth.Volts - half.Volts) // per volt
	fitted := plot.Line{Name: t.Curve + " fit"}
	for i := range 201 {
		v := low + (high-low)*float64(i)/200
		fitted.X, fitted.Y = append(fitted.X, v), append(fitted.Y, 100/(1+math.Exp(slope*(v-half.Volts))))
	}
	chart := plot.Curves{
		Title: "Failure rate against supply voltage", Description: half.Sentence + ".", Width: chartWidth, XLabel: "supply voltage, V",
		At:     []plot.Mark{{At: half.Volts, Text: fmt.Sprintf("half fail at %.3f V", half.Volts)}},
		Panels: []plot.CurvePanel{{Label: "failure rate, %", Low: 0, High: 100, Height: 230, Lines: []plot.Line{tried, fitted}}},
	}
	if l := half.Profile; l[0] != nil && l[1] != nil {
		chart.Spans = []plot.Span{{From: *l[0], To: *l[1], Text: "95 % limits of where half fail", Line: 1}}
	}
	return chart
}

// nextAfterSearch says what to do with a threshold.
func nextAfterSearch(t runner.Threshold) []string {
	return []string{
		fmt.Sprintf("Find the part: run the hunt near %.2f V, where about half of the starts fail, so that better and worse both show.", voltsAt(t, 0.5).Volts),
		"Repair, then search again on the repaired unit with the same rests, in the same cold, and compare. How often it fails at one voltage is a soak's question, not a search's.",
	}
}

// spread says how thinly the cycles lie.
func spread(base []failrate.Condition) string {
	return fmt.Sprintf("This was a search: %s cycles spread over %d voltages, too few at any one to speak of that voltage alone.", failrate.Count(pooled(base).Cycles), len(base))
}
