package marking

import "math"

// E12 and E24 are one decade of preferred values (IEC 60063), times ten. E24 has
// no formula: some of its values are not where rounding would put them.
var (
	E12 = []int{10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82}
	E24 = []int{10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91}
)

// Between lists the values of a series from low to high, ends included, rising.
// Low must be above zero; the unit is whatever low and high are in.
func Between(series []int, low, high float64) []float64 {
	var values []float64
	if !(low > 0) || math.IsInf(high, 0) {
		return nil
	}
	// The slack lets 27e-12 be found between 27e-12 and 27e-12.
	const slack = 1e-9
	for decade := int(math.Floor(math.Log10(low))); decade <= int(math.Ceil(math.Log10(high))); decade++ {
		for _, step := range series {
			v := scaled(float64(step), decade-1)
			if v >= low*(1-slack) && v <= high*(1+slack) {
				values = append(values, v)
			}
		}
	}
	return values
}

// Nearest is the value of a series nearest to v by ratio, since a series is
// spaced by ratio. It is NaN unless v is above zero and finite.
func Nearest(series []int, v float64) float64 {
	best := math.NaN()
	for _, candidate := range Between(series, v/1.5, v*1.5) {
		if math.IsNaN(best) || math.Abs(math.Log(candidate/v)) < math.Abs(math.Log(best/v)) {
			best = candidate
		}
	}
	return best
}

// scaled is value·10^power, exact to the last bit where one division or
// multiplication by an exact power of ten can be.
func scaled(value float64, power int) float64 {
	if power < 0 {
		return value / math.Pow10(-power)
	}
	return value * math.Pow10(power)
}
