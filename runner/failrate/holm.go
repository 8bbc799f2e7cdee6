package failrate

import (
	"cmp"
	"math"
	"slices"
)

// Holm returns the p-values adjusted for having made len(p) comparisons, in
// the order given: the chance that any of the differences below a level is
// false stays below that level. A NaN (comparison not made) stays NaN and is
// not counted among the comparisons.
//
// Source: Holm, Scand. J. Statist. 6 (1979) 65.
func Holm(p []float64) []float64 {
	adjusted := make([]float64, len(p))
	var order []int
	for i, v := range p {
		adjusted[i] = math.NaN()
		if !math.IsNaN(v) {
			order = append(order, i)
		}
	}
	slices.SortFunc(order, func(i, j int) int { return cmp.Compare(p[i], p[j]) })
	var floor float64
	for rank, i := range order {
		floor = max(floor, min(1, float64(len(order)-rank)*p[i]))
		adjusted[i] = floor
	}
	return adjusted
}
