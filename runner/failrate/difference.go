package failrate

import "math"

// The intervals below are for the failure rate of A less that of B. Their
// limits lie in [-1, 1]. Newcombe's is the one that ringup reports; the others
// are there to be compared with published analyses.

// Newcombe is the square-and-add interval from Wilson's: good for rates near 0,
// never beyond ±1, and it needs no search.
//
// Source: Newcombe, Statist. Med. 17 (1998) 873, method 10.
func Newcombe(a, b Counts, confidence float64) (Interval, error) {
	return squareAndAdd(a, b, confidence, func(c Counts) (low, high float64) {
		iv := Wilson(c.Failures, c.Cycles, confidence)
		return iv.Low, iv.High
	})
}

// NewcombeContinuity is Newcombe's interval with continuity correction, wider.
//
// Source: Newcombe, Statist. Med. 17 (1998) 873, method 11.
func NewcombeContinuity(a, b Counts, confidence float64) (Interval, error) {
	return squareAndAdd(a, b, confidence, func(c Counts) (low, high float64) {
		return wilsonContinuity(c, twoSidedZ(confidence))
	})
}

func squareAndAdd(a, b Counts, confidence float64, single func(Counts) (low, high float64)) (Interval, error) {
	if err := checkDifference(a, b, confidence); err != nil {
		return Interval{}, err
	}
	p, q := a.Rate(), b.Rate()
	lowA, highA := single(a)
	lowB, highB := single(b)
	return Interval{
		Estimate: p - q, Confidence: confidence,
		Low:  max(-1, p-q-math.Hypot(p-lowA, highB-q)),
		High: min(1, p-q+math.Hypot(highA-p, q-lowB)),
	}, nil
}

// wilsonContinuity returns Wilson's limits with continuity correction.
//
// Source: Newcombe, Statist. Med. 17 (1998) 857, method 4.
func wilsonContinuity(c Counts, z float64) (low, high float64) {
	n, p := float64(c.Cycles), c.Rate()
	q, zz := 1-p, z*z
	low, high = 0, 1
	if c.Failures > 0 {
		low = max(0, (2*n*p+zz-1-z*math.Sqrt(zz-2-1/n+4*p*(n*q+1)))/(2*(n+zz)))
	}
	if c.Failures < c.Cycles {
		high = min(1, (2*n*p+zz+1+z*math.Sqrt(zz+2-1/n+4*p*(n*q-1)))/(2*(n+zz)))
	}
	return low, high
}

// Mee is the score interval.
//
// Source: Mee, Biometrics 40 (1984) 1175.
func Mee(a, b Counts, confidence float64) (Interval, error) {
	return scoreDifference(a, b, confidence, 1)
}

// MiettinenNurminen is the score interval with the variance enlarged by
// N/(N-1).
//
// Source: Miettinen and Nurminen, Statist. Med. 4 (1985) 213.
func MiettinenNurminen(a, b Counts, confidence float64) (Interval, error) {
	n := float64(a.Cycles) + float64(b.Cycles)
	return scoreDifference(a, b, confidence, n/(n-1))
}

// scoreDifference holds the differences that a score test does not reject.
func scoreDifference(a, b Counts, confidence, enlarge float64) (Interval, error) {
	if err := checkDifference(a, b, confidence); err != nil {
		return Interval{}, err
	}
	d := a.Rate() - b.Rate()
	zz := square(twoSidedZ(confidence))
	excess := func(delta float64) float64 {
		return square(d-delta) - zz*enlarge*restrictedVariance(a, b, delta)
	}
	iv := Interval{Estimate: d, Low: -1, High: 1, Confidence: confidence}
	// At the difference seen the variance may be 0, as after no failure on either
	// side; a little beside it, it is not, and the search has to start there.
	const beside, edge = 1e-7, 1 - 1e-15
	if d-beside > -edge && excess(-edge) > 0 {
		iv.Low = rootBetween(excess, -edge, d-beside)
	}
	if d+beside < edge && excess(edge) > 0 {
		iv.High = rootBetween(excess, d+beside, edge)
	}
	return iv, nil
}

// restrictedVariance is the variance of the difference of rates at the most
// likely rates that differ by delta: the root of a cubic, in closed form.
//
// Source: Farrington and Manning, Statist. Med. 9 (1990) 1447, appendix.
func restrictedVariance(a, b Counts, delta float64) float64 {
	nA, nB, xB := float64(a.Cycles), float64(b.Cycles), float64(b.Failures)
	n, x := nA+nB, float64(a.Failures)+xB
	l2 := ((nA+2*nB)*delta - n - x) / n
	l1 := ((nB*delta-n-2*xB)*delta + x) / n
	l0 := xB * delta * (1 - delta) / n
	q := l2*l2*l2/27 - l1*l2/6 + l0/2
	p := math.Copysign(math.Sqrt(max(0, l2*l2/9-l1/3)), q)
	angle := math.Pi
	if p != 0 {
		angle += math.Acos(min(1, max(-1, q/(p*p*p))))
	}
	rateB := 2*p*math.Cos(angle/3) - l2/3
	rateB = min(max(rateB, 0, -delta), 1, 1-delta)
	rateA := min(max(rateB+delta, 0), 1)
	return rateA*(1-rateA)/nA + rateB*(1-rateB)/nB
}

// AgrestiCaffo is the plain interval after one failure and one good start have
// been added to each side.
//
// Source: Agresti and Caffo, Am. Statist. 54 (2000) 280.
func AgrestiCaffo(a, b Counts, confidence float64) (Interval, error) {
	if err := checkDifference(a, b, confidence); err != nil {
		return Interval{}, err
	}
	nA, nB := float64(a.Cycles+2), float64(b.Cycles+2)
	p, q := float64(a.Failures+1)/nA, float64(b.Failures+1)/nB
	half := twoSidedZ(confidence) * math.Sqrt(p*(1-p)/nA+q*(1-q)/nB)
	return Interval{Estimate: a.Rate() - b.Rate(), Low: max(-1, p-q-half), High: min(1, p-q+half), Confidence: confidence}, nil
}

func checkDifference(a, b Counts, confidence float64) error {
	if err := checkPair(a, b); err != nil {
		return err
	}
	return checkConfidence(confidence)
}
