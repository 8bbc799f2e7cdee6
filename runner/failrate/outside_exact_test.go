package failrate

import (
	"math"
	"testing"
)

// pairCase is one random comparison, as scipy gets it.
type pairCase struct {
	A, NA, B, NB int
	Limits       []float64 // of ours, where scipy is to judge them
}

func randomPair(random interface{ IntN(int) int }, most int) (a, b Counts) {
	a, b = Counts{0, 1 + random.IntN(most)}, Counts{0, 1 + random.IntN(most)}
	a.Failures, b.Failures = random.IntN(a.Cycles+1), random.IntN(b.Cycles+1)
	if random.IntN(2) == 0 { // rare failures, as on a bench
		a.Failures, b.Failures = min(a.Failures, random.IntN(6)), min(b.Failures, random.IntN(3))
	}
	return a, b
}

// scipy's fisher_exact and contingency.odds_ratio.
func TestOutsideFisher(t *testing.T) {
	random := outsideRandom(111)
	var cases []pairCase
	var results [][]float64
	for len(cases) < outsideCases {
		a, b := randomPair(random, 300)
		ratio, err := OddsRatioExact(a, b, .95)
		if err != nil {
			continue
		}
		less, greater, err := FisherOneSided(a, b)
		if err != nil {
			t.Fatal(err)
		}
		cases = append(cases, pairCase{A: a.Failures, NA: a.Cycles, B: b.Failures, NB: b.Cycles})
		results = append(results, []float64{FisherExact(a.Failures, a.Cycles, b.Failures, b.Cycles), less, greater, ratio.Estimate, ratio.Low, ratio.High})
	}
	want := outside(t, `
from scipy.stats.contingency import odds_ratio
def f(c):
    t = [[c["A"], c["NA"] - c["A"]], [c["B"], c["NB"] - c["B"]]]
    p = [stats.fisher_exact(t, alternative=k)[1] for k in ("two-sided", "less", "greater")]
    r = odds_ratio(t)
    i = r.confidence_interval(0.95)
    return p + [r.statistic, i.low, i.high]
`, cases)
	for i := range cases {
		checkOutside(t, "Fisher", cases[i], results[i], want[i], 1e-7)
	}
}

// Barnard's and Boschloo's tests by brute force: every table, a dense grid of
// common rates and a polished maximum. (scipy's own stop at a coarse grid.)
func TestOutsideUnconditional(t *testing.T) {
	random := outsideRandom(112)
	var cases []pairCase
	var results [][]float64
	for range outsideCases {
		a, b := randomPair(random, 14)
		barnard, err := Barnard(a, b)
		if err != nil {
			t.Fatal(err)
		}
		boschloo, err := Boschloo(a, b)
		if err != nil {
			t.Fatal(err)
		}
		cases = append(cases, pairCase{A: a.Failures, NA: a.Cycles, B: b.Failures, NB: b.Cycles})
		results = append(results, []float64{barnard.Less, barnard.Greater, barnard.TwoSided, boschloo.Less, boschloo.Greater})
	}
	want := outside(t, `
def f(c):
    n, m, a, b = c["NA"], c["NB"], c["A"], c["B"]
    x, y = np.meshgrid(np.arange(n + 1), np.arange(m + 1), indexing="ij")
    pooled = (x + y) / (n + m)
    v = pooled * (1 - pooled) * (1 / n + 1 / m)
    z = np.where(v > 0, (x / n - y / m) / np.sqrt(np.where(v > 0, v, 1)), 0)
    greater = stats.hypergeom.sf(x - 1, n + m, x + y, n)
    less = stats.hypergeom.cdf(x, n + m, x + y, n)
    s = z[a, b]
    regions = [z <= s + 1e-9, z >= s - 1e-9, np.abs(z) >= abs(s) - 1e-9, less <= less[a, b] * (1 + 1e-7), greater <= greater[a, b] * (1 + 1e-7)]
    grid = np.linspace(0, 1, 801)
    pa = stats.binom.pmf(np.arange(n + 1)[None, :], n, grid[:, None]); pb = stats.binom.pmf(np.arange(m + 1)[None, :], m, grid[:, None])
    def chance(r, p):
        return stats.binom.pmf(np.arange(n + 1), n, p) @ r @ stats.binom.pmf(np.arange(m + 1), m, p)
    out = []
    for r in regions:
        r = r.astype(float)
        q = np.einsum("gi,ij,gj->g", pa, r, pb, optimize=True)
        k = int(np.argmax(q))
        best = q[k]
        if best < 1 - 1e-9:
            found = optimize.minimize_scalar(lambda p: -chance(r, p), bounds=(grid[max(0, k - 1)], grid[min(800, k + 1)]), method="bounded", options={"xatol": 1e-10})
            best = max(best, -found.fun)
        out.append(min(best, 1))
    return out
`, cases)
	for i := range cases {
		checkOutside(t, "unconditional", cases[i], results[i], want[i], 1e-7)
	}
}

// Newcombe's interval from scipy's Wilson limits; Mee's by the score at its
// limits, with the restricted rates maximised numerically.
func TestOutsideDifference(t *testing.T) {
	random := outsideRandom(113)
	var cases []pairCase
	var results [][]float64
	z := twoSidedZ(.95)
	for range outsideCases {
		a, b := randomPair(random, 200)
		newcombe, err := Newcombe(a, b, .95)
		if err != nil {
			t.Fatal(err)
		}
		continuity, err := NewcombeContinuity(a, b, .95)
		if err != nil {
			t.Fatal(err)
		}
		mee, err := Mee(a, b, .95)
		if err != nil {
			t.Fatal(err)
		}
		row := []float64{newcombe.Low, newcombe.High, continuity.Low, continuity.High}
		for _, limit := range []float64{mee.Low, mee.High} {
			if math.Abs(limit) == 1 {
				row = append(row, 0)
			} else {
				row = append(row, z*z)
			}
		}
		cases = append(cases, pairCase{A: a.Failures, NA: a.Cycles, B: b.Failures, NB: b.Cycles, Limits: []float64{mee.Low, mee.High}})
		results = append(results, row)
	}
	want := outside(t, `
def f(c):
    n, m, a, b = c["NA"], c["NB"], c["A"], c["B"]
    d = a / n - b / m
    out = []
    for method in ("wilson", "wilsoncc"):
        i, j = stats.binomtest(a, n).proportion_ci(method=method), stats.binomtest(b, m).proportion_ci(method=method)
        out += [max(-1, d - np.hypot(a / n - i.low, j.high - b / m)), min(1, d + np.hypot(i.high - a / n, b / m - j.low))]
    for limit in c["Limits"]:
        if abs(limit) == 1:
            out.append(0); continue
        low, high = max(0, -limit), min(1, 1 - limit)
        def loss(q):
            p = q + limit
            return -(special.xlogy(a, p) + special.xlog1py(n - a, -p) + special.xlogy(b, q) + special.xlog1py(m - b, -q))
        q = optimize.minimize_scalar(loss, bounds=(low, high), method="bounded", options={"xatol": 1e-13}).x
        p = q + limit
        out.append((d - limit) ** 2 / (p * (1 - p) / n + q * (1 - q) / m))
    return out
`, cases)
	for i := range cases {
		checkOutside(t, "difference", cases[i], results[i][:4], want[i][:4], 1e-9)
		// The maximum is flat: its place is known to some eight digits.
		checkOutside(t, "score at Mee's limits", cases[i], results[i][4:], want[i][4:], 1e-4)
	}
}

// Firth's fit as the maximum of the penalised likelihood, found by scipy, and
// profile limits of both fits as places at which the likelihood has dropped by z²/2.
func TestOutsideFirthAndProfile(t *testing.T) {
	random := outsideRandom(114)
	type doseCase struct {
		V, Y, N   []float64
		Firth     bool
		Low, High float64 // profile limits of the half
	}
	var cases []doseCase
	var results [][]float64
	z := twoSidedZ(.95)
	for len(cases) < outsideCases {
		c := doseCase{Firth: len(cases)%2 == 0}
		half, width := 2+random.Float64(), .02+.25*random.Float64()
		var doses []Dose
		for v := 1.8; v < 3.3; v += .2 {
			p, _, _, _ := Logit.at(-(v - half) / width)
			d := Dose{v, Counts{0, 5 + random.IntN(40)}}
			for range d.Cycles {
				if random.Float64() < p {
					d.Failures++
				}
			}
			doses = append(doses, d)
			c.V, c.Y, c.N = append(c.V, v), append(c.Y, float64(d.Failures)), append(c.N, float64(d.Cycles))
		}
		fit, err := FitFirth(doses)
		if !c.Firth {
			fit, err = FitThreshold(doses, Logit)
		}
		if err != nil {
			continue
		}
		v, err := fit.Volts(.5, .95)
		if err != nil {
			t.Fatal(err)
		}
		if math.IsInf(v.Profile.Low, 0) || math.IsInf(v.Profile.High, 0) {
			continue
		}
		c.Low, c.High = v.Profile.Low, v.Profile.High
		cases = append(cases, c)
		results = append(results, []float64{fit.Intercept, fit.Slope, z * z, z * z})
	}
	want := outside(t, `
def f(c):
    v, y, n = (np.array(c[k]) for k in ("V", "Y", "N"))
    x = v - 2.5
    def loss(b0, b1):
        e = b0 + b1 * x
        p, q = special.expit(e), special.expit(-e)
        l = np.sum(y * special.log_expit(e) + (n - y) * special.log_expit(-e))
        if c["Firth"]:
            w = n * p * q
            l += 0.5 * np.log(max(1e-300, w.sum() * (w * x * x).sum() - (w * x).sum() ** 2))
        return -l
    start = [1, -8]
    for again in range(2):
        r = optimize.minimize(lambda b: loss(*b), start, method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-13, "maxiter": 2000, "maxfev": 2000})
        start = r.x
    b0, b1 = r.x
    out = [b0 - 2.5 * b1, b1]
    for at in (c["Low"], c["High"]):
        g = lambda b: loss(-b * (at - 2.5), b)
        m = optimize.minimize_scalar(g, bracket=(1.2 * b1, 0.8 * b1), tol=1e-10)
        out.append(2 * (m.fun - r.fun))
    return out
`, cases)
	for i := range cases {
		checkOutside(t, "fit", cases[i], results[i][:2], want[i][:2], 2e-6)
		checkOutside(t, "drop at the profile limits", cases[i], results[i][2:], want[i][2:], 1e-6)
	}
}
