package failrate

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Dose is what the counted cycles at one voltage showed. Any other quantity
// with an order, such as rest or temperature, will do in the place of volts.
type Dose struct {
	Volts float64 `json:"volts"`
	Counts
}

// Doses returns the conditions of one treatment as doses, by voltage, and
// leaves out those without a voltage.
func Doses(conditions []Condition, treatment string) []Dose {
	var doses []Dose
	for _, c := range conditions {
		if c.Treatment == treatment && !math.IsNaN(c.Volts) {
			doses = append(doses, Dose{c.Volts, c.Counts()})
		}
	}
	slices.SortFunc(doses, func(x, y Dose) int { return cmp.Compare(x.Volts, y.Volts) })
	return doses
}

// ThresholdFit is a curve of failure rate against voltage: the rate at v volts
// is where the link takes Intercept + Slope v. Slope is negative when a lower
// voltage fails more often.
type ThresholdFit struct {
	Link             Link
	Penalised        bool // by [FitFirth]
	Intercept, Slope float64

	// Standard errors, and the covariance matrix, from the expected information.
	InterceptError, SlopeError float64
	Covariance                 [2][2]float64

	LogLikelihood     float64 // with the binomial coefficients; without the penalty
	Deviance, Pearson float64 // both about Degrees if the curve is right
	Degrees           int     // voltages less 2
	PearsonP          float64 // of Pearson: small when the curve does not describe the data
	doses             []Dose
	top               float64 // the (penalised) log-likelihood that was reached
}

// FitThreshold fits failure rate against voltage by maximum likelihood. It
// refuses fewer than two voltages, no failures, nothing but failures, and
// complete or nearly complete separation (every voltage above a point never fails
// and every one below always does), where no finite curve is the most likely:
// [FitFirth] answers there.
//
// Source: McCullagh and Nelder, Generalized Linear Models (1989), section 4.4.
func FitThreshold(doses []Dose, link Link) (ThresholdFit, error) {
	if !slices.Contains(Links(), link) {
		return ThresholdFit{}, refuse("link", link, "it is logit, probit or cloglog")
	}
	m, err := newThresholdModel(doses, link, false)
	if err != nil {
		return ThresholdFit{}, err
	}
	if m.separated() {
		return ThresholdFit{}, refuse("voltages", "separated",
			"one voltage parts those that always fail from those that never do, so that no curve is the most likely one; use the Firth-penalised fit, or run cycles at voltages in between")
	}
	return m.fit()
}

// thresholdModel is the regression of counts on volts, which are centred and
// scaled for the sake of the arithmetic.
type thresholdModel struct {
	link          Link
	penalised     bool
	doses         []Dose
	x             []float64
	centre, width float64
}

func newThresholdModel(doses []Dose, link Link, penalised bool) (*thresholdModel, error) {
	m := &thresholdModel{link: link, penalised: penalised}
	var total Counts
	for _, d := range doses {
		if err := checkCounts(d.Failures, d.Cycles); err != nil {
			return nil, err
		}
		if !ordinary(d.Volts) {
			return nil, refuse("voltage", d.Volts, "it is a number of volts")
		}
		if d.Cycles > 0 {
			m.doses = append(m.doses, d)
			total = total.add(d.Counts)
		}
	}
	slices.SortFunc(m.doses, func(a, b Dose) int { return cmp.Compare(a.Volts, b.Volts) })
	switch {
	case len(m.doses) == 0:
		return nil, refuse("cycles", 0, "a threshold needs counted cycles; run some first")
	case m.doses[len(m.doses)-1].Volts-m.doses[0].Volts < 1e-9:
		return nil, refuse("voltages", fmt.Sprintf("only %v V", m.doses[0].Volts), "a threshold needs cycles at two voltages at least")
	case total.Failures == 0:
		return nil, refuse("failures", fmt.Sprintf("none in %d cycles", total.Cycles), fmt.Sprintf("no voltage down to %v V fails often enough to show a threshold; go lower", m.doses[0].Volts))
	case total.Failures == total.Cycles:
		return nil, refuse("failures", fmt.Sprintf("all of %d cycles", total.Cycles), fmt.Sprintf("no voltage up to %v V starts often enough to show a threshold; go higher", m.doses[len(m.doses)-1].Volts))
	}
	for _, d := range m.doses {
		m.centre += d.Volts * float64(d.Cycles) / float64(total.Cycles)
	}
	m.width = m.doses[len(m.doses)-1].Volts - m.doses[0].Volts
	for _, d := range m.doses {
		m.x = append(m.x, (d.Volts-m.centre)/m.width)
	}
	return m, nil
}

// separated reports whether some voltage parts failures from good starts.
func (m *thresholdModel) separated() bool {
	lowFail, highFail := math.Inf(1), math.Inf(-1)
	lowStart, highStart := math.Inf(1), math.Inf(-1)
	for _, d := range m.doses {
		if d.Failures > 0 {
			lowFail, highFail = min(lowFail, d.Volts), max(highFail, d.Volts)
		}
		if d.Failures < d.Cycles {
			lowStart, highStart = min(lowStart, d.Volts), max(highStart, d.Volts)
		}
	}
	return highFail <= lowStart || highStart <= lowFail
}

// state is the regression at one pair of coefficients. The expected information
// is kept about its own centre: on a steep curve only the voltages beside the
// threshold weigh anything, and its determinant about any other point would be
// lost to rounding.
type state struct {
	value  float64 // log-likelihood without binomial coefficients, penalised if asked for
	score  [2]float64
	weight float64 // sum of the weights
	mean   float64 // weighted mean of x
	spread float64 // weighted sum of squares about it
}

func (s state) determinant() float64 { return s.weight * s.spread }

// step is Fisher's scoring step.
func (s state) step() (d0, d1 float64) {
	d1 = (s.score[1] - s.mean*s.score[0]) / s.spread
	return s.score[0]/s.weight - s.mean*d1, d1
}

func (m *thresholdModel) at(b0, b1 float64) state {
	var s state
	var weights, bends [64]float64 // no allocation for the usual number of voltages
	w, bend := weights[:0], bends[:0]
	for i, d := range m.doses {
		eta := b0 + b1*m.x[i]
		p, q, score, slope := m.link.at(eta)
		n, y := float64(d.Cycles), float64(d.Failures)
		if y > 0 {
			s.value += y * math.Log(p)
		}
		if y < n {
			s.value += (n - y) * math.Log(q)
		}
		r := (y*q - (n-y)*p) * score // (y - n p) score without cancellation
		s.score[0] += r
		s.score[1] += r * m.x[i]
		weight := n * score * slope
		s.weight += weight
		s.mean += weight * m.x[i]
		w = append(w, weight)
		bend = append(bend, q-p)
	}
	if s.weight > 0 {
		s.mean /= s.weight
	}
	for i, x := range m.x {
		s.spread += w[i] * square(x-s.mean)
	}
	if !m.penalised {
		return s
	}
	// Firth's penalty is half the logarithm of the information's determinant;
	// its score moves every count towards one half by its leverage.
	det := s.determinant()
	s.value += math.Log(max(det, math.SmallestNonzeroFloat64)) / 2
	if det > 0 {
		for i, x := range m.x {
			leverage := w[i] * (1/s.weight + square(x-s.mean)/s.spread)
			s.score[0] += leverage * bend[i] / 2
			s.score[1] += leverage * bend[i] / 2 * x
		}
	}
	return s
}

// mostStep bounds a step of the coefficients, so that one from a poor guess does
// not leap to where every weight vanishes.
const mostStep = 5

// fit runs Fisher scoring with halved steps until the coefficients stand still.
func (m *thresholdModel) fit() (ThresholdFit, error) {
	var failures, cycles int
	for _, d := range m.doses {
		failures += d.Failures
		cycles += d.Cycles
	}
	b0, b1 := m.link.eta((float64(failures)+0.5)/(float64(cycles)+1)), 0.0
	s := m.at(b0, b1)
	settled, last := false, math.Inf(1)
	var last0, last1 float64
	for range 2000 {
		d0, d1 := s.step()
		if !(s.determinant() > 0) || math.IsNaN(d0+d1) || math.IsInf(d0+d1, 0) {
			break
		}
		next, scale := s, min(1, mostStep/max(math.Abs(d0), math.Abs(d1)))
		if d0*last0+d1*last1 < 0 { // it went too far
			scale /= 2
		}
		last0, last1 = d0, d1
		for ; scale > 1e-10; scale /= 2 {
			next = m.at(b0+scale*d0, b1+scale*d1)
			if next.value >= s.value-1e-12*math.Abs(s.value) {
				break
			}
		}
		b0, b1, s = b0+scale*d0, b1+scale*d1, next
		moved := max(math.Abs(scale*d0)/(1+math.Abs(b0)), math.Abs(scale*d1)/(1+math.Abs(b1)))
		if moved <= 1e-13 || moved <= 1e-10 && moved >= last { // the latter: as near as rounding lets it
			settled = true
			break
		}
		last = moved
	}
	if !settled || !(s.determinant() > 0) {
		return ThresholdFit{}, refuse("voltages", fmt.Sprintf("%d with %d failures in %d cycles", len(m.doses), failures, cycles),
			"the curve is too steep to be fitted; run cycles at voltages between the highest that always fails and the lowest that never does")
	}
	f := ThresholdFit{
		Link: m.link, Penalised: m.penalised, doses: m.doses, top: s.value,
		Slope: b1 / m.width, Intercept: b0 - b1*m.centre/m.width, Degrees: -2,
	}
	v00, v01, v11 := 1/s.weight+square(s.mean)/s.spread, -s.mean/s.spread, 1/s.spread
	c := m.centre / m.width
	f.Covariance[1][1] = v11 / (m.width * m.width)
	f.Covariance[0][1] = (v01 - c*v11) / m.width
	f.Covariance[1][0] = f.Covariance[0][1]
	f.Covariance[0][0] = v00 - 2*c*v01 + c*c*v11
	f.InterceptError, f.SlopeError = math.Sqrt(f.Covariance[0][0]), math.Sqrt(f.Covariance[1][1])
	m.goodness(&f, b0, b1)
	return f, nil
}

// goodness fills in likelihood, deviance and Pearson's chi-square.
func (m *thresholdModel) goodness(f *ThresholdFit, b0, b1 float64) {
	for i, d := range m.doses {
		p, q, _, _ := m.link.at(b0 + b1*m.x[i])
		n, y := float64(d.Cycles), float64(d.Failures)
		f.LogLikelihood += logChoose(d.Cycles, d.Failures)
		if y > 0 {
			f.LogLikelihood += y * math.Log(p)
			f.Deviance += 2 * y * math.Log(y/(n*p))
		}
		if y < n {
			f.LogLikelihood += (n - y) * math.Log(q)
			f.Deviance += 2 * (n - y) * math.Log((n-y)/(n*q))
		}
		if spread := n * p * q; spread > 0 {
			f.Pearson += square(y*q-(n-y)*p) / spread
		}
		if i == 0 || d.Volts != m.doses[i-1].Volts {
			f.Degrees++
		}
	}
	f.PearsonP = 1
	if f.Degrees > 0 {
		f.PearsonP = chiSquareUpper(f.Pearson, float64(f.Degrees))
	}
}

// Rate returns the failure rate that the curve gives at a voltage.
func (f ThresholdFit) Rate(volts float64) float64 {
	p, _, _, _ := f.Link.at(f.Intercept + f.Slope*volts)
	return p
}

// logChoose is the logarithm of the number of ways to pick k of n.
func logChoose(n, k int) float64 {
	a, _ := math.Lgamma(float64(n) + 1)
	b, _ := math.Lgamma(float64(k) + 1)
	c, _ := math.Lgamma(float64(n-k) + 1)
	return a - b - c
}
