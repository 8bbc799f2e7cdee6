package failrate

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Family is a distribution of start times.
type Family string

// The families that [FitStarts] knows.
const (
	Weibull     Family = "weibull"
	Lognormal   Family = "lognormal"
	Exponential Family = "exponential" // a Weibull of shape 1: starts without memory
)

// StartFit is a distribution fitted to start times by maximum likelihood. The
// logarithm of the start time is Mu + Sigma z, where z is standard normal for
// the lognormal and the logarithm of an exponential variable for the others.
type StartFit struct {
	Family         Family
	Mu, Sigma      float64 // Sigma is 1 for the exponential
	MuError        float64
	LogSigmaError  float64 // standard error of ln Sigma; 0 for the exponential
	covariance     float64 // of Mu and ln Sigma
	LogLikelihood  float64 // of the times, in seconds
	Starts, Cycles int     // cycles that started, and all of them
}

// Scale is the Weibull (or exponential) scale, the time by which 63.2 % have
// started; for the lognormal it is the median.
func (f StartFit) Scale() float64 { return math.Exp(f.Mu) }

// Shape is the Weibull shape, 1/Sigma.
func (f StartFit) Shape() float64 { return 1 / f.Sigma }

// FitStarts fits a distribution to start times, censored ones included. It
// refuses fewer than two different start times (one will do for the
// exponential), since they leave the spread open.
//
// Source: Lawless, Statistical Models and Methods for Lifetime Data (1982),
// chapters 4 and 5; the standard errors are from the observed information.
func FitStarts(family Family, starts []Start) (StartFit, error) {
	fit, _, err := fitStarts(family, starts, nil)
	return fit, err
}

// StartFactor fits both sides with one common spread and returns the factor by
// which A's start times are B's, with its interval, and B's fit.
func StartFactor(family Family, a, b []Start, confidence float64) (Interval, StartFit, error) {
	if err := checkConfidence(confidence); err != nil {
		return Interval{}, StartFit{}, err
	}
	for _, side := range [][]Start{a, b} {
		if countStarts(side) == 0 {
			return Interval{}, StartFit{}, refuse("starts", fmt.Sprintf("none in %d cycles of one side", len(side)), "a factor needs a start on both sides; the log-rank test needs none")
		}
	}
	all := append(append([]Start(nil), a...), b...)
	isA := make([]float64, len(all))
	for i := range a {
		isA[i] = 1
	}
	fit, covariate, err := fitStarts(family, all, isA)
	if err != nil {
		return Interval{}, StartFit{}, err
	}
	half := twoSidedZ(confidence) * covariate.err
	return Interval{Estimate: math.Exp(covariate.value), Low: math.Exp(covariate.value - half), High: math.Exp(covariate.value + half), Confidence: confidence}, fit, nil
}

// Percentile returns the time by which the given share has started, with
// limits from the standard error of its logarithm.
func (f StartFit) Percentile(share, confidence float64) (Interval, error) {
	if err := checkRate("share started", share); err != nil {
		return Interval{}, err
	}
	if err := checkConfidence(confidence); err != nil {
		return Interval{}, err
	}
	w := math.Log(-math.Log1p(-share))
	if f.Family == Lognormal {
		w = normalQuantile(share)
	}
	at, slope := f.Mu+f.Sigma*w, f.Sigma*w
	half := twoSidedZ(confidence) * math.Sqrt(max(0, square(f.MuError)+2*slope*f.covariance+square(slope*f.LogSigmaError)))
	return Interval{Estimate: math.Exp(at), Low: math.Exp(at - half), High: math.Exp(at + half), Confidence: confidence}, nil
}

func countStarts(starts []Start) (n int) {
	for _, s := range starts {
		if !s.Censored {
			n++
		}
	}
	return n
}

type coefficient struct{ value, err float64 }

// fitStarts fits Mu, ln Sigma and, where x is given, a coefficient of x.
func fitStarts(family Family, starts []Start, x []float64) (StartFit, coefficient, error) {
	var none StartFit
	if family != Weibull && family != Lognormal && family != Exponential {
		return none, coefficient{}, refuse("family", family, "it is weibull, lognormal or exponential")
	}
	if err := checkStarts(starts); err != nil {
		return none, coefficient{}, err
	}
	l := startLikelihood{family: family, x: x}
	distinct := map[float64]bool{}
	for i, s := range starts {
		if s.Seconds == 0 || math.IsInf(s.Seconds, 1) {
			return none, coefficient{}, refuse("start time", fmt.Sprintf("%v s in cycle %d of %d", s.Seconds, i+1, len(starts)), "a fit needs times above 0 s; a cycle that did not start is censored at the window")
		}
		if !s.Censored {
			distinct[s.Seconds] = true
		}
		l.logs = append(l.logs, math.Log(s.Seconds))
		l.censored = append(l.censored, s.Censored)
	}
	needed := 2
	if family == Exponential {
		needed = 1
	}
	if len(distinct) < needed {
		return none, coefficient{}, refuse("start times", fmt.Sprintf("%d different ones in %d cycles", len(distinct), len(starts)),
			fmt.Sprintf("this fit needs at least %d; the Kaplan-Meier estimate needs none", needed))
	}
	theta, information, value, ok := l.maximise()
	if !ok {
		return none, coefficient{}, refuse("start times", fmt.Sprintf("%d cycles", len(starts)), "the fit did not settle; use the Kaplan-Meier estimate")
	}
	fit := StartFit{Family: family, Mu: theta[0], Sigma: 1, LogLikelihood: value, Starts: countStarts(starts), Cycles: len(starts)}
	var covariance mat.Dense
	if covariance.Inverse(information) != nil {
		return none, coefficient{}, refuse("start times", fmt.Sprintf("%d cycles", len(starts)), "they leave the fit open; use the Kaplan-Meier estimate")
	}
	fit.MuError = math.Sqrt(covariance.At(0, 0))
	if family != Exponential {
		last := len(theta) - 1
		fit.Sigma, fit.LogSigmaError, fit.covariance = math.Exp(theta[last]), math.Sqrt(covariance.At(last, last)), covariance.At(0, last)
	}
	if x == nil {
		return fit, coefficient{}, nil
	}
	return fit, coefficient{theta[1], math.Sqrt(covariance.At(1, 1))}, nil
}

// startLikelihood is the likelihood of censored logarithms of start times.
type startLikelihood struct {
	family   Family
	logs, x  []float64
	censored []bool
}

// maximise runs Newton's method with halved steps until they no longer move.
func (l startLikelihood) maximise() (theta []float64, information *mat.Dense, value float64, ok bool) {
	var mean, spread float64
	for _, y := range l.logs {
		mean += y / float64(len(l.logs))
	}
	for _, y := range l.logs {
		spread += square(y-mean) / float64(len(l.logs))
	}
	theta = []float64{mean}
	if l.x != nil {
		theta = append(theta, 0)
	}
	if l.family != Exponential {
		theta = append(theta, math.Log(max(math.Sqrt(spread), 1e-3)))
	}
	value, gradient, information := l.at(theta)
	for range 200 {
		step := solveUphill(information, gradient)
		var moved, largest float64
		next := make([]float64, len(theta))
		nextValue, scale := math.Inf(-1), 1.0
		for ; scale > 1e-12; scale /= 2 {
			for i := range theta {
				next[i] = theta[i] + scale*step[i]
			}
			if nextValue, _, _ = l.at(next); nextValue >= value-1e-12*math.Abs(value) {
				break
			}
		}
		if math.IsInf(nextValue, 0) || math.IsNaN(nextValue) {
			return nil, nil, 0, false
		}
		for i := range theta {
			moved = max(moved, math.Abs(next[i]-theta[i]))
			largest = max(largest, math.Abs(next[i]))
		}
		theta = next
		value, gradient, information = l.at(theta)
		if moved <= 1e-13*(1+largest) {
			return theta, information, value, true
		}
	}
	return nil, nil, 0, false
}

// solveUphill returns Newton's step, or a shorter one uphill where the
// likelihood is not concave.
func solveUphill(information *mat.Dense, gradient []float64) []float64 {
	n := len(gradient)
	for ridge := 0.0; ; ridge = max(2*ridge, 1e-3) {
		sym := mat.NewSymDense(n, nil)
		for i := range n {
			for j := i; j < n; j++ {
				sym.SetSym(i, j, information.At(i, j))
			}
			sym.SetSym(i, i, information.At(i, i)+ridge*(1+math.Abs(information.At(i, i))))
		}
		var chol mat.Cholesky
		if chol.Factorize(sym) {
			var step mat.VecDense
			if err := chol.SolveVecTo(&step, mat.NewVecDense(n, gradient)); err == nil || ridge > 0 {
				return step.RawVector().Data
			}
		}
		if ridge > 1e6 {
			return gradient
		}
	}
}

// at returns the log-likelihood, its gradient and the observed information
// (minus the second derivatives).
func (l startLikelihood) at(theta []float64) (value float64, gradient []float64, information *mat.Dense) {
	n := len(theta)
	gradient, information = make([]float64, n), mat.NewDense(n, n, nil)
	sigma, spread := 1.0, -1
	if l.family != Exponential {
		spread = n - 1
		sigma = math.Exp(theta[spread])
	}
	// dz[k] = derivative of z by theta[k]
	dz := make([]float64, n)
	for i, y := range l.logs {
		mu := theta[0]
		dz[0] = -1 / sigma
		if l.x != nil {
			mu += theta[1] * l.x[i]
			dz[1] = -l.x[i] / sigma
		}
		z := (y - mu) / sigma
		f, f1, f2 := l.term(z, l.censored[i])
		value += f
		if !l.censored[i] {
			value -= y + math.Log(sigma)
			if spread >= 0 {
				gradient[spread]--
			}
		}
		if spread >= 0 {
			dz[spread] = -z
		}
		for j := range n {
			gradient[j] += f1 * dz[j]
			for k := range n {
				second := f2 * dz[j] * dz[k]
				// z's own second derivatives: -dz by ln Sigma.
				if j == spread || k == spread {
					second -= f1 * dz[j+k-spread]
				}
				information.Set(j, k, information.At(j, k)-second)
			}
		}
	}
	return value, gradient, information
}

// term returns the logarithm of the density of z, or of the probability to
// exceed it, and its first two derivatives.
func (l startLikelihood) term(z float64, censored bool) (f, f1, f2 float64) {
	if l.family != Lognormal {
		e := math.Exp(z)
		if censored {
			return -e, -e, -e
		}
		return z - e, 1 - e, -e
	}
	const halfLog2Pi = 0.91893853320467274178
	if !censored {
		return -z*z/2 - halfLog2Pi, -z, -1
	}
	var hazard float64
	if z < 30 {
		tail := normalUpper(z)
		f = math.Log(tail)
		hazard = math.Exp(-z*z/2-halfLog2Pi) / tail
	} else { // erfc runs out; two terms of its continued fraction are exact here
		hazard = z + 1/(z+2/z)
		f = -z*z/2 - halfLog2Pi - math.Log(hazard)
	}
	return f, -hazard, -hazard * (hazard - z)
}
