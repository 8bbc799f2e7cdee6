package failrate

import (
	"math"
	"testing"
)

// The tables of Fisher's exact test, [[a, b], [c, d]] as failures and good
// starts of A and of B. Conditional estimates and exact limits were computed
// with mpmath to 40 digits: R's fisher.test stops at its root finder's default
// tolerance, three to five digits (626.2435 is 621.93 there).
var fisherTables = []struct {
	source              string
	a, b, c, d          int
	less, greater       float64 // NaN: not given
	estimate, low, high float64
	sample, wLow, wHigh float64 // sample odds ratio and Woolf's limits
}{
	{source: "Fisher's tea tasting, Agresti (1990) p. 61", a: 3, b: 1, c: 1, d: 3, less: math.NaN(), greater: .242857142857,
		estimate: 6.4083196582, low: .211735595447, high: 626.243530589, sample: 9, wLow: .3666369319, wHigh: 220.9270069},
	{source: "Fisher's twins, R fisher.test", a: 2, b: 15, c: 10, d: 3, less: .000465180943363, greater: math.NaN(),
		estimate: .0469366390497, low: .00331716395066, high: .363189602357, sample: .04, wLow: .005634539764, wHigh: .2839628554},
	{source: "scipy documentation of barnard_exact", a: 7, b: 12, c: 8, d: 3, less: .064067966017, greater: math.NaN(),
		estimate: .230941940959, low: .0292928718458, high: 1.37727170243, sample: .21875, wLow: .04322135161, wHigh: 1.10712786},
	{source: "scipy documentation of boschloo_exact", a: 74, b: 31, c: 43, d: 32, less: math.NaN(), greater: .048312210087,
		estimate: 1.77064469666, low: .910538119845, high: 3.46089869628, sample: 1.776444111, wLow: .9550033869, wHigh: 3.304442396},
	{source: "computed with mpmath", a: 12, b: 288, c: 3, d: 297, less: math.NaN(), greater: .0164767857896,
		estimate: 4.11647351089, low: 1.09540679253, high: 22.9642711424, sample: 4.125, wLow: 1.152085506, wHigh: 14.76941157},
	{source: "computed with mpmath; Haldane's half for Woolf", a: 5, b: 295, c: 0, d: 300, less: math.NaN(), greater: .0307296079731,
		estimate: math.Inf(1), low: .922272193747, high: math.Inf(1), sample: 11.18612521, wLow: .6157993713, wHigh: 203.1983193},
	{source: "Barnard (1945)", a: 3, b: 0, c: 0, d: 3, less: math.NaN(), greater: .05,
		estimate: math.Inf(1), low: .647976183684, high: math.Inf(1), sample: 49, wLow: math.NaN(), wHigh: math.NaN()},
	{source: "aspirin trial, Agresti (1990)", a: 189, b: 10845, c: 104, d: 10933, less: math.NaN(), greater: 3.25271090546e-7,
		estimate: 1.83200505528, low: 1.43233721167, high: 2.35390542827, sample: 1.832053942, wLow: 1.440042392, wHigh: 2.330779750},
}

func sameOrAbsent(got, want, rel float64) bool { return math.IsNaN(want) || near(got, want, rel) }

func TestFisherTables(t *testing.T) {
	for _, c := range fisherTables {
		a, b := Counts{c.a, c.a + c.b}, Counts{c.c, c.c + c.d}
		less, greater, err := FisherOneSided(a, b)
		if err != nil || !sameOrAbsent(less, c.less, 1e-11) || !sameOrAbsent(greater, c.greater, 1e-11) {
			t.Errorf("%v against %v: less %.12g, greater %.12g (%v), want %v, %v (%s)", a, b, less, greater, err, c.less, c.greater, c.source)
		}
		exact, err := OddsRatioExact(a, b, .95)
		if err != nil || !near(exact.Estimate, c.estimate, 2e-11) || !near(exact.Low, c.low, 2e-11) || !near(exact.High, c.high, 2e-11) {
			t.Errorf("%v against %v: exact odds ratio %+v (%v), want %v [%v, %v] (%s)", a, b, exact, err, c.estimate, c.low, c.high, c.source)
		}
		woolf, err := OddsRatioWoolf(a, b, .95)
		if err != nil || !near(woolf.Estimate, c.sample, 1e-9) || !sameOrAbsent(woolf.Low, c.wLow, 1e-9) || !sameOrAbsent(woolf.High, c.wHigh, 1e-9) {
			t.Errorf("%v against %v: odds ratio %+v (%v), want %v [%v, %v] (%s)", a, b, woolf, err, c.sample, c.wLow, c.wHigh, c.source)
		}
	}
	// The twins at 99 %, and one-sided: the limit that leaves 5 % on one side is that of 90 %.
	twins := func(confidence float64) Interval {
		iv, err := OddsRatioExact(Counts{2, 17}, Counts{10, 13}, confidence)
		if err != nil {
			t.Fatal(err)
		}
		return iv
	}
	if iv := twins(.99); !near(iv.Low, .00137185331426, 2e-11) || !near(iv.High, .57885185535, 2e-11) {
		t.Errorf("twins at 99 %%: %+v", iv)
	}
	if iv := twins(.90); !near(iv.High, .28495954562, 2e-11) {
		t.Errorf("twins one-sided: %+v", iv)
	}
	if iv, _ := OddsRatioExact(Counts{3, 4}, Counts{1, 4}, .90); !near(iv.Low, .313573767505, 2e-11) {
		t.Errorf("tea one-sided: %+v", iv)
	}
}

// A dense nuisance grid with local maximisation. scipy's default grid misses
// the maximum for 7/15 against 12/15 (.0340767).
func TestUnconditional(t *testing.T) {
	for _, c := range []struct {
		a, b                         Counts
		greater, less, two, boschloo float64
	}{
		{Counts{3, 4}, Counts{1, 4}, .1445312500, math.NaN(), .2890625000, .1445312500},
		{Counts{3, 3}, Counts{0, 3}, 1. / 64, math.NaN(), .03125, 1. / 64},
		{Counts{7, 15}, Counts{12, 15}, math.NaN(), .0341091547, .0682183093, .0341091547},
		{Counts{2, 12}, Counts{15, 18}, math.NaN(), .0001528880, .0002801996, .0001528880},
		{Counts{74, 117}, Counts{31, 63}, .0469159540, math.NaN(), .0701483809, .0355640643},
		{Counts{5, 300}, Counts{0, 300}, .0129527986, math.NaN(), .0259055973, .0274616329},
		{Counts{12, 300}, Counts{3, 300}, .0099442062, math.NaN(), .0198884125, .0140510137},
		{Counts{2, 50}, Counts{0, 50}, .1043290786, math.NaN(), .2086581571, .1922991400},
		{Counts{6, 60}, Counts{1, 60}, .0313134589, math.NaN(), .0626269179, .0412044793},
	} {
		barnard, err := Barnard(c.a, c.b)
		const printed = 6e-11 // ten decimals
		off := func(got, want float64) bool { return !math.IsNaN(want) && math.Abs(got-want) > printed }
		if err != nil || off(barnard.Greater, c.greater) || off(barnard.Less, c.less) || off(barnard.TwoSided, c.two) {
			t.Errorf("Barnard %v against %v: %+v (%v), want greater %v, less %v, two-sided %v", c.a, c.b, barnard, err, c.greater, c.less, c.two)
		}
		boschloo, err := Boschloo(c.a, c.b)
		if err != nil || off(min(boschloo.Less, boschloo.Greater), c.boschloo) || off(boschloo.TwoSided, 2*c.boschloo) && math.Abs(boschloo.TwoSided-2*c.boschloo) > 2*printed {
			t.Errorf("Boschloo %v against %v: %+v (%v), want %v one-sided", c.a, c.b, boschloo, err, c.boschloo)
		}
	}
}

func BenchmarkBoschloo5000(b *testing.B) {
	for b.Loop() {
		if _, err := Boschloo(Counts{230, 5000}, Counts{180, 5000}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkBarnard5000(b *testing.B) {
	for b.Loop() {
		if _, err := Barnard(Counts{230, 5000}, Counts{180, 5000}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkFisher5000(b *testing.B) {
	for b.Loop() {
		FisherExact(2300, 5000, 2180, 5000)
		if _, err := OddsRatioExact(Counts{2300, 5000}, Counts{2180, 5000}, .95); err != nil {
			b.Fatal(err)
		}
	}
}
