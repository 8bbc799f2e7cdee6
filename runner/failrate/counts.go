package failrate

import "math"

// Counts is how many of some counted cycles failed.
type Counts struct {
	Failures int `json:"failures"`
	Cycles   int `json:"cycles"`
}

// Rate is failures by cycles; NaN when there were no cycles.
func (c Counts) Rate() float64 { return float64(c.Failures) / float64(c.Cycles) }

// Counts returns the counted cycles of the condition.
func (c Condition) Counts() Counts { return Counts{c.Failures, c.Cycles} }

func (c Counts) add(o Counts) Counts { return Counts{c.Failures + o.Failures, c.Cycles + o.Cycles} }

// checkPair refuses what cannot be compared.
func checkPair(a, b Counts) error {
	for _, c := range []Counts{a, b} {
		if err := checkCounts(c.Failures, c.Cycles); err != nil {
			return err
		}
		if c.Cycles == 0 {
			return refuse("cycles", 0, "a comparison needs counted cycles on both sides; run some first")
		}
	}
	return nil
}

// twoSidedZ is the z that leaves out half of 1-confidence on each side.
func twoSidedZ(confidence float64) float64 { return -normalQuantile((1 - confidence) / 2) }

// ordinary reports whether x is a number whose square is one, too.
func ordinary(x float64) bool { return math.Abs(x) <= 1e100 }

func square(x float64) float64 { return x * x }
