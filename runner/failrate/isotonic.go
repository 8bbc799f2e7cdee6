package failrate

import (
	"cmp"
	"slices"
)

// PoolAdjacent returns the rising sequence nearest to the values in weighted
// squares, by pooling neighbours that violate the order.
//
// Source: Barlow, Bartholomew, Bremner and Brunk, Statistical Inference under
// Order Restrictions (1972), section 1.2.
func PoolAdjacent(values, weights []float64) ([]float64, error) {
	if len(values) != len(weights) {
		return nil, refuse("weights", len(weights), "one weight for each value is needed")
	}
	type block struct {
		mean, weight float64
		size         int
	}
	var blocks []block
	for i, v := range values {
		if !ordinary(v) {
			return nil, refuse("value", v, "it is a finite number")
		}
		if !(weights[i] > 1e-100) || !ordinary(weights[i]) {
			return nil, refuse("weight", weights[i], "it is a number above 0, such as the cycles")
		}
		blocks = append(blocks, block{v, weights[i], 1})
		for n := len(blocks); n > 1 && blocks[n-2].mean > blocks[n-1].mean; n = len(blocks) {
			a, b := blocks[n-2], blocks[n-1]
			w := a.weight + b.weight
			blocks = append(blocks[:n-2], block{(a.mean*a.weight + b.mean*b.weight) / w, w, a.size + b.size})
		}
	}
	fit := make([]float64, 0, len(values))
	for _, b := range blocks {
		fit = append(fit, slices.Repeat([]float64{b.mean}, b.size)...)
	}
	return fit, nil
}

// IsotonicStep is the failure rate at one voltage as the assumption-free picture
// has it.
type IsotonicStep struct {
	Dose
	Fitted float64 `json:"fitted"`
}

// Isotonic returns the most likely failure rates that do not rise with the
// voltage, highest rate first: no curve is assumed, only the order.
func Isotonic(doses []Dose) ([]IsotonicStep, error) {
	var steps []IsotonicStep
	for _, d := range doses {
		if err := checkCounts(d.Failures, d.Cycles); err != nil {
			return nil, err
		}
		if !ordinary(d.Volts) {
			return nil, refuse("voltage", d.Volts, "it is a number of volts")
		}
		if d.Cycles > 0 {
			steps = append(steps, IsotonicStep{Dose: d})
		}
	}
	if len(steps) == 0 {
		return nil, refuse("cycles", 0, "a picture needs counted cycles; run some first")
	}
	slices.SortFunc(steps, func(a, b IsotonicStep) int { return cmp.Compare(a.Volts, b.Volts) })
	values, weights := make([]float64, len(steps)), make([]float64, len(steps))
	for i, s := range steps {
		values[i], weights[i] = -s.Rate(), float64(s.Cycles)
	}
	fit, err := PoolAdjacent(values, weights)
	if err != nil {
		return nil, err
	}
	for i := range steps {
		steps[i].Fitted = 0 - fit[i] // no minus zero
	}
	return steps, nil
}
