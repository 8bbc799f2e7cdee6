package failrate

import (
	"math"
	"testing"
)

// The order of cycles: numpy by brute force, scipy's kendalltau, and exact counts.
func TestOutsideOrder(t *testing.T) {
	random := outsideRandom(121)
	type orderCase struct {
		X      []float64
		Failed []int
	}
	var cases []orderCase
	var results [][]float64
	for range outsideCases {
		var c orderCase
		n := 12 + random.IntN(38)
		ties := random.IntN(2) == 0
		for i := range n {
			v := random.NormFloat64() + .02*float64(i)
			if ties {
				v = math.Round(v)
			}
			c.X = append(c.X, v)
			c.Failed = append(c.Failed, random.IntN(2+random.IntN(4))/2)
		}
		c.Failed[0], c.Failed[1] = 0, 1
		failed := make([]bool, n)
		for i, f := range c.Failed {
			failed[i] = f > 0
			c.Failed[i] = min(f, 1)
		}
		runs, err := Runs(failed)
		if err != nil {
			t.Fatal(err)
		}
		trend, err := MannKendall(c.X)
		if err != nil {
			t.Fatal(err)
		}
		sen, err := SenSlope(c.X)
		if err != nil {
			t.Fatal(err)
		}
		lag3, err := Autocorrelation(c.X, 3)
		if err != nil {
			t.Fatal(err)
		}
		box, err := Independence(c.X, 5)
		if err != nil {
			t.Fatal(err)
		}
		change, err := Pettitt(c.X)
		if err != nil {
			t.Fatal(err)
		}
		p := math.NaN()
		if trend.Exact {
			p = trend.P
		}
		cases = append(cases, c)
		results = append(results, []float64{float64(runs.Runs), runs.Z, runs.Clustered, runs.P, trend.Tau, p, trend.Variance, sen, lag3, box.LjungBox, box.LjungBoxP, box.BoxPierceP, change.K, float64(change.After)})
	}
	want := outside(t, `
from math import comb
from fractions import Fraction
def f(c):
    x, w = np.array(c["X"]), c["Failed"]
    n = len(x)
    a, b = sum(w), n - sum(w)
    r = 1 + sum(w[i] != w[i - 1] for i in range(1, n))
    def ways(k):
        h = k // 2
        if k % 2 == 0: return 2 * comb(a - 1, h - 1) * comb(b - 1, h - 1)
        return comb(a - 1, h - 1) * comb(b - 1, h) + comb(a - 1, h) * comb(b - 1, h - 1)
    few = float(Fraction(sum(ways(k) for k in range(2, r + 1)), comb(a + b, a)))
    many = float(Fraction(sum(ways(k) for k in range(r, n + 1)), comb(a + b, a)))
    mean = 2 * a * b / n + 1
    var = 2 * a * b * (2 * a * b - n) / (n * n * (n - 1))
    tied = len(set(c["X"])) < n
    tau = stats.kendalltau(x, np.arange(n), method="asymptotic" if tied else "exact")
    counts = np.unique(x, return_counts=True)[1]
    v = (n * (n - 1) * (2 * n + 5) - np.sum(counts * (counts - 1) * (2 * counts + 5))) / 18
    i, j = np.triu_indices(n, 1)
    d = x - x.mean()
    rho = lambda l: np.sum(d[:-l] * d[l:]) / np.sum(d * d)
    rs = np.array([rho(l) for l in range(1, 6)])
    lb = n * (n + 2) * np.sum(rs ** 2 / (n - np.arange(1, 6)))
    u = np.array([np.sign(x[:k, None] - x[None, k:]).sum() for k in range(1, n)])
    return [r, (r - mean) / np.sqrt(var), few, min(1, 2 * min(few, many)), tau.statistic, float("nan") if tied else tau.pvalue, v, np.median((x[j] - x[i]) / (j - i)),
            rho(3), lb, stats.chi2.sf(lb, 5), stats.chi2.sf(n * np.sum(rs ** 2), 5), np.abs(u).max(), int(np.argmax(np.abs(u))) + 1]
`, cases)
	for i := range cases {
		checkOutside(t, "order", cases[i], results[i], want[i], 1e-9)
	}
}

// Run lengths from the chart's Markov chain, solved by numpy.
func TestOutsideCUSUM(t *testing.T) {
	random := outsideRandom(122)
	type chart struct {
		Weight, Limit int
		Rate          float64
	}
	var cases []chart
	var results [][]float64
	for len(cases) < outsideCases {
		c := chart{2 + random.IntN(40), 1 + random.IntN(90), math.Exp(-5 * random.Float64())}
		length := CUSUMRunLength(c.Weight, c.Limit, c.Rate)
		if length > 1e9 { // more than linear equations in floating point can tell
			continue
		}
		cases = append(cases, c)
		results = append(results, []float64{length})
	}
	want := outside(t, `
def f(c):
    m, h, p = c["Weight"], c["Limit"], c["Rate"]
    a = np.eye(h)
    for i in range(h):
        if i + m - 1 < h: a[i, i + m - 1] -= p
        a[i, max(0, i - 1)] -= 1 - p
    return [np.linalg.solve(a, np.ones(h))[0]]
`, cases)
	for i := range cases {
		// The linear equations lose digits in proportion to the run length.
		checkOutside(t, "run length", cases[i], results[i], want[i], max(1e-9, want[i][0]*1e-15))
	}
}

// scipy's betabinom likelihood maximised; beta quantiles; Tarone by numpy.
func TestOutsideOverdispersion(t *testing.T) {
	random := outsideRandom(123)
	type batchCase struct{ X, N []int }
	var cases []batchCase
	var results [][]float64
	for len(cases) < outsideCases {
		var c batchCase
		var batches []Counts
		spread := random.Float64()
		for range 6 + random.IntN(12) {
			b := Counts{0, 8 + random.IntN(30)}
			p := min(.95, max(.02, .3+spread*(random.Float64()-.5)))
			for range b.Cycles {
				if random.Float64() < p {
					b.Failures++
				}
			}
			batches = append(batches, b)
			c.X, c.N = append(c.X, b.Failures), append(c.N, b.Cycles)
		}
		d, err := Overdispersion(batches)
		if err != nil || d.Correlation > 0 && d.Correlation < 1e-3 { // too flat for a simplex search
			continue
		}
		w, err := Widened(batches, .95)
		if err != nil {
			t.Fatal(err)
		}
		cases = append(cases, c)
		results = append(results, []float64{d.Pearson, d.P, d.Tarone, d.LogLikelihood, d.Independent, w.Interval.Low, w.Interval.High})
	}
	want := outside(t, `
def f(c):
    x, n = np.array(c["X"]), np.array(c["N"])
    p = x.sum() / n.sum()
    chi = np.sum((x - n * p) ** 2 / (n * p * (1 - p)))
    k = len(x)
    tarone = (np.sum((x - n * p) ** 2) / (p * (1 - p)) - n.sum()) / np.sqrt(2 * np.sum(n * (n - 1)))
    binomial = np.sum(stats.binom.logpmf(x, n, p))
    def loss(t):
        m, theta = special.expit(t[0]), np.exp(np.clip(t[1], -8, 5))
        a, b = m / theta, (1 - m) / theta
        return -np.sum(ways + special.betaln(x + a, n - x + b) - special.betaln(a, b))
    ways = -np.log(n + 1) - special.betaln(n - x + 1, x + 1)
    best = optimize.minimize(loss, [special.logit(p), -3], method="Nelder-Mead", options={"xatol": 1e-6, "fatol": 1e-10}).fun
    fi = chi / (k - 1)
    pv = stats.chi2.sf(chi, k - 1)
    if pv >= 0.05: fi = 1
    a, b = x.sum() / fi, n.sum() / fi
    return [chi, pv, tarone, max(binomial, -best), binomial, stats.beta.ppf(0.025, a, b - a + 1), stats.beta.ppf(0.975, a + 1, b - a)]
`, cases)
	for i := range cases {
		checkOutside(t, "overdispersion", cases[i], results[i], want[i], 1e-7)
	}
}

// scipy's mannwhitneyu with ties and censored times, and numpy's median of all pairs.
func TestOutsideMannWhitney(t *testing.T) {
	random := outsideRandom(124)
	type sampleCase struct{ A, B []float64 }
	var cases []sampleCase
	var results [][]float64
	for range outsideCases {
		draw := func(n int, scale float64) (finite, all []float64) {
			for range n {
				v := math.Ceil(40 * scale * (.2 + random.Float64()))
				all = append(all, v)
				if v > 44 { // not within the window: later than all, and a number scipy can rank
					v = math.Inf(1)
					all[len(all)-1] = 1e6
				}
				finite = append(finite, v)
			}
			return finite, all
		}
		a, rankedA := draw(20+random.IntN(60), 1)
		b, rankedB := draw(20+random.IntN(60), .8+.4*random.Float64())
		s, err := Shift(a, b, .95)
		if err != nil {
			t.Fatal(err)
		}
		later, sooner := rankSum([]timeStratum{{a, b}}, 1)
		estimate := s.Interval.Estimate
		if math.IsInf(estimate, 0) {
			t.Fatalf("%v and %v: the median pair is censored", a, b)
		}
		cases = append(cases, sampleCase{rankedA, rankedB})
		results = append(results, []float64{s.U, s.P, min(later, .5), min(sooner, .5), estimate})
	}
	want := outside(t, `
def f(c):
    a, b = np.array(c["A"]), np.array(c["B"])
    r = [stats.mannwhitneyu(a, b, alternative=k, method="asymptotic") for k in ("two-sided", "greater", "less")]
    return [r[0].statistic, r[0].pvalue, min(r[1].pvalue, 0.5), min(r[2].pvalue, 0.5), np.median(np.subtract.outer(a, b))]
`, cases)
	for i := range cases {
		checkOutside(t, "Mann-Whitney", cases[i], results[i], want[i], 1e-9)
	}
}
