package failrate

import (
	"math"
	"strings"
	"testing"
)

// beetles returns the data of Bliss, Ann. Appl. Biol. 22 (1935) 134. Copies with
// 52 or 60 for the counts 53 and 61 are about; they give other fits.
func beetles(t *testing.T) []Dose {
	b := readTable(t, "beetles_bliss1935.csv", 8)
	x, n, y := b.numbers("log10_dose"), b.numbers("n"), b.numbers("killed")
	var doses []Dose
	for i := range x {
		doses = append(doses, Dose{x[i], Counts{int(y[i]), int(n[i])}})
	}
	return doses
}

// R glm with epsilon 1e-14, statsmodels GLM agrees to ten digits. Dobson, An
// Introduction to Generalized Linear Models, prints -60.72 (5.18), 34.27 (2.91),
// D = 11.23; -34.94, 19.73, D = 10.12; -39.57 (3.24), 22.04 (1.80), D = 3.45.
func TestFitBeetles(t *testing.T) {
	for _, c := range []struct {
		link                         Link
		b0, e0, b1, e1               float64
		deviance, pearson, logLik    float64
		cov00, cov01, cov11, rel2    float64
		ld50, delta, dLow, dHigh, g  float64
		fLow, fHigh, profLow, profHi float64
	}{
		{Logit, -60.71745456, 5.180711463, 34.27032573, 2.912140071, 11.2322310974, 10.0268175856, -18.7151346573,
			26.83977127, -15.08215101, 8.480559791, 1e-9,
			1.7717209644, .0038580553, 1.7641593150, 1.7792826139, .0277385808, 1.7638581718, 1.7792004754, 1.7639821036, 1.7791872458},
		{Probit, -34.93525890, 2.647917799, 19.72793421, 1.487235041, 10.1197581130, 9.5134269625, -18.1588981650,
			7.011468673, -3.936543852, 2.211868068, 1e-9,
			1.7708523622, .0038033368, 1.7633979590, 1.7783067653, .0218319325, 1.7631143195, 1.7781938005, math.NaN(), math.NaN()},
		{Cloglog, -39.57231061, 3.240272620, 22.04116982, 1.799355191, 3.4464387330, 3.2946938337, -14.8222384751,
			10.49936665, -5.82865149, 3.237679103, 1e-9,
			math.NaN(), 0, 0, 0, 0, 0, 0, 0, 0},
	} {
		f, err := FitThreshold(beetles(t), c.link)
		if err != nil {
			t.Fatal(err)
		}
		name := string(c.link) + " "
		wantNear(t, name+"intercept", f.Intercept, c.b0, 1e-9)
		wantNear(t, name+"its error", f.InterceptError, c.e0, 1e-9)
		wantNear(t, name+"slope", f.Slope, c.b1, 1e-9)
		wantNear(t, name+"its error", f.SlopeError, c.e1, 1e-9)
		wantNear(t, name+"deviance", f.Deviance, c.deviance, 1e-9)
		wantNear(t, name+"Pearson", f.Pearson, c.pearson, 1e-9)
		wantNear(t, name+"log-likelihood", f.LogLikelihood, c.logLik, 1e-9)
		wantNear(t, name+"cov 00", f.Covariance[0][0], c.cov00, c.rel2)
		wantNear(t, name+"cov 01", f.Covariance[0][1], c.cov01, c.rel2)
		wantNear(t, name+"cov 11", f.Covariance[1][1], c.cov11, c.rel2)
		if f.Degrees != 6 {
			t.Errorf("%s: %d degrees of freedom, want 6", c.link, f.Degrees)
		}
		if math.IsNaN(c.ld50) {
			continue
		}
		v, err := f.Volts(.5, .95)
		if err != nil {
			t.Fatal(err)
		}
		wantNear(t, name+"LD50", v.Volts, c.ld50, 1e-10)
		wantNear(t, name+"delta error", v.Error, c.delta, 1e-7)
		wantNear(t, name+"delta low", v.Delta.Low, c.dLow, 1e-10)
		wantNear(t, name+"delta high", v.Delta.High, c.dHigh, 1e-10)
		wantNear(t, name+"Fieller g", v.FiellerG, c.g, 1e-8)
		wantNear(t, name+"Fieller low", v.Fieller.Low, c.fLow, 1e-10)
		wantNear(t, name+"Fieller high", v.Fieller.High, c.fHigh, 1e-10)
		if !math.IsNaN(c.profLow) {
			wantNear(t, name+"profile low", v.Profile.Low, c.profLow, 1e-9)
			wantNear(t, name+"profile high", v.Profile.High, c.profHi, 1e-9)
		}
	}
	f, _ := FitThreshold(beetles(t), Logit)
	for _, q := range [][3]float64{{.10, 1.7076064709, .0071264769}, {.25, 1.7396637177, .0050413299}, {.75, 1.8037782112, .0043812584},
		{.90, 1.8358354580, .0061925366}, {.99, 1.9058054749, .0114759965}} {
		v, err := f.Volts(q[0], .95)
		if err != nil || !near(v.Volts, q[1], 1e-10) || !near(v.Error, q[2], 1e-8) {
			t.Errorf("quantile %v: %v (%v) %v, want %v (%v)", q[0], v.Volts, v.Error, err, q[1], q[2])
		}
	}
	// The misprinted copies, for recognition.
	for _, c := range []struct {
		row, count       int
		b0, b1, deviance float64
	}{{5, 52, -59.86897891, 33.78375201, 11.474111}, {6, 60, -59.5177226, 33.58630081, 9.845013}} {
		doses := beetles(t)
		doses[c.row].Failures = c.count
		f, err := FitThreshold(doses, Logit)
		if err != nil || !near(f.Intercept, c.b0, 2e-9) || !near(f.Slope, c.b1, 2e-9) || !near(f.Deviance, c.deviance, 1e-7) {
			t.Errorf("misprint %d: %+v (%v)", c.count, f, err)
		}
	}
}

func dosesOf(volts []float64, cycles int, failures ...int) []Dose {
	var doses []Dose
	for i, v := range volts {
		doses = append(doses, Dose{v, Counts{failures[i], cycles}})
	}
	return doses
}

// R brglm2, type AS_mean, and a Newton iteration of its own agree to ten digits.
func TestFirthPublished(t *testing.T) {
	v := []float64{1.8, 2.0, 2.2, 2.4, 2.6, 2.8}
	ones := []float64{1, 2, 3, 4, 5, 6, 7, 8}
	for _, c := range []struct {
		name                      string
		doses                     []Dose
		b0, e0, b1, e1, threshold float64
	}{
		{"complete separation", dosesOf(v, 50, 50, 50, 50, 0, 0, 0), 106.13107911, 23.34681242, -46.14394744, 10.14119961, 2.3},
		{"near separation", dosesOf(v, 50, 50, 50, 17, 0, 0, 0), 59.45155068, 15.36339701, -27.31785037, 6.99779326, 2.17628949114},
		{"one cycle each", dosesOf(ones, 1, 0, 0, 0, 0, 1, 1, 1, 1), -4.64734977, 3.19807985, 1.03274439, .67266478, 4.5},
		{"two groups", []Dose{{0, Counts{0, 300}}, {1, Counts{5, 300}}}, -6.39859493454, 1.417746644, 2.41467418993, 1.481831692, math.NaN()},
	} {
		f, err := FitFirth(c.doses)
		if err != nil {
			t.Fatal(err)
		}
		wantNear(t, c.name+": intercept", f.Intercept, c.b0, 1e-9)
		wantNear(t, c.name+": its error", f.InterceptError, c.e0, 1e-8)
		wantNear(t, c.name+": slope", f.Slope, c.b1, 1e-8)
		wantNear(t, c.name+": its error", f.SlopeError, c.e1, 1e-8)
		half, err := f.Volts(.5, .95)
		if err != nil {
			t.Fatal(err)
		}
		if !math.IsNaN(c.threshold) {
			wantNear(t, c.name+": threshold", half.Volts, c.threshold, 1e-10)
			if p := half.Profile; !(p.Low < half.Volts && half.Volts < p.High) {
				t.Errorf("%s: profile limits %+v about %v", c.name, p, half.Volts)
			}
		}
	}
	// A saturated Firth fit adds one half to every count.
	f, _ := FitFirth([]Dose{{0, Counts{0, 300}}, {1, Counts{5, 300}}})
	wantNear(t, "ln(.5/300.5)", f.Intercept, math.Log(.5/300.5), 1e-11)
	wantNear(t, "ln(5.5/295.5) less that", f.Slope, math.Log(5.5/295.5)-math.Log(.5/300.5), 1e-11)
}

func TestThresholdRefusals(t *testing.T) {
	v := []float64{1.8, 2.0, 2.2, 2.4, 2.6, 2.8}
	for _, c := range []struct {
		name  string
		doses []Dose
		says  string
	}{
		{"no cycles", nil, "run some first"},
		{"none counted", []Dose{{2, Counts{}}, {3, Counts{}}}, "run some first"},
		{"one voltage", dosesOf([]float64{2.2}, 50, 10), "two voltages"},
		{"none failed", dosesOf(v, 50, 0, 0, 0, 0, 0, 0), "go lower"},
		{"all failed", dosesOf(v, 50, 50, 50, 50, 50, 50, 50), "go higher"},
		{"complete separation", dosesOf(v, 50, 50, 50, 50, 0, 0, 0), "Firth"},
		{"nearly complete separation", dosesOf(v, 50, 50, 50, 17, 0, 0, 0), "Firth"},
		{"negative", dosesOf(v, 50, -1, 0, 0, 0, 0, 0), "failures -1"},
		{"more failures than cycles", dosesOf(v, 50, 51, 0, 0, 0, 0, 0), "at most as many"},
		{"no voltage", []Dose{{math.NaN(), Counts{1, 2}}, {3, Counts{1, 2}}}, "voltage NaN"},
	} {
		for _, link := range Links() {
			if f, err := FitThreshold(c.doses, link); !isRefusal(err, c.says) {
				t.Errorf("%s, %s: %+v, %v; want a refusal that says %q", c.name, link, f, err, c.says)
			}
		}
		f, err := FitFirth(c.doses)
		if strings.Contains(c.says, "Firth") {
			if err != nil {
				t.Errorf("%s: Firth's fit refuses: %v", c.name, err)
			}
		} else if !isRefusal(err, c.says) {
			t.Errorf("%s, Firth: %+v, %v; want a refusal that says %q", c.name, f, err, c.says)
		}
	}
	level, err := FitThreshold(dosesOf(v, 50, 5, 5, 5, 5, 5, 5), Logit)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := level.Volts(.5, .95); err == nil && !(math.IsInf(got.Profile.Low, 0) || math.IsInf(got.Profile.High, 0)) {
		t.Errorf("a level rate has a bounded threshold %+v", got)
	}
	if _, err := FitThreshold(beetles(t), "cauchit"); !isRefusal(err, "logit") {
		t.Errorf("unknown link: %v", err)
	}
	f, _ := FitThreshold(beetles(t), Logit)
	if _, err := f.Volts(1.5, .95); !isRefusal(err, "between 0 and 1") {
		t.Errorf("rate 1.5: %v", err)
	}
	if _, err := f.Volts(.5, 95); !isRefusal(err, "confidence") {
		t.Errorf("confidence 95: %v", err)
	}
}

// A curve that hardly rises leaves the threshold unbounded, and says so.
func TestThresholdUnbounded(t *testing.T) {
	f, err := FitThreshold(dosesOf([]float64{2.0, 2.4, 2.8}, 40, 9, 7, 7), Logit)
	if err != nil {
		t.Fatal(err)
	}
	v, err := f.Volts(.5, .95)
	if err != nil {
		t.Fatal(err)
	}
	if v.FiellerG < 1 || !math.IsInf(v.Fieller.Low, -1) || !math.IsInf(v.Fieller.High, 1) {
		t.Errorf("Fieller: %+v", v)
	}
	if !math.IsInf(v.Profile.Low, -1) && !math.IsInf(v.Profile.High, 1) {
		t.Errorf("profile: %+v", v)
	}
	if s := v.Sentence(); !strings.Contains(s, "bound") {
		t.Errorf("sentence %q", s)
	}
}

// R isoreg and fdrtool::monoreg.
func TestPoolAdjacent(t *testing.T) {
	third := 1. / 3
	for _, c := range []struct{ y, w, want []float64 }{
		{[]float64{1, 0, 4, 3, 3, 5, 4, 2, 0}, []float64{1, 1, 1, 1, 1, 1, 1, 1, 1}, []float64{.5, .5, 3, 3, 3, 3, 3, 3, 3}},
		{[]float64{1, 0, 4, 3, 3, 5, 4, 2, 0}, []float64{1, 2, 1, 1, 3, 1, 1, 1, 1}, []float64{third, third, 3, 3, 3, 3, 3, 3, 3}},
		{[]float64{.02, .01, .05, .04, .20, .15, .60, .55, .90, 1}, []float64{50, 100, 60, 40, 20, 80, 50, 50, 10, 30},
			[]float64{.0133333333333333, .0133333333333333, .046, .046, .16, .16, .575, .575, .9, 1}},
	} {
		got, err := PoolAdjacent(c.y, c.w)
		if err != nil || len(got) != len(c.want) {
			t.Fatal(got, err)
		}
		for i := range got {
			wantNear(t, "pooled", got[i], c.want[i], 1e-13)
		}
	}
	// The beetles die in order already.
	doses := beetles(t)
	for i := range doses { // a share that falls with "volts"
		doses[i].Failures = doses[i].Cycles - doses[i].Failures
	}
	steps, err := Isotonic(doses)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range steps {
		wantNear(t, "beetles", s.Fitted, s.Rate(), 1e-13)
	}
	for _, bad := range [][]Dose{nil, {{2, Counts{-1, 3}}}, {{math.Inf(1), Counts{1, 3}}}} {
		if _, err := Isotonic(bad); !isRefusal(err, "") {
			t.Errorf("%v: %v", bad, err)
		}
	}
}

// A threshold between two of many voltages leaves almost all of them without weight. By symmetry 50 % lie midway.
func TestFirthSteep(t *testing.T) {
	for _, each := range []int{1, 7, 200} {
		for voltages := 2; voltages <= 100; voltages += 2 {
			var doses []Dose
			for i := range voltages {
				d := Dose{2 + .02*float64(i), Counts{0, each}}
				if i < voltages/2 {
					d.Failures = each
				}
				doses = append(doses, d)
			}
			fit, err := FitFirth(doses)
			if err != nil {
				t.Errorf("%d voltages, %d cycles each: %v", voltages, each, err)
				continue
			}
			v, err := fit.Volts(.5, .95)
			if err != nil {
				t.Fatal(err)
			}
			wantNear(t, "50 %", v.Volts, 2+.01*float64(voltages-1), 1e-8)
		}
	}
	// One side weighs far more: a step once turned round and round.
	if _, err := FitFirth([]Dose{{2, Counts{4, 4}}, {5.6, Counts{0, 1}}}); err != nil {
		t.Error(err)
	}
}

// Ekaputra et al., Open Engineering 10 (2020) 394, doi 10.1515/eng-2020-0048,
// and Hamada et al., Quality Engineering 31 (2019), doi
// 10.1080/08982112.2018.1551547.
func TestUpDownPublished(t *testing.T) {
	b := readTable(t, "updown_ekaputra2020.csv", 12)
	level, failed := b.numbers("level_MPa"), b.numbers("failed")
	var steps []UpDownStep
	for i := range level {
		steps = append(steps, UpDownStep{level[i], failed[i] == 1})
	}
	e, err := dixonMoodRising(steps, 20)
	if err != nil {
		t.Fatal(err)
	}
	// Levels count from the lowest failure, 280: 2 there and 3 one up. The paper
	// counts from 260, the lowest level, which shifts A and B but no result.
	if e.N != 5 || !e.Failures || math.Abs(e.Mean-282) > 1e-9 || math.Abs(e.Ratio-.24) > 1e-12 || math.Abs(e.Sigma-10.6) > 1e-9 {
		t.Errorf("fatigue: %+v, want N 5, mean 282, ratio .24, sigma 10.6", e)
	}

	b = readTable(t, "updown_hamada2019.csv", 25)
	height, goes := b.numbers("height"), b.numbers("go")
	steps = nil
	doses := map[float64]Counts{}
	for i := range height {
		x := math.Log10(height[i])
		rung := 1.40483 + .05*math.Round((x-1.40483)/.05) // heights as planned; as set they are rounded
		steps = append(steps, UpDownStep{rung, goes[i] == 1})
		doses[x] = doses[x].add(Counts{int(goes[i]), 1})
	}
	e, err = dixonMoodRising(steps, .05)
	if err != nil || e.N != 11 || !e.Failures {
		t.Fatalf("drops: %+v (%v)", e, err)
	}
	wantNear(t, "drops: mean of the goes", e.Mean, 1.52528454545, 1e-11)
	wantNear(t, "drops: sigma of the goes", e.Sigma, .0826795785, 1e-9)
	if other, err := evaluateUpDown(steps, .05, false); err != nil || other.N != 14 || !near(other.Mean, 1.51554428571, 1e-11) || !near(other.Sigma, .0883081837, 1e-9) {
		t.Errorf("drops: no-goes %+v (%v)", other, err)
	}
	// Read the other way round, with no-go as the response, it is the search by voltage.
	for i := range steps {
		steps[i].Failed = !steps[i].Failed
	}
	if v, err := DixonMood(steps, .05); err != nil || v.Mean != e.Mean || v.Failures {
		t.Errorf("by voltage: %+v (%v), want mean %v of the good starts", v, err, e.Mean)
	}

	var list []Dose
	for x, c := range doses {
		list = append(list, Dose{x, c})
	}
	f, err := FitThreshold(list, Probit)
	if err != nil {
		t.Fatal(err)
	}
	// The paper prints R's default stopping point, -20.77376 and 13.56263; with the
	// tightest one R still is off in the ninth digit. These are mpmath's roots of
	// the score, to 40 digits.
	wantNear(t, "intercept", f.Intercept, -20.773810899354265, 1e-12)
	wantNear(t, "slope", f.Slope, 13.562667737706493, 1e-12)
	wantNear(t, "sigma", 1/f.Slope, .073731807841, 2e-8)
	v, err := f.Volts(.5, .95)
	if err != nil {
		t.Fatal(err)
	}
	wantNear(t, "mu", v.Volts, 1.53169061614, 3e-10)
	wantNear(t, "its error", v.Error, .0208130730, 2e-8)
	wantNear(t, "H50", math.Pow(10, v.Volts), 34.0165775164, 1e-9)
	var logLik float64 // the paper's is of the single drops
	for _, d := range list {
		logLik -= logChoose(d.Cycles, d.Failures)
	}
	wantNear(t, "log-likelihood", f.LogLikelihood+logLik, -13.5118395237, 1e-10)
}

// A line through two voltages meets both, and Firth's penalty is then half a failure
// and half a good start more at each (Haldane, Ann. Hum. Genet. 20 (1956) 309), also
// where the search starts far from it.
func TestFirthOfTwoVoltages(t *testing.T) {
	for _, c := range [][4]int{{3, 3, 0, 397}, {11, 11, 0, 368}, {1, 1, 0, 1}, {200, 400, 1, 5}, {399, 400, 0, 2}} {
		f, err := FitFirth([]Dose{{1.8, Counts{c[0], c[1]}}, {2.8, Counts{c[2], c[3]}}})
		if err != nil {
			t.Errorf("%v: %v", c, err)
			continue
		}
		wantNear(t, "rate at 1.8 V", f.Rate(1.8), (float64(c[0])+.5)/(float64(c[1])+1), 1e-9)
		wantNear(t, "rate at 2.8 V", f.Rate(2.8), (float64(c[2])+.5)/(float64(c[3])+1), 1e-9)
	}
}
