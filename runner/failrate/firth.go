package failrate

// FitFirth fits a logistic curve by Firth's penalised likelihood. It is finite
// whatever the counts, even when one voltage parts all failures from all good
// starts, and less biased than maximum likelihood when failures are rare. It
// refuses fewer than two voltages, no failures at all and nothing but failures:
// those say only on which side of the voltages tried the threshold lies.
//
// Sources: Firth, Biometrika 80 (1993) 27; Heinze and Schemper, Statist. Med. 21
// (2002) 2409.
func FitFirth(doses []Dose) (ThresholdFit, error) {
	m, err := newThresholdModel(doses, Logit, true)
	if err != nil {
		return ThresholdFit{}, err
	}
	return m.fit()
}
