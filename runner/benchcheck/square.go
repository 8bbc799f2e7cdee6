package benchcheck

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"ringup/runner/verdict"
)

// Square is what a probe shows of the scope's compensation terminal.
type Square struct {
	Hertz               float64
	LowVolts, HighVolts float64 // the levels between which it swings once each edge has died away
	// EdgeGain is the probe's gain for fast signals relative to that for slow ones: 1 for a probe that is trimmed right,
	// above it over-compensated. A clock of some megahertz reads too large by this factor.
	EdgeGain float64
}

var errOffScreen = errors.New("the signal leaves the screen")

const (
	fewestPeriods = 2
	// The share of each half period, from its edge, in which the edge's own rise and the cable's ringing are left out.
	edgeShare = 0.02
	// Time constants tried for a trimmer that is off, as shares of half a period.
	tauFrom, tauTo, tauSteps = 0.02, 1.5, 40
	// What a square wave leaves unexplained at most, root mean square as a share of its amplitude.
	squareResidual = 0.1
)

// MeasureSquare measures a square wave in a plain record: its frequency from its rising edges, interpolated linearly at
// the middle between its levels (IEEE 181), and levels and edge gain from a fit of
//
//	±(A + d·exp(-t/τ)) + offset
//
// over all whole half periods, t since the edge. A probe whose gain for fast signals is g times that for slow ones shows
// d = 2A·(g-1)/(1+exp(-T/2τ)): each edge adds its error to what is left of the ones before.
//
// It is an error if the record is unusable, clipped, holds fewer than two periods, or no square wave.
func MeasureSquare(t verdict.Trace) (Square, error) {
	v := t.Max
	if slices.ContainsFunc(v, math.IsNaN) {
		return Square{}, errors.New("the record holds values that are not numbers")
	}
	if len(v) < 64 || !slices.Equal(t.Min, t.Max) || !(t.StepSeconds > 0) {
		return Square{}, errors.New("the record is no run of plain samples")
	}
	sorted := slices.Sorted(slices.Values(v))
	low, high := sorted[len(sorted)/20], sorted[len(sorted)-1-len(sorted)/20]
	code := (t.HighVolts - t.LowVolts) / float64(max(t.Codes, 1))
	switch {
	case sorted[0] <= t.LowVolts || sorted[len(sorted)-1] >= t.HighVolts:
		return Square{}, fmt.Errorf("%w (%.3g V to %.3g V)", errOffScreen, t.LowVolts, t.HighVolts)
	case high-low < 8*code:
		return Square{}, fmt.Errorf("no square wave: the signal stays within %.2g V of %.3g V", (high-low)/2, (high+low)/2)
	}
	edges := edgesOf(v, (low+high)/2, (high-low)/4)
	var rising []float64
	for _, e := range edges {
		if e.up {
			rising = append(rising, e.at)
		}
	}
	if len(rising) <= fewestPeriods {
		return Square{}, fmt.Errorf("no square wave: its level rises %d times in %.3g ms", len(rising), 1e3*float64(len(v))*t.StepSeconds)
	}
	period := (rising[len(rising)-1] - rising[0]) / float64(len(rising)-1) // in samples
	for i := 1; i < len(rising); i++ {
		if math.Abs(rising[i]-rising[i-1]-period) > 0.05*period+1 {
			return Square{}, errors.New("no square wave: its edges do not come evenly")
		}
	}
	best := squareFit{residual: math.Inf(1)}
	for i := range tauSteps {
		tau := period / 2 * tauFrom * math.Pow(tauTo/tauFrom, float64(i)/(tauSteps-1))
		if f := fitSquare(v, edges, period, tau); f.residual < best.residual {
			best = f
		}
	}
	if !(best.amplitude > 0) || best.residual > squareResidual*best.amplitude {
		return Square{}, errors.New("no square wave: its tops and bottoms are not flat")
	}
	left := math.Exp(-period / 2 / best.tau)
	return Square{
		Hertz:    1 / (period * t.StepSeconds),
		LowVolts: best.offset - best.amplitude, HighVolts: best.offset + best.amplitude,
		EdgeGain: 1 + best.surplus*(1+left)/(2*best.amplitude),
	}, nil
}

// edge is a crossing of the middle, at a place in samples.
type edge struct {
	at float64
	up bool
}

// edgesOf finds crossings of the middle between excursions of more than hysteresis to either side.
func edgesOf(v []float64, middle, hysteresis float64) []edge {
	var edges []edge
	side, crossed := 0, 0.0
	for i, x := range v {
		if i > 0 && (v[i-1] < middle) != (x < middle) {
			crossed = float64(i-1) + (middle-v[i-1])/(x-v[i-1])
		}
		now := side
		switch {
		case x > middle+hysteresis:
			now = 1
		case x < middle-hysteresis:
			now = -1
		}
		if now != side && side != 0 {
			edges = append(edges, edge{crossed, now > 0})
		}
		side = now
	}
	return edges
}

// squareFit is ±(amplitude + surplus·exp(-t/tau)) + offset.
type squareFit struct{ amplitude, surplus, offset, tau, residual float64 }

// fitSquare fits by least squares at a given time constant, in samples. Both polarities share the surplus, so it is the
// slope against the exponential within each of them.
func fitSquare(v []float64, edges []edge, period, tau float64) squareFit {
	type sums struct{ n, u, v, uu, uv, vv float64 }
	var of [2]sums // low, high
	for i := 0; i+1 < len(edges); i++ {
		s, sign := &of[0], -1.0
		if edges[i].up {
			s, sign = &of[1], 1.0
		}
		from := edges[i].at + edgeShare*period/2 + 1
		until := edges[i+1].at - edgeShare*period/2 - 1
		for k := int(math.Ceil(from)); float64(k) < until; k++ {
			u, y := sign*math.Exp(-(float64(k)-edges[i].at)/tau), v[k]
			s.n, s.u, s.v, s.uu, s.uv, s.vv = s.n+1, s.u+u, s.v+y, s.uu+u*u, s.uv+u*y, s.vv+y*y
		}
	}
	var suu, suv, svv float64
	for _, s := range of {
		if s.n == 0 {
			return squareFit{residual: math.Inf(1)}
		}
		suu += s.uu - s.u*s.u/s.n
		suv += s.uv - s.u*s.v/s.n
		svv += s.vv - s.v*s.v/s.n
	}
	surplus := suv / suu
	level := func(s sums) float64 { return (s.v - surplus*s.u) / s.n }
	low, high := level(of[0]), level(of[1])
	return squareFit{
		amplitude: (high - low) / 2, offset: (high + low) / 2, surplus: surplus, tau: tau,
		residual: math.Sqrt(max(0, svv-surplus*suv) / (of[0].n + of[1].n)),
	}
}
