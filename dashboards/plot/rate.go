package plot

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"ringup/runner/failrate"
)

// FailureRate is the chart of the failure rate against the supply voltage: one
// series for each treatment, each point with its interval.
type FailureRate struct {
	Title, Description string // Description is worded from the conditions if empty
	Width, Height      float64
	Conditions         []failrate.Condition // those without counted cycle or voltage are left out
}

// SVG draws the chart.
func (f FailureRate) SVG() string {
	conditions := slices.DeleteFunc(slices.Clone(f.Conditions), func(c failrate.Condition) bool {
		return c.Cycles == 0 || math.IsNaN(c.Volts) || math.IsInf(c.Volts, 0) || math.IsNaN(c.Estimate)
	})
	var treatments []string
	for _, c := range conditions {
		if !slices.Contains(treatments, c.Treatment) {
			treatments = append(treatments, c.Treatment)
		}
	}
	description := f.Description
	if description == "" {
		description = describe(conditions)
	}
	const right, usualLegend = 16.0, 40.0
	width, height := orElse(f.Width, 720), orElse(f.Height, 340)
	probe := &canvas{}
	legend := probe.legend(8, 0, width-16, probe.rateLegend(treatments, conditions))
	if f.Height == 0 { // a long legend takes nothing from the chart
		height += max(0, legend-usualLegend)
	}
	c := newCanvas(width, height, f.Title, description)
	c.legend(8, 8, width-16, c.rateLegend(treatments, conditions))
	top := 8 + legend + 22
	y, yStep := rateScale(conditions, top, height-44)
	left := 14 + textWidth(label(100*y.toValue, 100*yStep)+" %")
	c.text(start, 8, top-10, "failure rate")
	c.percentAxis(y, yStep, left, width-right)

	if len(conditions) == 0 {
		c.text(middle, (left+width-right)/2, (top+height-44)/2, "no counted cycle yet")
		return c.close()
	}
	apart := treatmentsApart(treatments, conditions, width-right-left)
	half := apart * float64(len(treatments)-1) / 2
	x := voltScale(conditions, left+half, width-right-half)
	c.voltAxis(x, conditions, height-44)
	c.text(middle, (left+width-right)/2, height-8, "supply voltage, V")
	for i, treatment := range treatments {
		// Treatments at the same voltage stand beside each other.
		aside := apart*float64(i) - half
		for _, condition := range conditions {
			if condition.Treatment != treatment {
				continue
			}
			c.group(colourOf(i), sayCondition(condition))
			c.interval(i, x.at(condition.Volts)+aside, y, condition.Estimate, condition.Low, condition.High, condition.OneSided)
			c.ungroup()
		}
	}
	return c.close()
}

// treatmentsApart is how many pixels lie between treatments at one voltage: fewer
// where many of them share the width.
func treatmentsApart(treatments []string, conditions []failrate.Condition, width float64) float64 {
	voltages := map[float64]bool{}
	for _, c := range conditions {
		voltages[c.Volts] = true
	}
	return min(13, 0.8*width/float64(len(voltages)*len(treatments)))
}

func orElse(v, otherwise float64) float64 {
	if v > 0 {
		return v
	}
	return otherwise
}

func anyOneSided(conditions []failrate.Condition) bool {
	return slices.ContainsFunc(conditions, func(c failrate.Condition) bool { return c.OneSided })
}

func (c *canvas) rateLegend(treatments []string, conditions []failrate.Condition) []entry {
	var entries []entry
	if len(treatments) > 1 {
		for i, t := range treatments {
			entries = append(entries, entry{t, func(x, y float64) {
				c.group(colourOf(i), "")
				c.marker(i, x, y)
				c.ungroup()
			}})
		}
	}
	if anyOneSided(conditions) {
		entries = append(entries, entry{"bar and arrow: one-sided bound, none (or all) failed", func(x, y float64) {
			unit := scale{0, 1, y + 7, y - 6}
			c.printf("<g>\n")
			c.interval(0, x, unit, 0, 0, 1, true)
			c.ungroup()
		}})
	}
	return entries
}

// rateScale reaches from 0 to the round rate above the highest interval.
func rateScale(conditions []failrate.Condition, top, bottom float64) (y scale, tick float64) {
	highest := 0.0
	for _, c := range conditions {
		highest = max(highest, c.High)
	}
	if highest == 0 {
		highest = 1
	}
	tick = step(highest, 5)
	return scale{0, min(1, math.Ceil(highest/tick-1e-9)*tick), bottom, top}, tick
}

func (c *canvas) percentAxis(y scale, tick, left, right float64) {
	for _, v := range ticks(0, y.toValue, tick) {
		c.grid(left, y.at(v), right, y.at(v))
		c.text(end, left-6, y.at(v)+4, label(100*v, 100*tick)+" %")
	}
	c.line("plot-axis", left, y.fromPixel, right, y.fromPixel)
}

func voltScale(conditions []failrate.Condition, left, right float64) scale {
	low, high := math.Inf(1), math.Inf(-1)
	for _, c := range conditions {
		low, high = min(low, c.Volts), max(high, c.Volts)
	}
	margin := (high - low) * 0.06
	if margin == 0 {
		margin = 0.1
	}
	return scale{low - margin, high + margin, left, right}
}

// voltAxis has its ticks at the voltages that were set, where they leave room
// for their labels, and at round ones otherwise.
func (c *canvas) voltAxis(x scale, conditions []failrate.Condition, bottom float64) {
	var set []float64
	for _, condition := range conditions {
		set = append(set, condition.Volts)
	}
	slices.Sort(set)
	set = slices.Compact(set)
	decimals := 1
	for _, v := range set {
		if _, fraction, _ := strings.Cut(strconv.FormatFloat(v, 'g', 4, 64), "."); len(fraction) > decimals {
			decimals = len(fraction)
		}
	}
	word := func(v float64) string { return strconv.FormatFloat(v, 'f', decimals, 64) }
	for i := 1; i < len(set); i++ {
		if x.at(set[i])-x.at(set[i-1]) < 10+(textWidth(word(set[i]))+textWidth(word(set[i-1])))/2 {
			tick := step(x.toValue-x.fromValue, 8)
			set = ticks(x.fromValue, x.toValue, tick)
			word = func(v float64) string { return label(v, tick) }
			break
		}
	}
	for _, v := range set {
		c.line("plot-axis", x.at(v), bottom, x.at(v), bottom+5)
		c.text(middle, x.at(v), bottom+19, word(v))
	}
}

func describe(conditions []failrate.Condition) string {
	text := ""
	for _, c := range conditions {
		text += sayCondition(c) + ". "
	}
	if text == "" {
		return "No counted cycle yet."
	}
	return text[:len(text)-1]
}

func sayCondition(c failrate.Condition) string {
	name := fmt.Sprintf("%.4g V", c.Volts)
	if c.Treatment != "" {
		name = c.Treatment + ", " + name
	}
	return name + ": " + sayRate(c.Failures, c.Cycles, c.Estimate, c.Low, c.High, c.Confidence, c.OneSided)
}

func sayRate(failures, cycles int, estimate, low, high, confidence float64, oneSided bool) string {
	text := fmt.Sprintf("%d of %d failed", failures, cycles)
	switch {
	case oneSided && estimate > 0.5:
		return fmt.Sprintf("%s, at least %s with %s confidence", text, percent(low), percent(confidence))
	case oneSided:
		return fmt.Sprintf("%s, at most %s with %s confidence", text, percent(high), percent(confidence))
	}
	return fmt.Sprintf("%s, %s (%s to %s with %s confidence)", text, percent(estimate), percent(low), percent(high), percent(confidence))
}
