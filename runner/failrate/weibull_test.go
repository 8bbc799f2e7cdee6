package failrate

import (
	"math"
	"testing"
)

func lifetimes(t *testing.T, name string) []Start {
	b := readTable(t, name, 20)
	times, event := b.numbers("t"), b.numbers("event")
	var starts []Start
	for i := range times {
		starts = append(starts, Start{times[i], event[i] == 0})
	}
	return starts
}

func fitted(t *testing.T, f Family, starts []Start) StartFit {
	t.Helper()
	fit, err := FitStarts(f, starts)
	if err != nil {
		t.Fatal(err)
	}
	return fit
}

// NIST/SEMATECH e-Handbook 8.4.1.3 prints scale 606.5280 and shape 1.7208. The
// digits beyond are from R survreg. Copies of the data with 55 for the first
// failure are about; they give 606.00 and 1.7256.
func TestFitNIST(t *testing.T) {
	starts := lifetimes(t, "weibull_nist8413.csv")
	w := fitted(t, Weibull, starts)
	wantNear(t, "scale", w.Scale(), 606.5275580036, 1e-9)
	wantNear(t, "shape", w.Shape(), 1.7207972608, 1e-9)
	wantNear(t, "log-likelihood", w.LogLikelihood, -75.1346181645, 1e-11)
	wantNear(t, "mu", w.Mu, 6.4077501651, 1e-10)
	wantNear(t, "its error", w.MuError, .20594391, 3e-8)
	wantNear(t, "sigma", w.Sigma, .5811259832, 1e-9)
	wantNear(t, "error of its logarithm", w.LogSigmaError, .29181276, 3e-8)
	n := fitted(t, Lognormal, starts)
	wantNear(t, "lognormal mu", n.Mu, 6.2260150686, 1e-9)
	wantNear(t, "its error", n.MuError, .25043952, 3e-8)
	wantNear(t, "lognormal sigma", n.Sigma, .9089140394, 1e-9)
	wantNear(t, "lognormal log-likelihood", n.LogLikelihood, -75.1962707789, 1e-11)
	e := fitted(t, Exponential, starts)
	wantNear(t, "exponential mean", e.Scale(), 777.1, 1e-12) // total time 7771 by 10 failures

	starts[0].Seconds = 55
	w = fitted(t, Weibull, starts)
	wantNear(t, "with 55: scale", w.Scale(), 606.0047979557, 1e-9)
	wantNear(t, "with 55: shape", w.Shape(), 1.7256257531, 1e-9)
	wantNear(t, "with 55: log-likelihood", w.LogLikelihood, -75.1218456335, 1e-11)
}

// R survival::survreg on Freireich et al. (1963).
func TestFitArms(t *testing.T) {
	treated, control := arms(t)
	w := fitted(t, Weibull, treated)
	wantNear(t, "scale", w.Scale(), 33.7651509676, 1e-9)
	wantNear(t, "shape", w.Shape(), 1.3537345238, 1e-9)
	wantNear(t, "log-likelihood", w.LogLikelihood, -41.6586784769, 1e-11)
	n := fitted(t, Lognormal, treated)
	wantNear(t, "lognormal mu", n.Mu, 3.2030676525, 1e-9)
	wantNear(t, "lognormal sigma", n.Sigma, .9787247930, 1e-9)
	wantNear(t, "lognormal log-likelihood", n.LogLikelihood, -40.6801558699, 1e-11)
	wantNear(t, "exponential mean", fitted(t, Exponential, treated).Scale(), 359./9, 1e-12)

	all := append(append([]Start(nil), control...), treated...)
	isControl := make([]float64, len(all))
	for i := range control {
		isControl[i] = 1
	}
	both, coefficient, err := fitStarts(Weibull, all, isControl)
	if err != nil {
		t.Fatal(err)
	}
	wantNear(t, "intercept", both.Mu, 3.515686946496, 1e-9)
	wantNear(t, "its error", both.MuError, .251781019725, 1e-8)
	wantNear(t, "control", coefficient.value, -1.267334587419, 1e-9)
	wantNear(t, "its error", coefficient.err, .310639935976, 1e-8)
	wantNear(t, "ln sigma", math.Log(both.Sigma), -.311709220931, 1e-9)
	wantNear(t, "its error", both.LogSigmaError, .147291882578, 1e-8)
	factor, _, err := StartFactor(Weibull, control, treated, .95)
	if err != nil || !near(math.Log(factor.Estimate), -1.267334587419, 1e-9) || !near(math.Log(factor.High)-math.Log(factor.Low), 2*1.959963984540054*.310639935976, 1e-8) {
		t.Errorf("start factor %+v (%v)", factor, err)
	}
}

// doi 10.1080/00224065.1997.11979730: Weibull shape 2.7540 (1.4977-4.0102),
// scale 67.9188 (53.8755-81.9622), limits without a transformation.
func TestFitTwenty(t *testing.T) {
	w := fitted(t, Weibull, lifetimes(t, "weibull_20.csv"))
	wantNear(t, "shape", w.Shape(), 2.7539528809, 1e-9)
	wantNear(t, "scale", w.Scale(), 67.9188336245, 1e-9)
	wantNear(t, "log-likelihood", w.LogLikelihood, -59.1820074708, 1e-11)
	z := twoSidedZ(.95)
	wantNear(t, "shape low", w.Shape()*(1-z*w.LogSigmaError), 1.497738, 5e-7)
	wantNear(t, "shape high", w.Shape()*(1+z*w.LogSigmaError), 4.010168, 5e-7)
	wantNear(t, "scale low", w.Scale()*(1-z*w.MuError), 53.875465, 2e-8)
	wantNear(t, "scale high", w.Scale()*(1+z*w.MuError), 81.962203, 2e-8)
}
