package failrate

import "math"

// OddsRatioExact returns the odds of failing in A by the odds in B: the
// conditional maximum likelihood estimate with exact limits. With no failure, or
// nothing but failures, on one side the ratio is 0 or infinite and only one
// limit is finite. Where the margins leave nothing to compare (no failure at
// all, or nothing but failures) it is refused.
//
// Source: Agresti, Categorical Data Analysis (1990), section 3.5.3; the limits
// are those of Cornfield, Proc. 3rd Berkeley Symp. 4 (1956) 135.
func OddsRatioExact(a, b Counts, confidence float64) (Interval, error) {
	if err := checkRatio(a, b, confidence); err != nil {
		return Interval{}, err
	}
	return hypergeometric(a, b).ratio(a.Failures, confidence), nil
}

// OddsRatioWoolf returns the odds ratio of the sample with Woolf's limits on
// the logarithm. Where one of the four counts is 0, half a cycle is added to
// each of them.
//
// Source: Woolf, Ann. Hum. Genet. 19 (1955) 251; the half Haldane, ibid. 20
// (1956) 309.
func OddsRatioWoolf(a, b Counts, confidence float64) (Interval, error) {
	if err := checkRatio(a, b, confidence); err != nil {
		return Interval{}, err
	}
	cells := [4]float64{float64(a.Failures), float64(a.Cycles - a.Failures), float64(b.Failures), float64(b.Cycles - b.Failures)}
	if cells[0] == 0 || cells[1] == 0 || cells[2] == 0 || cells[3] == 0 {
		for i := range cells {
			cells[i] += 0.5
		}
	}
	logRatio := math.Log(cells[0] / cells[1] / cells[2] * cells[3])
	half := twoSidedZ(confidence) * math.Sqrt(1/cells[0]+1/cells[1]+1/cells[2]+1/cells[3])
	return Interval{Estimate: math.Exp(logRatio), Low: math.Exp(logRatio - half), High: math.Exp(logRatio + half), Confidence: confidence}, nil
}

func checkRatio(a, b Counts, confidence float64) error {
	if err := checkPair(a, b); err != nil {
		return err
	}
	switch total := a.add(b); total.Failures {
	case 0:
		return refuse("failures", "0 on both sides", "an odds ratio needs a failure somewhere; the difference of the rates needs none")
	case total.Cycles:
		return refuse("failures", "every cycle of both sides", "an odds ratio needs a good start somewhere; the difference of the rates needs none")
	}
	return checkConfidence(confidence)
}
