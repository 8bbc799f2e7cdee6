package plot

import (
	"math"
	"slices"
)

// scale is the panel's vertical axis with its tick.
func (p CurvePanel) scale(bottom, top float64) (scale, float64) {
	low, high := p.Low, p.High
	if low == 0 && high == 0 {
		low, high = math.Inf(1), math.Inf(-1)
		for _, l := range p.Lines {
			for _, v := range l.Y {
				if !math.IsNaN(v) && !math.IsInf(v, 0) {
					low, high = min(low, v), max(high, v)
				}
			}
		}
		for _, m := range p.Limits {
			low, high = min(low, m.At), max(high, m.At)
		}
		if !(high > low) {
			low, high = 0, 1
		}
	}
	tick := step(high-low, 6)
	return scale{math.Floor(low/tick+1e-9) * tick, math.Ceil(high/tick-1e-9) * tick, bottom, top}, tick
}

// axis is the horizontal scale, linear or logarithmic.
type axis struct {
	pixels      scale
	logarithmic bool
}

func (a axis) value(v float64) float64 {
	if a.logarithmic {
		return math.Log10(v)
	}
	return v
}

func (a axis) at(v float64) float64     { return a.pixels.at(a.value(v)) }
func (a axis) inside(v float64) float64 { return a.pixels.inside(a.value(v)) }

// ticks are round values; on a logarithmic axis 1, 2 and 5 of each decade.
func (a axis) ticks() []float64 {
	low, high := a.pixels.fromValue, a.pixels.toValue
	if !a.logarithmic {
		return ticks(low, high, a.step())
	}
	var all []float64
	for decade := math.Floor(low); decade <= high; decade++ {
		for _, m := range []float64{1, 2, 5} {
			if v := m * math.Pow(10, decade); math.Log10(v) >= low-1e-9 && math.Log10(v) <= high+1e-9 {
				all = append(all, v)
			}
		}
	}
	return all
}

func (a axis) step() float64 { return step(a.pixels.toValue-a.pixels.fromValue, 9) }

func (a axis) word(v float64) string {
	if a.logarithmic {
		return label(v, math.Pow(10, math.Floor(math.Log10(v))))
	}
	return label(v, a.step())
}

// xScale reaches over all points of all lines.
func (g Curves) xScale(left, right float64) axis {
	var all []float64
	for _, p := range g.Panels {
		for _, l := range p.Lines {
			all = append(all, l.X...)
		}
	}
	a := axis{logarithmic: g.XLogarithmic}
	low, high := 0.0, 1.0
	if len(all) > 0 {
		low, high = a.value(slices.Min(all)), a.value(slices.Max(all))
	}
	if !(high > low) {
		low, high = low-0.5, low+0.5
	}
	a.pixels = scale{low, high, left, right}
	return a
}
