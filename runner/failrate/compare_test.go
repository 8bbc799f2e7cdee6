package failrate

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestFisherExact(t *testing.T) {
	for _, c := range []struct {
		source     string
		a, b, c, d int // table [[a, b], [c, d]]
		want       float64
	}{
		{"Fisher's tea tasting, Agresti (1990) p. 61; R prints 0.4857", 3, 1, 1, 3, .485714285714},
		{"Fisher's twins, R fisher.test prints 0.0005367", 2, 15, 10, 3, .000536724119143},
		{"scipy documentation of barnard_exact", 7, 12, 8, 3, .128135932034},
		{"scipy documentation of boschloo_exact", 74, 31, 43, 32, .081794674955},
		{"computed with R and scipy", 12, 288, 3, 297, .0329535715791},
		{"computed with R and scipy", 5, 295, 0, 300, .0614592159462},
		{"Barnard (1945)", 3, 0, 0, 3, .1},
		{"aspirin trial, Agresti (1990)", 189, 10845, 104, 10933, 5.03283559972e-7},
	} {
		if got := FisherExact(c.a, c.a+c.b, c.c, c.c+c.d); !near(got, c.want, 1e-11) {
			t.Errorf("[[%d %d] [%d %d]]: p = %.13g, want %.13g (%s)", c.a, c.b, c.c, c.d, got, c.want, c.source)
		}
	}
}

func TestFisherExactProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		nA := rapid.IntRange(0, 400).Draw(t, "nA")
		nB := rapid.IntRange(0, 400).Draw(t, "nB")
		a := rapid.IntRange(0, nA).Draw(t, "failA")
		b := rapid.IntRange(0, nB).Draw(t, "failB")
		p := FisherExact(a, nA, b, nB)
		if !(p > 0 && p <= 1) {
			t.Fatalf("p = %v", p)
		}
		for name, other := range map[string]float64{
			"A and B exchanged":                FisherExact(b, nB, a, nA),
			"failures and successes exchanged": FisherExact(nA-a, nA, nB-b, nB),
		} {
			if !near(other, p, 1e-9) {
				t.Fatalf("%s: p = %v, was %v", name, other, p)
			}
		}
		if nA == 0 || nB == 0 || a+b == 0 || a+b == nA+nB {
			if math.Abs(p-1) > 1e-12 {
				t.Fatalf("nothing to compare, yet p = %v", p)
			}
		}
	})
}

// Under the null hypothesis p <= level happens with probability at most level.
func TestFisherExactLevel(t *testing.T) {
	for _, rate := range []float64{.02, .1, .5} {
		const nA, nB = 25, 40
		wa, wb := pmf(nA, rate), pmf(nB, rate)
		var rejected float64
		for a := range wa {
			for b := range wb {
				if FisherExact(a, nA, b, nB) <= .05 {
					rejected += wa[a] * wb[b]
				}
			}
		}
		if rejected > .05 {
			t.Errorf("rate %v: rejects a true null with probability %v at level 0.05", rate, rejected)
		}
	}
}

func TestHolm(t *testing.T) {
	for _, c := range []struct {
		source  string
		p, want []float64
		within  float64
	}{
		{"textbook example; R p.adjust and statsmodels multipletests agree",
			[]float64{.01, .04, .03, .005}, []float64{.03, .06, .06, .02}, 1e-12},
		{"data of Benjamini and Hochberg, JRSS-B 57 (1995) 289; R p.adjust",
			[]float64{.0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344, .0459, .3240, .4262, .5719, .6528, .7590, 1},
			[]float64{.0015, .0056, .0247, .114, .2211, .278, .278, .278, .3213, 1, 1, 1, 1, 1, 1}, 1e-12},
	} {
		got := Holm(c.p)
		for i := range c.want {
			if math.Abs(got[i]-c.want[i]) > c.within {
				t.Errorf("%s: p[%d] = %v adjusted to %v, want %v", c.source, i, c.p[i], got[i], c.want[i])
			}
		}
	}
	got := Holm([]float64{.02, math.NaN(), .01})
	if got[0] != .02 || !math.IsNaN(got[1]) || got[2] != .02 {
		t.Errorf("a comparison not made is to be left out: %v", got)
	}
	if got := Holm(nil); len(got) != 0 {
		t.Errorf("no comparisons: %v", got)
	}
}
