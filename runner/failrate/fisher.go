package failrate

// FisherExact returns the two-sided p-value of Fisher's exact test for the
// same failure rate in A (failA of nA cycles) and B (failB of nB): the
// probability, with all margins fixed, of the outcomes no more likely than the
// one seen. It is 1, nothing compared, when either side has no cycles or
// impossible counts; [Compare] says in an error which of them.
//
// Source: Agresti, Categorical Data Analysis (1990), section 3.5.
func FisherExact(failA, nA, failB, nB int) float64 {
	if failA < 0 || nA < failA || failB < 0 || nB < failB {
		return 1
	}
	return hypergeometric(Counts{failA, nA}, Counts{failB, nB}).twoSided(failA)
}

// FisherOneSided returns the one-sided p-values of Fisher's exact test: the
// probability, with all margins fixed and equal rates, of at most and of at
// least as many failures in A as were seen.
func FisherOneSided(a, b Counts) (less, greater float64, err error) {
	if err := checkPair(a, b); err != nil {
		return 1, 1, err
	}
	less, greater = hypergeometric(a, b).tails(a.Failures, 0)
	return less, greater, nil
}
