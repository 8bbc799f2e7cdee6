package failrate

import (
	"math"
	"strconv"
	"strings"
	"testing"
)

// Newcombe's Table I, and the small and rare cases with ten digits.
func TestMethodsPublished(t *testing.T) {
	const newcombe = "Newcombe, Statist. Med. 17 (1998) 857, Table I"
	const brown = "Brown, Cai and DasGupta, Statist. Sci. 16 (2001) 101, Table 5"
	const computed = "computed with R and scipy"
	for _, c := range []struct {
		source                  string
		of                      func(failures, cycles int, confidence float64) Interval
		failures, cycles        int
		low, high               float64
		printedLow, printedHigh string
	}{
		{newcombe, Wilson, 81, 263, .2552885199, .3662095770, ".2553", ".3662"},
		{newcombe, Wilson, 15, 148, .0623863995, .1604872417, ".0624", ".1605"},
		{newcombe, Wilson, 0, 20, 0, .1611251581, "0", ".1611"},
		{newcombe, Wilson, 1, 29, .0061132143, .1717552188, ".0061", ".1718"},
		{newcombe, MidP, 81, 263, .2544021049, .3657734743, ".2544", ".3658"},
		{newcombe, MidP, 15, 148, .0600636027, .1581217331, ".0601", ".1581"},
		{newcombe, MidP, 0, 20, 0, .1391083407, "0", ".1391"},
		{newcombe, MidP, 1, 29, .0017247701, .1585373837, ".0017", ".1585"},
		{computed, Jeffreys, 81, 263, .2545219350, .3656474992, "", ""},
		{computed, Jeffreys, 15, 148, .0604485170, .1576431435, "", ""},
		// Without the edge rule the lower limit would be 2.42e-5.
		{computed, Jeffreys, 0, 20, 0, .1166389829, "", ""},
		{computed, Jeffreys, 1, 29, .0037461736, .1500776860, "", ""},
		{computed, Wilson, 0, 10, 0, .2775327999, "", ""},
		{computed, Wilson, 1, 10, .0178762131, .4041500268, "", ""},
		{computed, Wilson, 5, 10, .2365930905, .7634069095, "", ""},
		{computed, Wilson, 10, 10, .7224672001, 1, "", ""},
		{computed, Wilson, 29, 29, .8830302015, 1, "", ""},
		{computed, Wilson, 0, 100, 0, .0369934982, "", ""},
		{computed, Wilson, 0, 300, 0, .0126429712, "", ""},
		{computed, Wilson, 3, 1000, .0010207839, .0087830141, "", ""},
		{computed, Wilson, 7, 50, .0695083343, .2618619371, "", ""},
		{computed, Jeffreys, 0, 10, 0, .2171962675, "", ""},
		{brown, Jeffreys, 1, 10, .0110116738, .3813147711, ".011", ".381"},
		{brown, Jeffreys, 5, 10, .2235286703, .7764713297, ".224", ".776"},
		{computed, Jeffreys, 10, 10, .7828037325, 1, "", ""},
		{computed, Jeffreys, 29, 29, .9177135171, 1, "", ""},
		{computed, Jeffreys, 0, 100, 0, .0247452700, "", ""},
		{computed, Jeffreys, 0, 300, 0, .0083312651, "", ""},
		{computed, Jeffreys, 3, 1000, .0008456348, .0079843674, "", ""},
	} {
		iv := c.of(c.failures, c.cycles, .95)
		if math.Abs(iv.Low-c.low) > 6e-11 || math.Abs(iv.High-c.high) > 6e-11 || iv.OneSided || iv.Confidence != .95 ||
			iv.Estimate != float64(c.failures)/float64(c.cycles) {
			t.Errorf("%d/%d: %+v, want [%v, %v] (%s)", c.failures, c.cycles, iv, c.low, c.high, c.source)
		}
		for printed, got := range map[string]float64{c.printedLow: iv.Low, c.printedHigh: iv.High} {
			if _, decimals, ok := strings.Cut(printed, "."); ok &&
				strings.TrimPrefix(strconv.FormatFloat(got, 'f', len(decimals), 64), "0") != printed {
				t.Errorf("%d/%d: %v does not round to the printed %s (%s)", c.failures, c.cycles, got, printed, c.source)
			}
		}
	}
	// NIST/SEMATECH e-Handbook 7.2.4.1: one-sided 95 % lower limit, 26 of 200. It
	// prints 0.09577, with z = 1.645; with the exact z it is 0.0957727482.
	if got := Wilson(26, 200, .90).Low; !near(got, 0.0957727482, 6e-10) {
		t.Errorf("26/200: one-sided lower limit %.12f", got)
	}
}

// A rare failure keeps its digits, up to a million cycles: in
// the limit the counts are Poisson, and the limits of 1 failure in n cycles go
// with 1/n.
func TestRareFailuresScale(t *testing.T) {
	for _, m := range []Method{MethodClopperPearson, MethodWilson, MethodJeffreys, MethodMidP} {
		million := newInterval(m.limits(), 1, 1_000_000, .95)
		fewer := newInterval(m.limits(), 1, 250_000, .95)
		if !near(fewer.Low, 4*million.Low, 1e-4) || !near(fewer.High, 4*million.High, 1e-4) {
			t.Errorf("%s: 1 in 250,000 %+v, 1 in 1,000,000 %+v", m, fewer, million)
		}
	}
}

func TestMethodsOutside(t *testing.T) {
	type point struct {
		Failures, Cycles int
		Confidence       float64
	}
	random := outsideRandom(3)
	var points []point
	for range outsideCases {
		failures, cycles := randomCount(random, 100_000)
		points = append(points, point{failures, cycles, 1 - math.Exp(-0.5-6*random.Float64())})
	}
	// mid-p and anytime have no routine in scipy: their defining equations are
	// solved there by another root finder.
	want := outside(t, `
def f(c):
    x, n, C = c["Failures"], c["Cycles"], c["Confidence"]
    a = (1 - C) / 2
    exact = [0 if x == 0 else stats.beta.ppf(a, x, n - x + 1), 1 if x == n else stats.beta.isf(a, x + 1, n - x)]
    w = stats.binomtest(x, n).proportion_ci(C, method="wilson")
    jeffreys = [0 if x == 0 else stats.beta.ppf(a, x + .5, n - x + .5), 1 if x == n else stats.beta.isf(a, x + .5, n - x + .5)]
    e = x / n
    def root(g, lo, hi):
        return optimize.brentq(g, lo, hi, xtol=1e-300, rtol=1e-15, maxiter=1000)
    def upper(p):
        return stats.binom.sf(x, n, p) + stats.binom.pmf(x, n, p) / 2
    def lower(p):
        return stats.binom.cdf(x, n, p) - stats.binom.pmf(x, n, p) / 2
    midp = [0 if x == 0 else root(lambda p: upper(p) - a, 1e-15, e), 1 if x == n else root(lambda p: lower(p) - a, e, 1 - 1e-16)]
    c = special.betaln(x + .5, n - x + .5) - special.betaln(.5, .5) - np.log(1 / (1 - C))
    def wealth(p):
        return special.xlogy(x, p) + special.xlog1py(n - x, -p) - c
    anytime = [0 if x == 0 else root(wealth, 1e-300, e), 1 if x == n else root(wealth, e, 1 - 1e-16)]
    return exact + [w.low, w.high] + jeffreys + midp + anytime
`, points)
	for i, c := range points {
		for k, m := range Methods() {
			iv := newInterval(m.limits(), c.Failures, c.Cycles, c.Confidence)
			// scipy's Wilson limits lose digits of a rare failure.
			floor := map[Method]float64{MethodWilson: 1e-6}[m]
			if !sameAsOutside(iv.Low, want[i][2*k], 1e-9, floor) || !sameAsOutside(iv.High, want[i][2*k+1], 1e-9, floor) {
				t.Errorf("%s, %+v: [%.14g, %.14g], scipy [%.14g, %.14g]", m, c, iv.Low, iv.High, want[i][2*k], want[i][2*k+1])
			}
		}
	}
}

func TestParseMethod(t *testing.T) {
	for _, m := range Methods() {
		if got, err := ParseMethod(strings.ToUpper(string(m))); got != m || err != nil {
			t.Errorf("%s: %q, %v", m, got, err)
		}
	}
	if got, err := ParseMethod(""); got != MethodClopperPearson || err != nil {
		t.Errorf("no name: %q, %v", got, err)
	}
	_, err := ParseMethod("wald")
	wantRefused(t, "wald", err, "clopper-pearson, wilson, jeffreys, mid-p, anytime")
}
