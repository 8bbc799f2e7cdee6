package failrate

import "testing"

func admissions(t *testing.T) []Stratum {
	b := readTable(t, "ucbadmissions.csv", 24)
	dept, gender, admit, n := b.text("dept"), b.text("gender"), b.text("admit"), b.numbers("n")
	var strata []Stratum
	for i := range n {
		if len(strata) == 0 || strata[len(strata)-1].Label != dept[i] {
			strata = append(strata, Stratum{Label: dept[i]})
		}
		s := &strata[len(strata)-1]
		side := &s.A
		if gender[i] == "Female" {
			side = &s.B
		}
		side.Cycles += int(n[i])
		if admit[i] == "Admitted" {
			side.Failures += int(n[i])
		}
	}
	return strata
}

// R's datasets::UCBAdmissions; mantelhaen.test, vcd::woolf_test and, for
// Breslow-Day, statsmodels StratifiedTable.test_equal_odds.
func TestStratifiedAdmissions(t *testing.T) {
	s, err := StratifiedTest(admissions(t), .95)
	if err != nil {
		t.Fatal(err)
	}
	wantNear(t, "common odds ratio", s.OddsRatio.Estimate, 0.904696828259, 1e-11)
	wantNear(t, "its lower limit", s.OddsRatio.Low, 0.771907361759, 1e-11)
	wantNear(t, "its upper limit", s.OddsRatio.High, 1.06032976444, 1e-11)
	wantNear(t, "chi-square, corrected", s.ChiSquareCorrected, 1.42694622859, 1e-11)
	wantNear(t, "its p", s.PCorrected, 0.232263462817, 1e-11)
	wantNear(t, "chi-square", s.ChiSquare, 1.52460666044, 1e-11)
	wantNear(t, "its p", s.P, 0.216923697055, 1e-11)
	wantNear(t, "exact p", s.Exact, 0.2277625, 2e-7)
	if _, failures := stratifiedMargin(admissions(t)); failures != 1198 {
		t.Errorf("exact statistic S = %d, want 1198", failures)
	}
	h := s.Homogeneity
	wantNear(t, "Woolf", h.Woolf, 17.901712, 3e-8)
	wantNear(t, "its p", h.WoolfP, 0.003072142, 2e-7)
	wantNear(t, "Breslow-Day", h.BreslowDay, 18.8255137052, 1e-11)
	wantNear(t, "its p", h.BreslowDayP, 0.00207139035, 3e-9)
	wantNear(t, "Tarone", h.Tarone, 18.8255012521, 1e-11)
	wantNear(t, "its p", h.TaroneP, 0.00207140140, 3e-9)
	if h.Degrees != 5 || len(h.Ratios) != 6 {
		t.Fatalf("%+v", h)
	}
	for i, want := range []float64{.3492120472, .8025007104, 1.1330596474, .9212837561, 1.2216312057, .8278727445} {
		wantNear(t, "odds ratio of "+h.Ratios[i].Label, h.Ratios[i].Ratio, want, 2e-10)
	}
}

// Agresti (1990) pp. 231-237, the example of R's mantelhaen.test; two of the
// five strata say nothing.
func TestStratifiedRabbits(t *testing.T) {
	b := readTable(t, "rabbits_agresti1990.csv", 5)
	cured, died := b.numbers("a_immediate_cured"), b.numbers("b_immediate_died")
	lateCured, lateDied := b.numbers("c_delayed_cured"), b.numbers("d_delayed_died")
	var strata []Stratum
	for i := range cured {
		strata = append(strata, Stratum{
			A: Counts{int(cured[i]), int(cured[i] + died[i])},
			B: Counts{int(lateCured[i]), int(lateCured[i] + lateDied[i])},
		})
	}
	s, err := StratifiedTest(strata, .95)
	if err != nil {
		t.Fatal(err)
	}
	if s.Strata != 3 {
		t.Errorf("%d informative strata, want 3", s.Strata)
	}
	wantNear(t, "chi-square, corrected", s.ChiSquareCorrected, 3.92857142857, 1e-11)
	wantNear(t, "its p", s.PCorrected, .04747226, 2e-7)
	wantNear(t, "chi-square", s.ChiSquare, 5.6571429, 2e-8)
	wantNear(t, "its p", s.P, .01738442, 3e-7)
	wantNear(t, "common odds ratio", s.OddsRatio.Estimate, 7, 1e-12)
	wantNear(t, "its lower limit", s.OddsRatio.Low, 1.026712688, 1e-9)
	wantNear(t, "its upper limit", s.OddsRatio.High, 47.725133380, 1e-9)
	wantNear(t, "exact p", s.Exact, .0399449, 2e-6)
	wantNear(t, "exact one-sided p", s.ExactGreater, .0199724517906, 1e-11)
	// R's root finder stops early: its value is good to some five digits.
	wantNear(t, "conditional odds ratio", s.ExactOddsRatio.Estimate, 10.36102, 1e-5)
}

// Fleiss (1981) p. 139, the example of R's prop.trend.test, which divides the
// variance by N; statsmodels divides by N-1.
func TestTrendPublished(t *testing.T) {
	b := readTable(t, "smokers_fleiss1981.csv", 4)
	smokers, patients := b.numbers("smokers"), b.numbers("patients")
	var groups []Counts
	for i := range smokers {
		groups = append(groups, Counts{int(smokers[i]), int(patients[i])})
	}
	r, err := TrendTest([]float64{1, 2, 3, 4}, groups)
	if err != nil {
		t.Fatal(err)
	}
	wantNear(t, "chi-square", r.ChiSquare, 8.2249223, 2e-8)
	wantNear(t, "its p", r.P, .004131897, 3e-7)
	wantNear(t, "with N-1", r.ChiSquareCorrected, 8.2042045968, 1e-11)
	wantNear(t, "its p", r.PCorrected, .00417934263, 3e-9)
	wantNear(t, "four groups", r.Groups, 12.600411, 4e-8)
	wantNear(t, "its p", r.GroupsP, .005585477, 3e-7)
	if r.GroupsDegrees != 3 || r.Slope >= 0 {
		t.Errorf("%+v", r)
	}
	r, err = TrendTest([]float64{0, 0, 0, 1}, groups)
	if err != nil {
		t.Fatal(err)
	}
	wantNear(t, "last against the rest", r.ChiSquare, 12.173146, 4e-8)
	wantNear(t, "its p", r.P, .0004848246, 3e-7)

	// Graubard and Korn (1987) in Agresti, Categorical Data Analysis, who prints 6.57.
	b = readTable(t, "malformation_graubard1987.csv", 5)
	present, absent := b.numbers("present"), b.numbers("absent")
	groups = nil
	for i := range present {
		groups = append(groups, Counts{int(present[i]), int(present[i] + absent[i])})
	}
	r, err = TrendTest(b.numbers("score"), groups)
	if err != nil {
		t.Fatal(err)
	}
	wantNear(t, "malformations", r.ChiSquare, 6.5701339, 1e-8)
	wantNear(t, "its p", r.P, .01037041, 6e-7)
}

// A run of a million cycles is compared without the long exact sums, and those
// agree where both can be done.
func TestStratifiedLarge(t *testing.T) {
	var strata []Stratum
	for range 10 {
		strata = append(strata, Stratum{A: Counts{5000, 50_000}, B: Counts{4840, 50_000}})
	}
	s, err := StratifiedTest(strata, .95)
	if err != nil || !s.Approximate || s.Exact != s.PCorrected || !(s.ExactGreater < s.ExactLess) {
		t.Errorf("%+v (%v)", s, err)
	}
	few := []Stratum{{A: Counts{2000, 20_000}, B: Counts{1936, 20_000}}, {A: Counts{2000, 20_000}, B: Counts{1936, 20_000}}}
	s, err = StratifiedTest(few, .95)
	if err != nil || s.Approximate || !near(s.Exact, s.PCorrected, 1e-3) || !near(s.ExactOddsRatio.Low, s.OddsRatio.Low, 1e-3) {
		t.Errorf("%+v (%v)", s, err)
	}
	if _, err := Boschloo(Counts{1, 1_000_000}, Counts{1, 10}); !isRefusal(err, "100,000 a side") {
		t.Error(err)
	}
}

// Fits of twenty voltages with fifty thousand cycles each.
func BenchmarkThresholdMillion(b *testing.B) {
	var doses []Dose
	for i := range 20 {
		v := 1.8 + .1*float64(i)
		p, _, _, _ := Logit.at(-(v - 2.4) / .1)
		doses = append(doses, Dose{v, Counts{int(p * 50_000), 50_000}})
	}
	for b.Loop() {
		fit, err := FitFirth(doses)
		if err != nil {
			b.Fatal(err)
		}
		for _, rate := range []float64{.01, .1, .5} {
			if _, err := fit.Volts(rate, .95); err != nil {
				b.Fatal(err)
			}
		}
		for _, link := range Links() {
			if _, err := FitThreshold(doses, link); err != nil {
				b.Fatal(err)
			}
		}
		if _, err := Isotonic(doses); err != nil {
			b.Fatal(err)
		}
	}
}

// The failures of A at which the odds ratio is r solve x (d + x) = r (a - x)(c - x); where r is tiny and B cannot hold
// all failures, x is the surplus c - b and next to nothing on top.
func TestExpectedFailures(t *testing.T) {
	for _, c := range []struct{ nA, nB, fails, ratio, want float64 }{
		{10, 10, 10, 1, 5}, // equal sides
		{30, 10, 8, 1, 6},  // a share of 3 in 4
		{2, 2, 2, 4, 4. / 3},
		{2, 2, 2, .25, 2. / 3},
		{500, 100, 300, 1e-12, 200 + 1e-12*300*100/200},
		{500, 100, 300, 1e12, 300 - 1e-12*300*100/200},
	} {
		wantNear(t, "expected failures", expectedFailures(c.nA, c.nB, c.fails, c.ratio), c.want, 1e-14)
	}
}
