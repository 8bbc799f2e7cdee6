package crystal

import (
	"errors"
	"fmt"
	"math"
)

// GrowthPoint is a measured growth: time constant and its standard
// uncertainty, in seconds, at a supply. A negative time constant is a decay.
type GrowthPoint struct{ Volts, Seconds, SecondsSigma float64 }

// GrowthAnswer is what growth says of the circuit.
type GrowthAnswer struct {
	// NegativeOhms is |-R| of each point, with R1 taken as given:
	// R1 + 2·L1/τ.
	NegativeOhms []Estimate
	// The rest comes from the change with voltage alone and needs two supplies or
	// more. Loss is R1 and everything that adds to it, Scale the stage's strength
	// against the law's, InCircuitOhms |-R| of each point without R1 being known,
	// StopVolts the supply at which growth ends.
	Loss, Scale   Estimate
	InCircuitOhms []Estimate
	StopVolts     Estimate
}

// FromGrowth goes back from measured growth to resistances. r1Sigma is the
// standard uncertainty of the circuit's R1 in ohms.
//
// Growth gives 2·L1/τ = |-R| - R1. How |-R| moves with the supply is known from
// the circuit, |-R| = k·|-R|calculated(V), so points at several supplies give k
// and R1 apart by weighted least squares.
func (c Circuit) FromGrowth(points []GrowthPoint, r1Sigma float64) (GrowthAnswer, error) {
	a := GrowthAnswer{Loss: unknown(), Scale: unknown(), StopVolts: unknown()}
	if len(points) == 0 {
		return a, errors.New("no growth was measured: give at least one time constant")
	}
	x := c.crystal()
	surplus, sigma, model := make([]float64, len(points)), make([]float64, len(points)), make([]float64, len(points))
	for i, p := range points {
		if !(math.Abs(p.Seconds) > 0) || math.IsInf(p.Seconds, 0) || !(p.SecondsSigma > 0) || !(p.Volts > 0) {
			return a, fmt.Errorf("growth point %d: %g s ± %g s at %g V; the time constant must be finite and not 0, its uncertainty and the supply must be above 0",
				i+1, p.Seconds, p.SecondsSigma, p.Volts)
		}
		surplus[i] = 2 * x.L1 / p.Seconds
		sigma[i] = math.Abs(surplus[i] / p.Seconds * p.SecondsSigma)
		model[i] = c.negativeAt(p.Volts)
		a.NegativeOhms = append(a.NegativeOhms, estimate(x.R1+surplus[i], math.Hypot(sigma[i], r1Sigma)))
	}
	if c.Gm > 0 {
		return a, nil // no law, so no change with voltage to compare with
	}
	line, ok := fitLine(model, surplus, sigma)
	if !ok {
		return a, nil
	}
	a.Scale = estimate(line.slope, math.Sqrt(line.slopeVar))
	a.Loss = estimate(-line.offset, math.Sqrt(line.offsetVar))
	for i := range points {
		a.InCircuitOhms = append(a.InCircuitOhms, estimate(line.slope*model[i], model[i]*a.Scale.Sigma))
	}
	// Growth ends where k·|-R|calculated = loss.
	need := a.Loss.Value / line.slope
	volts := c.lowest(func(d *Circuit) bool { return d.negativeAt(d.SupplyVolts) >= need })
	if math.IsNaN(volts) || !(line.slope > 0) {
		return a, nil
	}
	const h = 1e-3 // V
	steep := (c.negativeAt(volts+h) - c.negativeAt(volts-h)) / (2 * h)
	needVar := (line.offsetVar + need*need*line.slopeVar + 2*need*line.covariance) / (line.slope * line.slope)
	a.StopVolts = estimate(volts, math.Sqrt(max(0, needVar))/math.Abs(steep))
	return a, nil
}

// negativeAt is |-R| of the circuit at a supply.
func (c *Circuit) negativeAt(volts float64) float64 {
	d := c.At(volts, c.Celsius)
	o := d.operate()
	return o.negative()
}

// line is a weighted straight-line fit y = offset + slope·x.
type line struct{ offset, slope, offsetVar, slopeVar, covariance float64 }

// fitLine is false where the points have one x only.
func fitLine(x, y, sigma []float64) (line, bool) {
	var w, wx, wy, wxx, wxy float64
	for i := range x {
		k := 1 / (sigma[i] * sigma[i])
		w, wx, wy, wxx, wxy = w+k, wx+k*x[i], wy+k*y[i], wxx+k*x[i]*x[i], wxy+k*x[i]*y[i]
	}
	det := w*wxx - wx*wx
	if !(det > 1e-9*w*wxx) {
		return line{}, false
	}
	return line{
		offset: (wxx*wy - wx*wxy) / det, slope: (w*wxy - wx*wy) / det,
		offsetVar: wxx / det, slopeVar: w / det, covariance: -wx / det,
	}, true
}
