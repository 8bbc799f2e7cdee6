package main

import (
	"fmt"
	"math"
	"slices"

	"ringup/dashboards/plot"
	"ringup/runner/crystal"
)

// chart draws gain margin, frequency and start time over the varied value, for every variant.
func (v *variation) chart() plot.Curves {
	const points = 160
	// The values of the table are among the points, and carry the markers.
	xs := append(v.spread(points), v.rows()...)
	slices.Sort(xs)
	xs = slices.CompactFunc(xs, func(a, b float64) bool { return math.Abs(a-b) < 1e-9*math.Abs(b) })
	unit, factor := v.axisUnit()
	marked := v.rows()
	var dots []int
	shown := make([]float64, len(xs))
	for i, x := range xs {
		shown[i] = x * factor
		if slices.ContainsFunc(marked, func(m float64) bool { return math.Abs(m-x) <= 1e-9*math.Abs(m) }) {
			dots = append(dots, i)
		}
	}
	c := v.base
	wanted := v.k.margin
	margin := plot.CurvePanel{Label: "gain margin", Limits: []plot.Mark{{At: wanted, Text: fmt.Sprintf("wanted: %g", wanted)}}}
	pull := plot.CurvePanel{Label: "frequency against nominal, ppm", Limits: []plot.Mark{
		{At: v.k.withinPPM, Text: fmt.Sprintf("+%.3g ppm", v.k.withinPPM)}, {At: -v.k.withinPPM, Text: fmt.Sprintf("−%.3g ppm", v.k.withinPPM)}}}
	timeout := 1e3 * c.TimeoutSeconds
	start := plot.CurvePanel{Label: fmt.Sprintf("start to 90 %% of the amplitude, ms; the firmware waits %s", round3(c.TimeoutSeconds, "s"))}
	highest, slowest := 1.5*wanted, 0.0
	for _, variant := range v.variants() {
		margins, ppm, starts := make([]float64, len(xs)), make([]float64, len(xs)), make([]float64, len(xs))
		for i, x := range xs {
			margins[i], ppm[i], starts[i] = math.NaN(), math.NaN(), math.NaN()
			d, err := v.at(x)
			if err != nil {
				continue
			}
			a := variant.change(d).Analyse()
			margins[i] = a.GainMargin
			highest = max(highest, min(a.GainMargin, 4*wanted))
			if a.Starts && !math.IsInf(a.StartSeconds, 1) {
				slowest = max(slowest, 1e3*a.StartSeconds)
				ppm[i], starts[i] = a.PullingPPM, 1e3*a.StartSeconds
			}
		}
		margin.Lines = append(margin.Lines, plot.Line{Name: variant.name, X: shown, Y: margins, Dots: dots})
		pull.Lines = append(pull.Lines, plot.Line{X: shown, Y: ppm, Dots: dots})
		start.Lines = append(start.Lines, plot.Line{X: shown, Y: starts, Dots: dots})
	}
	margin.High = highest
	start.High = max(min(slowest, 1.2*timeout), 0.01*timeout)
	if slowest > 0.8*timeout {
		start.Limits = []plot.Mark{{At: timeout, Text: "time-out"}}
	}
	g := plot.Curves{
		Title: fmt.Sprintf("%s crystal: %s from %s to %s", crystal.FormatSI(c.Hertz, "Hz"), v.names(), v.format(v.low), v.format(v.high)),
		Width: 760, XLabel: v.names() + ", " + unit, XLogarithmic: v.logarithmic(), Alone: true, Note: boardCaution,
		Panels: []plot.CurvePanel{margin, pull, start},
	}
	if fitted := v.fitted(); fitted >= v.low && fitted <= v.high {
		g.At = []plot.Mark{{At: fitted * factor, Text: "as given: " + v.format(fitted)}}
	}
	g.Description = v.inWords()
	if v.loads() {
		g.Spans = v.spans(factor)
	}
	return g
}

// spans are the safe ranges of the load capacitors at both supplies.
func (v *variation) spans(factor float64) []plot.Span {
	var spans []plot.Span
	supplies := []float64{v.base.SupplyVolts}
	if v.k.flatVolts > 0 {
		supplies = append(supplies, v.k.flatVolts)
	}
	for i, supply := range supplies {
		r := v.base.At(supply, v.base.Celsius).SafeRange(v.k.margin, v.k.withinPPM)
		if r.OK && r.HighFarads > v.low && r.LowFarads < v.high {
			spans = append(spans, plot.Span{From: r.LowFarads * factor, To: r.HighFarads * factor, Line: i,
				Text: fmt.Sprintf("safe at %s: %.1f to %.1f pF", volts(supply), 1e12*r.LowFarads, 1e12*r.HighFarads)})
		}
	}
	return spans
}

// inWords is the chart for those who cannot see it.
func (v *variation) inWords() string {
	text := ""
	for _, x := range v.rows() {
		if c, err := v.at(x); err == nil {
			a := c.Analyse()
			text += fmt.Sprintf("%s: gain margin %.1f, %+.0f ppm, %s. ", v.format(x), a.GainMargin, a.PullingPPM, v.k.judged(a))
		}
	}
	return text
}

// axisUnit is the unit of the horizontal axis and what turns SI into it.
func (v *variation) axisUnit() (unit string, factor float64) {
	unit = unitName(v.symbols[0].Unit)
	if unit == "°C" || unit == "" {
		return unit, 1
	}
	// The prefix of the upper end serves the whole axis, or of the middle where it spans decades.
	size := v.high
	if v.logarithmic() {
		size = math.Sqrt(v.low * v.high)
	}
	for _, p := range []struct {
		name   string
		factor float64
	}{{"f", 1e15}, {"p", 1e12}, {"n", 1e9}, {"u", 1e6}, {"m", 1e3}, {"", 1}, {"k", 1e-3}, {"M", 1e-6}} {
		if size*p.factor < 1000*(1+1e-9) {
			return p.name + unit, p.factor
		}
	}
	return unit, 1
}
