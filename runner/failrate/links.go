package failrate

import "math"

// Link is the shape of the curve of failure rate against voltage.
type Link string

// The links that [FitThreshold] knows.
const (
	Logit   Link = "logit"   // logistic curve; the one to use unless another fits better
	Probit  Link = "probit"  // normal distribution of thresholds
	Cloglog Link = "cloglog" // complementary log-log: steep at one end, long at the other
)

// Links returns the known links, the usual one first.
func Links() []Link { return []Link{Logit, Probit, Cloglog} }

// eta is the linear predictor at which the rate is p.
func (l Link) eta(p float64) float64 {
	switch l {
	case Probit:
		return normalQuantile(p)
	case Cloglog:
		return math.Log(-math.Log1p(-p))
	}
	return math.Log(p) - math.Log1p(-p)
}

// at returns what a fit needs at a linear predictor: the rate p, 1-p without
// cancellation, score = p'/(p(1-p)), and slope = p'.
func (l Link) at(eta float64) (p, q, score, slope float64) {
	switch l {
	case Probit:
		p, q = normalUpper(-eta), normalUpper(eta)
		slope = math.Exp(-eta*eta/2) / math.Sqrt(2*math.Pi)
		switch { // far out p' / p runs like |eta|
		case p == 0 || q == 0:
			return p, q, math.Abs(eta), slope
		}
		return p, q, slope / p / q, slope
	case Cloglog:
		e := math.Exp(eta)
		p, q = -math.Expm1(-e), math.Exp(-e)
		if p == 0 {
			return p, q, 1, 0
		}
		return p, q, e / p, e * q
	}
	e := math.Exp(-math.Abs(eta))
	p, q = e/(1+e), 1/(1+e)
	if eta > 0 {
		p, q = q, p
	}
	return p, q, 1, p * q
}
