package failrate

import (
	"math"
	"testing"
)

// Success-run sample sizes, long in print; computed with R. The table holds the
// numbers by the other convention, a uniform prior, too: one cycle fewer
// almost everywhere, and not what is meant here.
func TestDemonstrationNoFailure(t *testing.T) {
	table := readTable(t, "success_run.csv", 56)
	reliability, confidence, want, withPrior := table.numbers("R"), table.numbers("C"), table.numbers("n"), table.numbers("n_uniform_prior")
	differ := 0
	for i := range want {
		d, err := NeedDemonstration(1-reliability[i], confidence[i], 0)
		if err != nil || d.Cycles != int(want[i]) {
			t.Errorf("below %v with %v: %+v, %v; want %v cycles", 1-reliability[i], confidence[i], d, err, want[i])
		}
		if d.Cycles != int(withPrior[i]) {
			differ++
		}
		// The bound shown after that many cycles is the one asked for, and one cycle
		// fewer does not show it.
		if high := ClopperPearson(0, d.Cycles, confidence[i]).High; high > (1-reliability[i])*(1+1e-9) {
			t.Errorf("%d cycles show only %v, not %v", d.Cycles, high, 1-reliability[i])
		}
		if high := ClopperPearson(0, d.Cycles-1, confidence[i]).High; d.Cycles > 1 && high < (1-reliability[i])*(1-1e-9) {
			t.Errorf("%d cycles would have shown %v", d.Cycles-1, 1-reliability[i])
		}
	}
	if differ < 50 {
		t.Errorf("only %d of %d numbers differ from the convention with a prior", differ, len(want))
	}
}

// Binomial demonstration tests with allowed failures, computed with R's pbinom.
func TestDemonstrationWithFailures(t *testing.T) {
	table := readTable(t, "demo_test_plans.csv", 36)
	reliability, confidence, failures := table.numbers("R"), table.numbers("C"), table.numbers("failures")
	cycles, tail := table.numbers("n"), table.numbers("tail")
	for i := range cycles {
		d, err := NeedDemonstration(1-reliability[i], confidence[i], int(failures[i]))
		if err != nil || d.Cycles != int(cycles[i]) || math.Abs(d.Miss-tail[i]) > 6e-11 || d.Convention == "" {
			t.Errorf("below %v with %v, %v failures: %+v, %v; want %v cycles, tail %v", 1-reliability[i], confidence[i], failures[i], d, err, cycles[i], tail[i])
		}
	}
	// Exactly enough must not be lost to 1-0.9 being less than 0.1.
	if d, err := NeedDemonstration(.9, .9, 0); err != nil || d.Cycles != 1 {
		t.Errorf("at 90 %% one good start has a probability of 10 %%: %+v, %v", d, err)
	}
	if d, err := NeedDemonstration(.5, .75, 0); err != nil || d.Cycles != 2 {
		t.Errorf("at 50 %% two good starts have a probability of 25 %%: %+v, %v", d, err)
	}
}

func TestDemonstrationOutside(t *testing.T) {
	type point struct {
		Below, Confidence float64
		Failures          int
	}
	random := outsideRandom(5)
	var points []point
	for range outsideCases {
		points = append(points, point{math.Exp(-0.1 - 7*random.Float64()), 1 - math.Exp(-0.1-6*random.Float64()), random.IntN(20)})
	}
	// The trials until the f+1st failure are negative binomial.
	want := outside(t, `
def f(c):
    n = c["Failures"] + 1 + stats.nbinom.ppf(c["Confidence"], c["Failures"] + 1, c["Below"])
    return [n, stats.binom.cdf(c["Failures"], n, c["Below"])]
`, points)
	for i, c := range points {
		d, err := NeedDemonstration(c.Below, c.Confidence, c.Failures)
		if err != nil || d.Cycles != int(want[i][0]) || !sameAsOutside(d.Miss, want[i][1], 1e-9, 1e-12) {
			t.Errorf("%+v: %+v, %v; scipy %v", c, d, err, want[i])
		}
	}
}

func TestWidthOutside(t *testing.T) {
	type point struct {
		Rate, Width, Confidence float64
		Method                  Method
		Cycles                  int
	}
	random := outsideRandom(6)
	var points []point
	for i := range outsideCases {
		rate := math.Exp(-5 * random.Float64())
		c := point{Rate: rate, Width: math.Min(.9, rate*(0.2+random.Float64())), Confidence: 1 - math.Exp(-1-4*random.Float64()), Method: Methods()[i%4]}
		need, err := NeedWidth(c.Rate, c.Width, c.Confidence, c.Method)
		if err != nil || need.High-need.Low > c.Width {
			t.Fatalf("%+v: %+v, %v", c, need, err)
		}
		c.Cycles = need.Cycles
		points = append(points, c)
	}
	widths := outside(t, `
def width(c, n):
    x, a = c["Rate"] * n, (1 - c["Confidence"]) / 2
    if c["Method"] == "clopper-pearson":
        return stats.beta.isf(a, x + 1, n - x) - stats.beta.ppf(a, x, n - x + 1)
    if c["Method"] == "jeffreys":
        return stats.beta.isf(a, x + .5, n - x + .5) - stats.beta.ppf(a, x + .5, n - x + .5)
    if c["Method"] == "wilson":
        z = stats.norm.isf(a)
        return 2 * z * np.sqrt(x * (n - x) / n + z * z / 4) / (n + z * z)
    def tail(p):
        return (special.betainc(x, n - x + 1, p) + special.betainc(x + 1, n - x, p)) / 2
    root = lambda q: optimize.brentq(lambda p: tail(p) - q, 1e-12, 1 - 1e-12, xtol=1e-15, rtol=1e-14)
    return root(1 - a) - root(a)
def f(c):
    return [width(c, c["Cycles"]), width(c, c["Cycles"] - 1) if c["Cycles"] > 2 else np.inf]
`, points)
	for i, c := range points {
		if widths[i][0] > c.Width*(1+1e-9) || widths[i][1] <= c.Width*(1-1e-9) {
			t.Errorf("%+v: by scipy the width is %v, with one cycle less %v", c, widths[i][0], widths[i][1])
		}
	}
}

// The power summed over all outcomes, each with its own p-value, in scipy.
func TestPowerOutside(t *testing.T) {
	type point struct {
		RateA, RateB     float64
		CyclesA, CyclesB int
		Significance     float64
	}
	random := outsideRandom(7)
	var points []point
	for range outsideCases {
		points = append(points, point{random.Float64(), random.Float64(), 1 + random.IntN(20), 1 + random.IntN(20), []float64{.01, .05, .1}[random.IntN(3)]})
	}
	want := outside(t, `
def f(c):
    m, n, power = c["CyclesA"], c["CyclesB"], 0.0
    A = stats.binom.pmf(np.arange(m + 1), m, c["RateA"])
    B = stats.binom.pmf(np.arange(n + 1), n, c["RateB"])
    for total in range(m + n + 1):
        k = np.arange(max(0, total - n), min(total, m) + 1)
        h = stats.hypergeom.pmf(k, m + n, total, m)
        p = np.array([h[h <= w * (1 + 1e-7)].sum() for w in h])
        power += (A[k] * B[total - k])[p <= c["Significance"] * (1 + 1e-12)].sum()
    return [power]
`, points)
	for i, c := range points {
		got, err := ChangePower(c.RateA, c.CyclesA, c.RateB, c.CyclesB, c.Significance)
		if err != nil || !sameAsOutside(got, want[i][0], 1e-9, 1e-3) {
			t.Errorf("%+v: power %.15g, %v; scipy %.15g", c, got, err, want[i][0])
		}
	}
}

// The power is that of the test which is used, [FisherExact].
func TestPowerIsFishers(t *testing.T) {
	const nA, nB, significance = 30, 45, .05
	a, b := pmf(nA, .3), pmf(nB, .08)
	var want float64
	for x, p := range a {
		for y, q := range b {
			if FisherExact(x, nA, y, nB) <= significance {
				want += p * q
			}
		}
	}
	got, err := ChangePower(.3, nA, .08, nB, significance)
	if err != nil || !near(got, want, 1e-9) {
		t.Errorf("power %v, %v; by the p-values %v", got, err, want)
	}
}

// The number returned is the smallest, as a search through all of them finds.
func TestChangeSmallest(t *testing.T) {
	for _, c := range []struct{ from, to, power, significance float64 }{
		{.41, .03, .8, .05}, {.02, .005, .8, .05}, {.5, .3, .9, .01}, {0, .05, .8, .05}, {1, 0, .8, .05}, {.99, .9, .9, .1}, {.1, .2, .5, .05},
	} {
		need, err := NeedChange(c.from, c.to, c.power, c.significance)
		if err != nil || need.Reached < c.power {
			t.Errorf("%+v: %+v, %v", c, need, err)
			continue
		}
		for n := 1; n < need.Cycles; n++ {
			if p := fisherPower(c.from, n, c.to, n, c.significance); p >= c.power {
				t.Errorf("%+v: %d cycles a side have a power of %v, NeedChange says %d", c, n, p, need.Cycles)
				break
			}
		}
	}
	if need, _ := NeedChange(.02, .005, .8, .05); need.Sentence() !=
		"922 cycles before and as many after: a change from 2 % to 0.5 % is seen in 80 % of cases (two-sided, 95 % confidence)" {
		t.Errorf("%s", need.Sentence())
	}
}

func TestDetectableRate(t *testing.T) {
	for _, c := range []struct {
		from  float64
		above bool
	}{{.41, false}, {.41, true}, {.03, true}} {
		rate, ok, err := DetectableRate(c.from, 60, 40, c.above, .8, .05)
		if err != nil || !ok || (rate > c.from) != c.above {
			t.Errorf("%+v: %v, %v, %v", c, rate, ok, err)
			continue
		}
		closer := rate + 1e-3*(c.from-rate)
		if fisherPower(c.from, 60, rate, 40, .05) < .8 || fisherPower(c.from, 60, closer, 40, .05) >= .8 {
			t.Errorf("%+v: %v is not where the power becomes 80 %%", c, rate)
		}
	}
	if rate, ok, err := DetectableRate(.03, 40, 40, false, .8, .05); ok || err != nil {
		t.Errorf("forty cycles cannot show that 3 %% went away: %v, %v", rate, err)
	}
}

func TestNeedRefuses(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		what string
		ask  func() error
		says string
	}{
		{"rate 0", func() error { _, err := NeedDemonstration(0, .95, 0); return err }, "both excluded"},
		{"rate 1", func() error { _, err := NeedDemonstration(1, .95, 0); return err }, "both excluded"},
		{"rate NaN", func() error { _, err := NeedDemonstration(nan, .95, 0); return err }, "both excluded"},
		{"rate 1e-300", func() error { _, err := NeedDemonstration(1e-300, .95, 0); return err }, "ask for a higher rate"},
		{"rate 1e-300", func() error { _, err := NeedDemonstration(1e-300, .95, 3); return err }, "ask for a higher rate"},
		{"confidence 95", func() error { _, err := NeedDemonstration(.01, 95, 0); return err }, "95 % is 0.95"},
		{"failures -1", func() error { _, err := NeedDemonstration(.01, .95, -1); return err }, "from 0"},
		{"width 0", func() error { _, err := NeedWidth(.1, 0, .95, ""); return err }, "width"},
		{"width tiny", func() error { _, err := NeedWidth(.1, 1e-9, .95, ""); return err }, "wider interval"},
		{"width rate", func() error { _, err := NeedWidth(-.1, .1, .95, ""); return err }, "from 0 to 1"},
		{"width confidence", func() error { _, err := NeedWidth(.1, .1, 1, ""); return err }, "between 0 and 1"},
		{"width method", func() error { _, err := NeedWidth(.1, .1, .9, "wald"); return err }, "the methods are"},
		{"no change", func() error { _, err := NeedChange(.1, .1, .8, .05); return err }, "differ"},
		{"change NaN", func() error { _, err := NeedChange(nan, .1, .8, .05); return err }, "from 0 to 1"},
		{"power 1", func() error { _, err := NeedChange(.2, .1, 1, .05); return err }, "power"},
		{"power 80", func() error { _, err := NeedChange(.2, .1, 80, .05); return err }, "power"},
		{"significance 0", func() error { _, err := NeedChange(.2, .1, .8, 0); return err }, "significance"},
		{"change tiny", func() error { _, err := NeedChange(1e-5, 1.1e-5, .8, .05); return err }, "larger change"},
		{"cycles -1", func() error { _, err := ChangePower(.1, -1, .2, 5, .05); return err }, "cycles"},
		{"detectable power", func() error { _, _, err := DetectableRate(.1, 5, 5, true, 0, .05); return err }, "power"},
		{"detectable rate", func() error { _, _, err := DetectableRate(2, 5, 5, true, .8, .05); return err }, "rate"},
	} {
		wantRefused(t, c.what, c.ask(), c.says)
	}
	// Three failures of three against none have a p-value of 2 in 20; that is 10 %, whatever 1 - 0.9 rounds to.
	confidence := .9
	if p, err := ChangePower(1, 3, 0, 3, 1-confidence); p != 1 || err != nil {
		t.Errorf("a difference that is just significant has a power of %v, %v", p, err)
	}
	if p, err := ChangePower(.1, 0, .2, 5, .05); p != 0 || err != nil {
		t.Errorf("no cycles on one side: power %v, %v", p, err)
	}
}

func TestNeedSentences(t *testing.T) {
	for _, c := range []struct {
		below, confidence float64
		failures          int
		want              string
	}{
		{.001, .95, 0, "2,995 cycles with no failure: below 0.1 % with 95 % confidence"},
		{.01, .9, 1, "388 cycles with at most 1 failure: below 1 % with 90 % confidence"},
	} {
		if d, err := NeedDemonstration(c.below, c.confidence, c.failures); err != nil || d.Sentence() != c.want {
			t.Errorf("%q, %v; want %q", d.Sentence(), err, c.want)
		}
	}
	w, err := NeedWidth(.02, .01, .95, "")
	if want := "3,221 cycles: if 2 % fail, the rate lies between 1.54 % and 2.55 % with 95 % confidence"; err != nil || w.Sentence() != want {
		t.Errorf("%q, %v; want %q", w.Sentence(), err, want)
	}
}
