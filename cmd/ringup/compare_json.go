package main

import (
	"math"

	"ringup/runner/failrate"
)

// comparisonAnswer is what compare prints as JSON. A number that is not known, or unbounded, is null.
type comparisonAnswer struct {
	Base        comparisonSide `json:"base"`
	Other       comparisonSide `json:"other"`
	Volts       []float64      `json:"volts"` // compared; empty where the sides are two voltages
	LeftOut     int            `json:"left_out"`
	Confidence  float64        `json:"confidence"`
	Difference  factor         `json:"difference"` // of the failure rates, other less base
	OddsRatio   *factor        `json:"odds_ratio"`
	P           float64        `json:"p"` // exact, within each voltage
	Boschloo    *float64       `json:"p_boschloo"`
	Barnard     *float64       `json:"p_barnard"`
	Homogeneous *float64       `json:"p_voltages_agree"`
	Start       *timesAnswer   `json:"start"`
	Growth      *timesAnswer   `json:"growth"`
	VisibleRate *float64       `json:"visible_rate"` // where nothing was shown: the rate that would have been seen four times in five
	Sentence    string         `json:"sentence"`
}

type comparisonSide struct {
	Name        string   `json:"name"`
	Failures    int      `json:"failures"`
	Cycles      int      `json:"cycles"`
	NotCounted  int      `json:"not_counted"`
	Estimate    *float64 `json:"estimate"`
	Low         float64  `json:"low"`
	High        float64  `json:"high"`
	MedianStart *float64 `json:"start_seconds_median"`
}

// factor is an estimate with its limits.
type factor struct {
	Estimate *float64 `json:"estimate"`
	Low      *float64 `json:"low"`
	High     *float64 `json:"high"`
}

// timesAnswer compares times, in seconds.
type timesAnswer struct {
	Base     *float64 `json:"base_median"`
	Other    *float64 `json:"other_median"`
	Ratio    factor   `json:"ratio"`
	P        float64  `json:"p"`
	PLogRank *float64 `json:"p_log_rank"`
}

// shownPower is how often an effect has to be seen to be called visible.
const shownPower = 0.8

func comparisonJSON(c failrate.Comparison, notCounted int) comparisonAnswer {
	side := func(name string, n failrate.Counts, iv failrate.Interval, start float64) comparisonSide {
		s := comparisonSide{Name: name, Failures: n.Failures, Cycles: n.Cycles, Estimate: known(iv.Estimate), Low: iv.Low, High: iv.High}
		if c.Start.Known {
			s.MedianStart = known(start)
		}
		return s
	}
	a := comparisonAnswer{
		Base: side(c.NameB, c.B, c.RateB, c.Start.MedianB), Other: side(c.NameA, c.A, c.RateA, c.Start.MedianA), Volts: []float64{}, LeftOut: c.LeftOut,
		Confidence: c.Difference.Confidence, Difference: factorOf(c.Difference), P: c.P,
		Start: timesOf(c.Start), Growth: timesOf(c.Growth), Sentence: c.Sentence(),
	}
	a.Other.NotCounted = notCounted
	if c.Boschloo != nil && c.Barnard != nil {
		a.Boschloo, a.Barnard = known(c.Boschloo.TwoSided), known(c.Barnard.TwoSided)
	}
	for _, v := range c.Volts {
		if !math.IsNaN(v) {
			a.Volts = append(a.Volts, v)
		}
	}
	if c.Comparable {
		odds := factorOf(c.OddsRatio)
		a.OddsRatio = &odds
		if h := c.Stratified.Homogeneity; h.Degrees > 0 {
			a.Homogeneous = known(h.TaroneP)
		}
	}
	if alpha := 1 - c.Difference.Confidence; c.P >= alpha {
		if rate, ok, err := failrate.DetectableRate(c.B.Rate(), c.B.Cycles, c.A.Cycles, true, shownPower, alpha); err == nil && ok {
			a.VisibleRate = &rate
		}
	}
	return a
}

func factorOf(iv failrate.Interval) factor {
	return factor{known(iv.Estimate), known(iv.Low), known(iv.High)}
}

func timesOf(t failrate.TimeComparison) *timesAnswer {
	if !t.Known {
		return nil
	}
	a := &timesAnswer{Base: known(t.MedianB), Other: known(t.MedianA), Ratio: factorOf(t.Ratio), P: t.P}
	if t.LogRankSet {
		a.PLogRank = known(t.LogRank.P)
	}
	return a
}

// known is nil, null in JSON, for a number that is not known or unbounded.
func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
