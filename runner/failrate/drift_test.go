package failrate

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// NIST/SEMATECH e-Handbook 1.3.5.12 and 1.3.5.13, data LEW.DAT. The handbook's
// 2.6938 is without continuity correction; with it, it would be 2.6229.
func TestBeamDeflection(t *testing.T) {
	y := readTable(t, "lew_nist.csv", 200).numbers("y")
	r, err := RunsAboutMedian(y)
	if err != nil {
		t.Fatal(err)
	}
	if r.Runs != 120 || r.First != 100 || r.Second != 100 || r.Mean != 101 {
		t.Errorf("%+v, want 120 runs of 100 and 100 about 101", r)
	}
	wantNear(t, "variance", r.Variance, 49.7487437186, 1e-11)
	wantNear(t, "Z", r.Z, 2.6937825908, 1e-10)
	wantNear(t, "normal p", 2*normalUpper(r.Z), .00706462295, 1e-8)
	if !r.Exact || !near(r.P, .0070646, .3) {
		t.Errorf("exact p %v is far from the normal .0070646", r.P)
	}
	var mean float64
	for _, v := range y {
		mean += v / 200
	}
	if r, err = runsAbout(y, mean); err != nil || r.First != 102 || r.Second != 98 || !near(r.Z, 2.7005393834, 1e-10) {
		t.Errorf("about the mean: %+v (%v)", r, err)
	}
	for lag, want := range map[int]float64{1: -.30730480, 2: -.74035027, 3: .77468923, 4: .20515544, 5: -.89815611} {
		got, err := Autocorrelation(y, lag)
		if err != nil || math.Abs(got-want) > 6e-9 {
			t.Errorf("lag %d: %v (%v), want %v", lag, got, err, want)
		}
	}
	p, err := Independence(y, 1)
	if err != nil {
		t.Fatal(err)
	}
	wantNear(t, "Box-Pierce", p.BoxPierce, 18.8872481, 3e-9)
	wantNear(t, "its p", p.BoxPierceP, 1.38676579e-5, 3e-9)
	wantNear(t, "Ljung-Box", p.LjungBox, 19.17198048, 3e-10)
	wantNear(t, "its p", p.LjungBoxP, 1.19453986e-5, 4e-9)
	if p, err = Independence(y, 24); err != nil || !near(p.LjungBox, 1642.477015, 4e-10) {
		t.Errorf("Ljung-Box 24: %+v (%v)", p, err)
	}
}

// Wald and Wolfowitz (1940); tables of Swed and Eisenhart (1943).
func TestRunsExact(t *testing.T) {
	for _, c := range []struct {
		a, b int
		few  map[int]float64
	}{
		{5, 5, map[int]float64{2: .00793650793651, 3: .03968253968254, 4: .16666666666667, 5: .35714285714286, 6: .64285714285714}},
		{10, 10, map[int]float64{5: .00449241161315, 6: .0185217259521, 7: 9470. / 184756}},
		{3, 47, map[int]float64{2: .000102040816327, 3: .002551020408163, 4: .011938775510204, 5: .119897959183673, 6: .225510204081633, 7: 1}},
	} {
		for r, want := range c.few {
			few, many := runsTails(r, c.a, c.b)
			wantNear(t, fmt.Sprintf("P(R <= %d) of %d and %d", r, c.a, c.b), few, want, 1e-11)
			if next, _ := runsTails(r-1, c.a, c.b); math.Abs(next+many-1) > 1e-11 {
				t.Errorf("P(R < %d) + P(R >= %d) = %v", r, r, next+many)
			}
		}
	}
}

func TestMannKendallPublished(t *testing.T) {
	b := readTable(t, "mannkendall_examples.csv", 21)
	set, x := b.text("set"), b.numbers("x")
	series := map[string][]float64{}
	for i := range x {
		series[set[i]] = append(series[set[i]], x[i])
	}
	for _, c := range []struct {
		source, set         string
		s                   int
		variance, z, p, tau float64
		exact               bool
	}{
		{"EPA QA/G-9S p. 109: S 22, variance 155.33, Z 1.685", "EPA_QA_G9S_p109", 22, 155.33333333333, 1.68494979, math.NaN(), math.NaN(), false},
		{"Wisconsin Administrative Code, Table A", "WI_admin_code", -5, 15.66666666667, -1.01058231, math.NaN(), math.NaN(), false},
		{"EPA QA/G-9: one-sided .117", "EPA_small", 6, 16.66666666667, 1.22474487, .233333333333, .6, true},
	} {
		m, err := MannKendall(series[c.set])
		if err != nil || m.S != c.s || !near(m.Variance, c.variance, 1e-10) || !near(m.Z, c.z, 6e-9) || m.Exact != c.exact ||
			!sameOrAbsent(m.P, c.p, 1e-11) || !sameOrAbsent(m.Tau, c.tau, 1e-12) {
			t.Errorf("%+v (%v), want %+v", m, err, c)
		}
	}
	// Gilbert (1987), Table A18, to its three digits; two of them exactly.
	for _, c := range []struct {
		n, s int
		p    float64
	}{{4, 0, .6250}, {4, 2, .3750}, {4, 4, .1667}, {4, 6, .0417}, {5, 2, .4083}, {5, 4, .2417}, {5, 6, .1167}, {5, 8, .0417}, {5, 10, .0083},
		{8, 16, .0305}, {8, 20, .0071}, {10, 21, .0363}, {10, 27, .0083}} {
		if got := kendallTail(c.s, c.n); math.Abs(got-c.p) > 6e-5 {
			t.Errorf("P(S >= %d), n = %d: %v, want %v", c.s, c.n, got, c.p)
		}
	}
	wantNear(t, "14 of 120", kendallTail(6, 5), 14./120, 1e-14)
}

// R's datasets::Nile. Cobb, Biometrika 65 (1978) 243, places the change in 1898.
func TestNile(t *testing.T) {
	b := readTable(t, "nile.csv", 100)
	flow, year := b.numbers("flow"), b.numbers("year")
	m, err := MannKendall(flow)
	if err != nil || m.S != -1387 || !near(m.Variance, 112728.33333333333, 1e-12) || !near(m.Z, -4.12806652, 2e-9) || !near(m.Tau, -.280741334725, 1e-11) {
		t.Errorf("%+v (%v)", m, err)
	}
	if slope, err := SenSlope(flow); err != nil || !near(slope, -2.6, 1e-12) {
		t.Errorf("Sen's slope %v (%v), want -2.6", slope, err)
	}
	c, err := Pettitt(flow)
	if err != nil || c.K != 1617 || c.After != 28 || year[c.After-1] != 1898 || c.Rose || !near(c.P, 3.59102217694e-7, 1e-10) {
		t.Errorf("%+v (%v), want K 1617 after 28 values", c, err)
	}
}

// Weil (1970) as in Williams, Biometrics 31 (1975) 949. Means and correlations
// are mpmath's roots of the score, to 40 digits, since R's VGAM::betabinomial
// stops at the seventh; the rest is from R.
func TestOverdispersionPublished(t *testing.T) {
	b := readTable(t, "weil1970_rats.csv", 32)
	group, n, alive := b.text("group"), b.numbers("n"), b.numbers("alive")
	batches := map[string][]Counts{}
	for i := range n {
		batches[group[i]] = append(batches[group[i]], Counts{int(alive[i]), int(n[i])})
	}
	for _, c := range []struct {
		group                                        string
		x, n                                         int
		pearson, p, factor, mean, rho, bb, bin, zeta float64
		digits                                       float64
	}{
		{"control", 142, 158, 19.0112642737, .213223895192766, 1.2674176182, .8979759614543114, .02019644825151943, -21.2535279782, -21.3632500501, .45117916, 1e-10},
		{"treated", 112, 145, 61.6240998810, 1.32317961569536e-7, 4.1082733254, .7400067593, .3174357713, -31.5316890250, -44.3112969079, 7.92974251, 5e-8},
	} {
		d, err := Overdispersion(batches[c.group])
		if err != nil {
			t.Fatal(err)
		}
		if d.Pooled != (Counts{c.x, c.n}) || d.Batches != 16 {
			t.Errorf("%s: %+v", c.group, d)
		}
		wantNear(t, c.group+": Pearson", d.Pearson, c.pearson, 1e-11)
		wantNear(t, c.group+": its p", d.P, c.p, 1e-9)
		wantNear(t, c.group+": factor", d.Factor, c.factor, 1e-10)
		wantNear(t, c.group+": mean", d.Mean, c.mean, c.digits)
		wantNear(t, c.group+": correlation", d.Correlation, c.rho, c.digits)
		wantNear(t, c.group+": log-likelihood", d.LogLikelihood, c.bb, 1e-10)
		wantNear(t, c.group+": binomial", d.Independent, c.bin, 1e-10)
		wantNear(t, c.group+": Tarone", d.Tarone, c.zeta, 1e-8)
	}
	w, err := Widened(batches["treated"], .95)
	if err != nil || !w.Widened || w.Interval.Low >= w.Plain.Low || w.Interval.High <= w.Plain.High || !strings.Contains(w.Sentence(), "not independent") {
		t.Errorf("treated: %+v (%v) %s", w, err, w.Sentence())
	}
	w, err = Widened(batches["control"], .95)
	if err != nil || w.Widened || w.Interval != w.Plain {
		t.Errorf("control: %+v (%v)", w, err)
	}
}

// Reynolds and Stoumbos, J. Qual. Technol. 31 (1999) 87, for the increments; run
// lengths by a Markov chain and by propagation, which agree to eight decimals.
func TestCUSUMRunLengths(t *testing.T) {
	for _, c := range []struct{ good, bad, r1, r2, ratio float64 }{
		{.01, .05, .0412429585, 1.6506808710, 40.02333803},
		{.005, .02, .0151901655, 1.4014845266, 92.26262394},
		{.001, .01, .0090498355, 2.3116349285, 255.43391628},
		{.05, .2, .1718502569, 1.5581446180, 9.06687395},
	} {
		r1, r2 := cusumIncrements(c.good, c.bad)
		wantNear(t, "r1", r1, c.r1, 1e-8)
		wantNear(t, "r2", r2, c.r2, 1e-9)
		wantNear(t, "m", r2/r1, c.ratio, 1e-9)
	}
	b := readTable(t, "bernoulli_cusum_arl.csv", 49)
	m, h, p, want := b.numbers("m"), b.numbers("H"), b.numbers("p"), b.numbers("expected_trials")
	for i := range m {
		// The file was computed in floating point by solving the chain's equations,
		// which loses digits in proportion to the run length.
		wantNear(t, fmt.Sprintf("m %v, H %v, p %v", m[i], h[i], p[i]), CUSUMRunLength(int(m[i]), int(h[i]), p[i]), want[i], max(1e-9, want[i]*5e-18))
	}
	// The longest of them solved by mpmath to 50 digits.
	wantNear(t, "m 9, H 27, p .001", CUSUMRunLength(9, 27, .001), 17537893222.779823426, 1e-12)
	wantNear(t, "m 9, H 27, p .005", CUSUMRunLength(9, 27, .005), 26214515.940559762, 1e-12)
	// k failures in a row: with weight 2 and limit k the sum only survives unbroken
	// runs for k = 2, where a good start from 1 leads to 0.
	wantNear(t, "2 in a row", CUSUMRunLength(2, 2, .1), 110, 1e-12)
	c, err := NewCUSUM(.01, .05, 3000)
	if err != nil {
		t.Fatal(err)
	}
	if c.Weight != 40 || c.GoodRunLength < 3000 || CUSUMRunLength(40, c.Limit-1, .01) >= 3000 {
		t.Errorf("%+v", c)
	}
	// Two failures 20 cycles apart take the chart over 40+20.
	signals := 0
	for i := range 500 {
		if c.Add(i%20 == 0) {
			signals++
		}
	}
	if signals == 0 {
		t.Error("5 % failures never signal")
	}
	for i := range 500 {
		if c.Add(i%400 == 399) {
			t.Error("a single failure signals")
		}
	}
	for _, bad := range [][3]float64{{.05, .01, 1000}, {0, .1, 1000}, {.1, 1, 1000}, {.01, .05, 0}, {.01, .05, math.NaN()}, {.01, .0100001, 1e9}, {1e-9, 2e-9, 100}, {1e-300, 2e-300, 100}} {
		if _, err := NewCUSUM(bad[0], bad[1], bad[2]); !isRefusal(err, "") {
			t.Errorf("%v: %v", bad, err)
		}
	}
}
