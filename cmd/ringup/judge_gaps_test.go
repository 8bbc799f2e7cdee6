package main

import (
	"math"
	"testing"

	"ringup/runner/verdict"
)

// A chart shows nothing where nothing was recorded, and all there is beside it.
func TestChartLeavesGapsOut(t *testing.T) {
	r := verdict.Record{StepSeconds: 1e-6, Volts: make([]float64, 100), Gaps: []verdict.Gap{{From: 40, To: 55}}}
	for _, bins := range []int{10, 100} {
		whole := r.Peaks(bins)
		shown := withGaps(whole, r)
		per := 100 / bins
		for i := range shown.Min {
			inGap := i*per < 55 && (i+1)*per > 40
			if math.IsNaN(shown.Min[i]) != inGap || math.IsNaN(shown.Max[i]) != inGap || math.IsNaN(whole.Min[i]) {
				t.Errorf("bin %d of %d: %v to %v, in the gap: %v; the trace itself %v", i, bins, shown.Min[i], shown.Max[i], inGap, whole.Min[i])
			}
		}
	}
}
