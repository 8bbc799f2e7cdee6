package failrate

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mathext"
)

// Everything rests on these functions, so they are held to values computed with
// mpmath to 40 digits.
func TestSpecialFunctions(t *testing.T) {
	logGamma := func(x float64) float64 { v, _ := math.Lgamma(x); return v }
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"normal quantile .8", normalQuantile(.8), 0.84162123357291421},
		{"normal quantile .9", normalQuantile(.9), 1.2815515655446005},
		{"normal quantile .95", normalQuantile(.95), 1.6448536269514727},
		{"normal quantile .975", normalQuantile(.975), 1.9599639845400542},
		{"normal quantile .99", normalQuantile(.99), 2.3263478740408411},
		{"normal quantile .995", normalQuantile(.995), 2.5758293035489008},
		{"normal quantile .999", normalQuantile(.999), 3.0902323061678135},
		{"normal quantile 1e-6", normalQuantile(1e-6), -4.7534243088228989},
		{"normal quantile 1e-12", normalQuantile(1e-12), -7.0344838253011319},
		{"normal tail 1", normalUpper(1), 0.15865525393145705},
		{"normal tail 3", normalUpper(3), 1.3498980316300945e-3},
		{"normal tail 5", normalUpper(5), 2.8665157187919391e-7},
		{"normal tail 8", normalUpper(8), 6.2209605742717841e-16},
		{"I .5 (2, 3)", mathext.RegIncBeta(2, 3, .5), 0.6875}, // exactly 11/16
		{"I .1 (.5, 20.5)", mathext.RegIncBeta(.5, 20.5, .1), 0.9611608301943074},
		{"I .01 (1, 300)", mathext.RegIncBeta(1, 300, .01), 0.95095910592871414},
		{"I .2 (4, 17)", mathext.RegIncBeta(4, 17, .2), 0.58855113804343149},
		{"I .3 (81, 183)", mathext.RegIncBeta(81, 183, .3), 0.41146159809547861},
		{"I .001 (3, 998)", mathext.RegIncBeta(3, 998, .001), 0.080209342840201054},
		{"I .9 (30, .5)", mathext.RegIncBeta(30, .5, .9), 0.01228244849985275},
		{"chi-square tail, 1", chiSquareUpper(3.841458820694124, 1), 0.0500000000000001},
		{"chi-square tail, 2", chiSquareUpper(0.5, 2), 0.778800783071405},
		{"chi-square tail, 1", chiSquareUpper(16.7929409892, 1), 4.16880910937086e-5},
		{"chi-square tail, 15", chiSquareUpper(19.0112642737, 15), 0.213223895192766},
		{"chi-square tail, 15", chiSquareUpper(61.6240998810, 15), 1.32317961569536e-7},
		{"chi-square tail, 6", chiSquareUpper(11.2322310974, 6), 0.081458809927891},
		{"log gamma .5", logGamma(.5), 0.57236494292470009},
		{"log gamma 1.5", logGamma(1.5), -0.12078223763524522},
		{"log gamma 10", logGamma(10), 12.80182748008147},
		{"log gamma 100.5", logGamma(100.5), 361.43554046777762},
		{"log gamma 1000", logGamma(1000), 5905.2204232091812},
	} {
		if !near(c.got, c.want, 1e-11) {
			t.Errorf("%s: %.17g, want %.17g", c.name, c.got, c.want)
		}
	}
}

// Tables of Student's distribution in circulation have errors in the tenth digit
// ("12.706204736432"), so the closed forms for one and two degrees of freedom
// are the sharper check.
func TestStudentQuantile(t *testing.T) {
	for degrees, want := range map[float64]float64{
		1: 12.706204736432, 2: 4.302652729911, 5: 2.570581836615, 10: 2.228138851965, 30: 2.042272456301, 100: 1.983971518450,
	} {
		wantNear(t, "t quantile", tQuantile(.975, degrees), want, 1e-9)
		wantNear(t, "t quantile", tQuantile(.025, degrees), -want, 1e-9)
	}
	for _, p := range []float64{.51, .75, .9, .975, .999, 1 - 1e-9} {
		wantNear(t, "t quantile, 1 degree", tQuantile(p, 1), 1/math.Tan(math.Pi*(1-p)), 1e-11)
		wantNear(t, "t quantile, 2 degrees", tQuantile(p, 2), (2*p-1)*math.Sqrt(1/(2*p*(1-p))), 1e-11)
	}
	if got := tQuantile(.5, 7); got != 0 {
		t.Errorf("the middle: %v", got)
	}
}

func TestSpecialFunctionsOutside(t *testing.T) {
	type point struct {
		P, Z, X, Degrees, A, B, T float64
	}
	random := outsideRandom(1)
	var points []point
	for range outsideCases {
		c := point{
			P: math.Exp(-20 * random.Float64()), Z: 12 * (2*random.Float64() - 1), X: 100 * random.Float64(),
			Degrees: 1 + float64(random.IntN(60)), A: math.Exp(9 * random.Float64()), B: 0.5 + 50*random.Float64()}
		c.T = tQuantile(c.P, c.Degrees)
		points = append(points, c)
	}
	// scipy's quantile of Student's distribution is good to eight digits only; its
	// distribution function is better.
	want := outside(t, `
def f(c):
    return [stats.norm.ppf(c["P"]), stats.norm.sf(c["Z"]), stats.chi2.sf(c["X"], c["Degrees"]),
            stats.t.cdf(c["T"], c["Degrees"]), stats.beta.ppf(c["P"], c["A"], c["B"])]
`, points)
	for i, c := range points {
		got := []float64{normalQuantile(c.P), normalUpper(c.Z), chiSquareUpper(c.X, c.Degrees),
			c.P, betaQuantile(c.P, c.A, c.B)}
		for k, name := range []string{"normal quantile", "normal tail", "chi-square tail", "probability of the t quantile", "beta quantile"} {
			if !sameAsOutside(got[k], want[i][k], 1e-9, 1e-12) {
				t.Errorf("%s at %+v: %.15g, scipy %.15g", name, c, got[k], want[i][k])
			}
		}
	}
}

// The binomial probabilities and both tails, and that the window is the whole.
func TestBinomialOutside(t *testing.T) {
	type point struct {
		Failures, Cycles int
		Rate             float64
	}
	random := outsideRandom(2)
	var points []point
	for range 2 * outsideCases {
		_, cycles := randomCount(random, 100_000)
		rate := math.Exp(-8 * random.Float64())
		spread := 6 * math.Sqrt(float64(cycles)*rate*(1-rate))
		failures := int(float64(cycles)*rate + spread*(2*random.Float64()-1))
		points = append(points, point{min(max(failures, 0), cycles), cycles, rate})
	}
	want := outside(t, `
def f(c):
    k, n, p = c["Failures"], c["Cycles"], c["Rate"]
    return [stats.binom.pmf(k, n, p), stats.binom.cdf(k, n, p), stats.binom.sf(k - 1, n, p)]
`, points)
	for i, c := range points {
		least, window := binomialWindow(c.Cycles, c.Rate)
		var at float64
		if k := c.Failures - least; k >= 0 && k < len(window) {
			at = window[k]
		}
		got := []float64{at, binomialAtMost(c.Failures, c.Cycles, c.Rate), binomialAtLeast(c.Failures, c.Cycles, c.Rate)}
		for k, name := range []string{"probability", "at most", "at least"} {
			if !sameAsOutside(got[k], want[i][k], 1e-9, 1e-12) {
				t.Errorf("%s of %d in %d at %v: %.15g, scipy %.15g", name, c.Failures, c.Cycles, c.Rate, got[k], want[i][k])
			}
		}
	}
}

// Counts of failures beyond what can be, and rates of never and always.
func TestBinomialEdges(t *testing.T) {
	for _, c := range []struct{ got, want float64 }{
		{binomialAtMost(-1, 5, .3), 0}, {binomialAtMost(5, 5, .3), 1}, {binomialAtMost(2, 5, 0), 1}, {binomialAtMost(2, 5, 1), 0},
		{binomialAtLeast(0, 5, .3), 1}, {binomialAtLeast(6, 5, .3), 0}, {binomialAtLeast(2, 5, 0), 0}, {binomialAtLeast(2, 5, 1), 1},
		{binomialAtMost(0, 0, .3), 1}, {binomialAtLeast(1, 0, .3), 0},
	} {
		if c.got != c.want {
			t.Errorf("%v, want %v", c.got, c.want)
		}
	}
	for _, c := range []struct {
		n, least int
		p        float64
	}{{0, 0, .3}, {7, 0, 0}, {7, 7, 1}} {
		if least, w := binomialWindow(c.n, c.p); least != c.least || len(w) != 1 || w[0] != 1 {
			t.Errorf("%d cycles at %v: %v from %d on", c.n, c.p, w, least)
		}
	}
}

// pmf returns the binomial probabilities of 0...n by another way than the
// package's: through log-gamma, good to nine digits.
func pmf(n int, p float64) []float64 {
	w := make([]float64, n+1)
	for k := range w {
		a, _ := math.Lgamma(float64(n + 1))
		b, _ := math.Lgamma(float64(k + 1))
		c, _ := math.Lgamma(float64(n - k + 1))
		w[k] = math.Exp(a - b - c + float64(k)*math.Log(p) + float64(n-k)*math.Log1p(-p))
	}
	return w
}
