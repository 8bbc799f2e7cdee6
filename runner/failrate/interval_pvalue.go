package failrate

// RateTest says how likely counts such as those seen are when the true rate is
// the one given.
type RateTest struct {
	AtMost   float64 // P(X <= failures)
	AtLeast  float64 // P(X >= failures)
	TwoSided float64 // the outcomes no more likely than the one seen
}

// TestRate returns the exact binomial tests of a rate. Counts and a rate that
// cannot be are refused with an [*InputError]. With no cycles all are 1.
//
// Source: Conover, Practical Nonparametric Statistics (1971) p. 97.
func TestRate(failures, cycles int, rate float64) (RateTest, error) {
	if err := checkCounts(failures, cycles); err != nil {
		return RateTest{}, err
	}
	if err := checkRate("rate", rate); err != nil {
		return RateTest{}, err
	}
	test := RateTest{AtMost: binomialAtMost(failures, cycles, rate), AtLeast: binomialAtLeast(failures, cycles, rate)}
	least, probability := binomialWindowTo(cycles, rate, deep)
	if failures < least || failures >= least+len(probability) {
		return test, nil // less likely than 1e-300
	}
	// Outcomes exactly as likely as the one seen must not be lost to rounding.
	limit := probability[failures-least] * (1 + 1e-7)
	for _, p := range probability {
		if p <= limit {
			test.TwoSided += p
		}
	}
	test.TwoSided = min(1, test.TwoSided)
	return test, nil
}
