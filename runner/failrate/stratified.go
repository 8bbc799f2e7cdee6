package failrate

import "math"

// Stratum holds the counts of A and B at one voltage, or in whatever else
// both must be alike.
type Stratum struct {
	Label string
	A, B  Counts
}

// Stratified is the comparison of A with B within strata, so that a difference
// between the strata, such as the voltage, does not pass for one between A and
// B. Ratios are odds of failing in A by odds in B.
type Stratified struct {
	Strata int // informative ones: cycles on both sides, some failed, some not

	OddsRatio Interval // Mantel-Haenszel, limits by Robins, Breslow and Greenland; NaN where it is not defined

	ChiSquare, P                   float64 // Cochran-Mantel-Haenszel, one degree of freedom, not corrected for continuity
	ChiSquareCorrected, PCorrected float64 // corrected

	// Exact are the two-sided p-value (outcomes no more likely) and the
	// one-sided ones, given the margins of every stratum, with the conditional
	// maximum likelihood estimate and its exact limits. Where the sums would be too
	// long, with ten thousands of failures in several strata, Approximate is set and
	// they are those of the corrected chi-square and of Mantel and Haenszel, which then
	// agree.
	Exact, ExactLess, ExactGreater float64
	ExactOddsRatio                 Interval
	Approximate                    bool

	Homogeneity Homogeneity
}

// Homogeneity asks whether the odds ratio is the same in all strata. Where it
// is not, one ratio does not describe them all. Not to be answered with fewer
// than two informative strata: then Degrees is 0 and every P is 1.
type Homogeneity struct {
	Degrees         int
	Woolf, WoolfP   float64 // NaN where a count is zero: Woolf's test does without such strata or not at all
	BreslowDay      float64
	BreslowDayP     float64
	Tarone, TaroneP float64        // Breslow and Day's with Tarone's correction: the one to read
	Ratios          []StratumRatio // the odds ratio within each informative stratum
}

// StratumRatio is the odds ratio of one stratum, 0 or infinite where a count is
// zero.
type StratumRatio struct {
	Label string
	Ratio float64
}

// StratifiedTest compares A with B within strata. Strata without a cycle on
// one side, without any failure or with nothing but failures say nothing and are
// left out. It refuses when no stratum is left.
//
// Sources: Mantel and Haenszel, JNCI 22 (1959) 719; Robins, Breslow and
// Greenland, Biometrics 42 (1986) 311; Breslow and Day (1980), section 4.4;
// Tarone, Biometrika 72 (1985) 91; Agresti (1990), section 7.4.
func StratifiedTest(strata []Stratum, confidence float64) (Stratified, error) {
	if err := checkConfidence(confidence); err != nil {
		return Stratified{}, err
	}
	var used []Stratum
	for _, s := range strata {
		for _, c := range []Counts{s.A, s.B} {
			if err := checkCounts(c.Failures, c.Cycles); err != nil {
				return Stratified{}, err
			}
		}
		if sum := s.A.add(s.B); s.A.Cycles > 0 && s.B.Cycles > 0 && sum.Failures > 0 && sum.Failures < sum.Cycles {
			used = append(used, s)
		}
	}
	if len(used) == 0 {
		return Stratified{}, refuse("strata", len(strata), "none has cycles of both sides with failures and good starts among them, so there is nothing to compare")
	}
	result := Stratified{Strata: len(used)}
	result.chiSquare(used)
	result.oddsRatio(used, confidence)
	result.exact(used, confidence)
	result.Homogeneity = homogeneity(used, result.OddsRatio.Estimate)
	return result, nil
}

// fourfold returns the counts as the textbooks letter them: a, b = failures and
// good starts of A, c, d = of B, and their sum.
func (s Stratum) fourfold() (a, b, c, d, n float64) {
	a, c = float64(s.A.Failures), float64(s.B.Failures)
	b, d = float64(s.A.Cycles)-a, float64(s.B.Cycles)-c
	return a, b, c, d, a + b + c + d
}

func (r *Stratified) chiSquare(strata []Stratum) {
	var excess, variance float64
	for _, s := range strata {
		a, b, c, d, n := s.fourfold()
		excess += a - (a+b)*(a+c)/n
		variance += (a + b) * (c + d) * (a + c) * (b + d) / (n * n * (n - 1))
	}
	r.ChiSquare = square(excess) / variance
	// The correction never carries past equality.
	r.ChiSquareCorrected = square(math.Abs(excess)-min(0.5, math.Abs(excess))) / variance
	r.P, r.PCorrected = chiSquareUpper(r.ChiSquare, 1), chiSquareUpper(r.ChiSquareCorrected, 1)
}

func (r *Stratified) oddsRatio(strata []Stratum, confidence float64) {
	var sumR, sumS, pr, psqr, qs float64
	for _, s := range strata {
		a, b, c, d, n := s.fourfold()
		p, q := (a+d)/n, (b+c)/n
		ratio, inverse := a*d/n, b*c/n
		sumR += ratio
		sumS += inverse
		pr += p * ratio
		psqr += p*inverse + q*ratio
		qs += q * inverse
	}
	r.OddsRatio = Interval{Estimate: sumR / sumS, Low: 0, High: math.Inf(1), Confidence: confidence}
	if sumR > 0 && sumS > 0 {
		half := twoSidedZ(confidence) * math.Sqrt(pr/(2*sumR*sumR)+psqr/(2*sumR*sumS)+qs/(2*sumS*sumS))
		r.OddsRatio.Low, r.OddsRatio.High = sumR/sumS*math.Exp(-half), sumR/sumS*math.Exp(half)
	}
}

func (r *Stratified) exact(strata []Stratum, confidence float64) {
	if exactWork(strata) > longestExact {
		r.Approximate = true
		r.Exact, r.ExactOddsRatio = r.PCorrected, r.OddsRatio
		z := math.Sqrt(r.ChiSquareCorrected)
		if r.OddsRatio.Estimate < 1 {
			z = -z
		}
		r.ExactLess, r.ExactGreater = normalUpper(-z), normalUpper(z)
		return
	}
	margin, failures := stratifiedMargin(strata)
	r.Exact = margin.twoSided(failures)
	r.ExactLess, r.ExactGreater = margin.tails(failures, 0)
	r.ExactOddsRatio = margin.ratio(failures, confidence)
}

// longestExact bounds the multiplications for the exact distribution: some tenth
// of a second.
const longestExact = 50_000_000

// exactWork is how many multiplications the exact distribution takes.
func exactWork(strata []Stratum) float64 {
	var work, length float64
	for i, s := range strata {
		fails := s.A.Failures + s.B.Failures
		one := float64(min(fails, s.A.Cycles) - max(0, fails-s.B.Cycles) + 1)
		if i > 0 {
			work += length * one
		}
		length += one
	}
	return work
}

// stratifiedMargin is the distribution of A's failures over all strata, and how
// many there were.
func stratifiedMargin(strata []Stratum) (m marginal, failures int) {
	for i, s := range strata {
		if one := hypergeometric(s.A, s.B); i == 0 {
			m = one
		} else {
			m = m.plus(one)
		}
		failures += s.A.Failures
	}
	return m, failures
}

func homogeneity(strata []Stratum, common float64) Homogeneity {
	h := Homogeneity{Degrees: len(strata) - 1, Woolf: math.NaN(), WoolfP: 1, BreslowDayP: 1, TaroneP: 1}
	for _, s := range strata {
		a, b, c, d, _ := s.fourfold()
		h.Ratios = append(h.Ratios, StratumRatio{s.Label, a * d / (b * c)})
	}
	if h.Degrees == 0 || !(common > 0 && !math.IsInf(common, 1)) {
		h.Degrees = 0
		return h
	}
	var weights, weighted, squares float64 // Woolf
	var excess, variance float64           // Tarone
	for _, s := range strata {
		a, b, c, d, _ := s.fourfold()
		w, logRatio := 1/(1/a+1/b+1/c+1/d), math.Log(a*d/(b*c))
		weights += w
		weighted += w * logRatio
		squares += w * logRatio * logRatio
		expected := expectedFailures(a+b, c+d, a+c, common)
		v := 1 / (1/expected + 1/(a+b-expected) + 1/(a+c-expected) + 1/(c+d-(a+c)+expected))
		h.BreslowDay += square(a-expected) / v
		excess += a - expected
		variance += v
	}
	h.Tarone = h.BreslowDay - excess*excess/variance
	h.BreslowDayP = chiSquareUpper(h.BreslowDay, float64(h.Degrees))
	h.TaroneP = chiSquareUpper(max(0, h.Tarone), float64(h.Degrees))
	if h.Woolf = squares - weighted*weighted/weights; !math.IsNaN(h.Woolf) {
		h.WoolfP = chiSquareUpper(max(0, h.Woolf), float64(h.Degrees))
	}
	return h
}

// expectedFailures returns A's failures at which the odds ratio is the common
// one, with nA and nB cycles and fails failures in all: the root of a
// quadratic, in whichever form does not cancel.
func expectedFailures(nA, nB, fails, ratio float64) float64 {
	// x (nB - fails + x) = ratio (nA - x)(fails - x)
	qa := 1 - ratio
	qb := nB - fails + ratio*(nA+fails)
	qc := -ratio * nA * fails
	root := math.Sqrt(qb*qb - 4*qa*qc)
	if qb < 0 { // then the ratio is far below 1
		return (root - qb) / (2 * qa)
	}
	return -2 * qc / (qb + root)
}
