package failrate

import (
	"fmt"
	"math"
)

// Dispersion says how much the failures of batches of cycles vary, against what
// independent cycles at one rate would do.
type Dispersion struct {
	Batches int
	Pooled  Counts

	Pearson, P float64 // chi-square with Batches-1 degrees of freedom
	Factor     float64 // Pearson by its degrees: 1 for independent cycles
	Tarone     float64 // standard normal for independent cycles; large when batches vary more

	// Beta-binomial fit: rates vary from batch to batch about Mean; two cycles of
	// one batch agree as if correlated by Correlation.
	Mean, Correlation float64
	LogLikelihood     float64 // of the beta-binomial
	Independent       float64 // log-likelihood of the binomial
}

// Overdispersion compares batches, such as the cycles of each half hour. It
// refuses fewer than two batches with cycles, no failures, and nothing but
// failures.
//
// Sources: Williams, Biometrics 31 (1975) 949; Tarone, Biometrika 66 (1979) 585.
func Overdispersion(batches []Counts) (Dispersion, error) {
	d, used, err := dispersion(batches)
	if err != nil {
		return Dispersion{}, err
	}
	p := d.Pooled.Rate()
	d.Independent = betaBinomial(used, p, 0).value
	mean, theta := fitBetaBinomial(used, p)
	d.Mean, d.Correlation = mean, theta/(1+theta)
	d.LogLikelihood = betaBinomial(used, mean, theta).value
	return d, nil
}

// dispersion is [Overdispersion] without the beta-binomial fit, whose time
// grows with the cycles, and the batches that hold cycles.
func dispersion(batches []Counts) (d Dispersion, used []Counts, err error) {
	for _, b := range batches {
		if err := checkCounts(b.Failures, b.Cycles); err != nil {
			return Dispersion{}, nil, err
		}
		if b.Cycles > 0 {
			used = append(used, b)
			d.Pooled = d.Pooled.add(b)
		}
	}
	d.Batches = len(used)
	switch {
	case len(used) < 2:
		return Dispersion{}, nil, refuse("batches", len(used), "at least two with counted cycles are needed")
	case d.Pooled.Failures == 0 || d.Pooled.Failures == d.Pooled.Cycles:
		return Dispersion{}, nil, refuse("failures", fmt.Sprintf("%d of %d cycles", d.Pooled.Failures, d.Pooled.Cycles), "whether cycles are independent shows only when some fail and some do not")
	}
	p := d.Pooled.Rate()
	var squares, scale float64
	for _, b := range used {
		n := float64(b.Cycles)
		deviation := square(float64(b.Failures)-n*p) / (p * (1 - p))
		d.Pearson += deviation / n
		squares += deviation
		scale += n * (n - 1)
	}
	d.Factor = d.Pearson / float64(len(used)-1)
	d.P = chiSquareUpper(d.Pearson, float64(len(used)-1))
	if scale > 0 {
		d.Tarone = (squares - float64(d.Pooled.Cycles)) / math.Sqrt(2*scale)
	}
	return d, used, nil
}

// betaState is the beta-binomial log-likelihood with its derivatives by the mean
// and by theta = correlation/(1-correlation).
type betaState struct {
	value         float64
	g0, g1        float64
	h00, h01, h11 float64
}

// betaBinomial adds up ln P as sums of ln(mean + j theta), which need no gamma
// functions and run smoothly into the binomial at theta 0.
func betaBinomial(batches []Counts, mean, theta float64) betaState {
	var s betaState
	for _, b := range batches {
		s.value += logChoose(b.Cycles, b.Failures)
		for j := range b.Failures {
			f := float64(j)
			v := mean + f*theta
			s.value += math.Log(v)
			s.g0 += 1 / v
			s.g1 += f / v
			s.h00 -= 1 / (v * v)
			s.h01 -= f / (v * v)
			s.h11 -= f * f / (v * v)
		}
		for j := range b.Cycles - b.Failures {
			f := float64(j)
			v := 1 - mean + f*theta
			s.value += math.Log(v)
			s.g0 -= 1 / v
			s.g1 += f / v
			s.h00 -= 1 / (v * v)
			s.h01 += f / (v * v)
			s.h11 -= f * f / (v * v)
		}
		for j := range b.Cycles {
			f := float64(j)
			v := 1 + f*theta
			s.value -= math.Log(v)
			s.g1 -= f / v
			s.h11 += f * f / (v * v)
		}
	}
	return s
}

// fitBetaBinomial maximises the likelihood over mean and theta >= 0.
func fitBetaBinomial(batches []Counts, pooled float64) (mean, theta float64) {
	// At theta 0 the likelihood falls with theta unless batches vary too much.
	if betaBinomial(batches, pooled, 0).g1 <= 0 {
		return pooled, 0
	}
	mean, theta = pooled, 0.05
	s := betaBinomial(batches, mean, theta)
	for range 500 {
		det := s.h00*s.h11 - s.h01*s.h01
		d0, d1 := (s.h01*s.g1-s.h11*s.g0)/det, (s.h01*s.g0-s.h00*s.g1)/det
		if !(det > 0 && s.h00 < 0) || math.IsNaN(d0+d1) { // not concave here: go uphill
			d0, d1 = s.g0/math.Abs(s.h00), math.Copysign(theta, s.g1)
		}
		scale := 1.0
		var next betaState
		for ; scale > 1e-12; scale /= 2 {
			m, t := mean+scale*d0, theta+scale*d1
			if m > 0 && m < 1 && t >= 0 {
				if next = betaBinomial(batches, m, t); next.value >= s.value-1e-13*math.Abs(s.value) {
					break
				}
			}
		}
		if scale <= 1e-12 {
			return mean, theta
		}
		mean, theta, s = mean+scale*d0, theta+scale*d1, next
		if math.Abs(scale*d0) <= 1e-13 && math.Abs(scale*d1) <= 1e-13*(1+theta) {
			return mean, theta
		}
	}
	return mean, theta
}

// WidenedRate is a failure rate whose interval allows for cycles that are not
// independent.
type WidenedRate struct {
	Interval Interval // widened when Widened says so
	Plain    Interval // as if the cycles were independent
	Widened  bool
	Factor   float64 // variance against independent cycles, at least 1
	P        float64 // that independent cycles vary so much between batches
	Batches  int
}

// overdispersed is the p-value below which batches are taken to vary.
const overdispersed = 0.05

// Widened returns the pooled failure rate of batches. Where the batches vary
// more than independent cycles would (p below 5 %), the interval is
// Clopper and Pearson's for so many fewer cycles as leave the same variance.
// Nothing is widened where nothing or everything failed: then independence
// cannot be judged.
//
// Source: the effective sample size of Rao and Scott, Biometrics 48 (1992) 577.
func Widened(batches []Counts, confidence float64) (WidenedRate, error) {
	if err := checkConfidence(confidence); err != nil {
		return WidenedRate{}, err
	}
	var pooled Counts
	for _, b := range batches {
		if err := checkCounts(b.Failures, b.Cycles); err != nil {
			return WidenedRate{}, err
		}
		pooled = pooled.add(b)
	}
	if pooled.Cycles == 0 {
		return WidenedRate{}, refuse("cycles", 0, "a rate needs counted cycles; run some first")
	}
	w := WidenedRate{Plain: ClopperPearson(pooled.Failures, pooled.Cycles, confidence), Factor: 1, P: 1, Batches: len(batches)}
	w.Interval = w.Plain
	d, _, err := dispersion(batches)
	if err != nil { // nothing or everything failed, or a single batch
		return w, nil
	}
	w.P, w.Batches = d.P, d.Batches
	if d.P >= overdispersed || d.Factor <= 1 {
		return w, nil
	}
	w.Widened, w.Factor = true, d.Factor
	x, n := float64(pooled.Failures)/d.Factor, float64(pooled.Cycles)/d.Factor
	tail := (1 - confidence) / 2
	w.Interval.Low, w.Interval.High = exactLimits(x, n, tail)
	return w, nil
}

// Sentence says whether the interval was widened, and why.
func (w WidenedRate) Sentence() string {
	if !w.Widened {
		return fmt.Sprintf("%s, between %s and %s; the cycles look independent", Percent(w.Interval.Estimate), Percent(w.Interval.Low), Percent(w.Interval.High))
	}
	return fmt.Sprintf("%s, between %s and %s: the cycles are not independent (failures vary %.1f times as much between %d batches as they should, %s), so the interval is wider than %s to %s",
		Percent(w.Interval.Estimate), Percent(w.Interval.Low), Percent(w.Interval.High), w.Factor, w.Batches, pValue(w.P), Percent(w.Plain.Low), Percent(w.Plain.High))
}
