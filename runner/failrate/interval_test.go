package failrate

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// near reports whether got is want to within rel, relative.
func near(got, want, rel float64) bool {
	return got == want || math.Abs(got-want) <= rel*math.Abs(want)
}

func TestTwoSidedPublished(t *testing.T) {
	for _, c := range []struct {
		source                  string
		failures, cycles        int
		confidence              float64
		low, high               float64 // recomputed, ten digits
		printedLow, printedHigh string
	}{
		{"NIST/SEMATECH e-Handbook 7.2.4.1 (it prints 0.401029 for the upper limit, off by one in the last digit)",
			4, 20, .90, .0713538843, .4010281173, ".071354", ".401028"},
		{"Newcombe, Statist. Med. 17 (1998) 857, Table I", 81, 263, .95, .2527367456, .3676219226, ".2527", ".3676"},
		{"Newcombe, Statist. Med. 17 (1998) 857, Table I", 15, 148, .95, .0578440101, .1616504903, ".0578", ".1617"},
		{"Newcombe, Statist. Med. 17 (1998) 857, Table I", 0, 20, .95, 0, .1684334710, "0", ".1684"},
		{"Newcombe, Statist. Med. 17 (1998) 857, Table I", 1, 29, .95, .0008726469, .1776442955, ".0009", ".1776"},
		{"computed with R and scipy", 0, 10, .95, 0, .3084971078, "", ""},
		{"computed with R and scipy", 1, 10, .95, .0025285785, .4450161170, "", ""},
		{"computed with R and scipy", 5, 10, .95, .1870860284, .8129139716, "", ""},
		{"computed with R and scipy", 10, 10, .95, .6915028922, 1, "", ""},
		{"computed with R and scipy", 29, 29, .95, .8805551309, 1, "", ""},
		{"computed with R and scipy", 0, 100, .95, 0, .0362166926, "", ""},
		{"computed with R and scipy", 0, 300, .95, 0, .0122209747, "", ""},
		{"computed with R and scipy", 3, 1000, .95, .0006190999, .0087420232, "", ""},
		{"scipy documentation, BinomTestResult.proportion_ci", 7, 50, .95, 0.05819170033997342, 0.26739600249700846, "", ""},
		{"Conover (1971) p. 97, example of R's binom.test", 682, 925, .95, .7076683, .7654066, "", ""},
	} {
		iv := TwoSided(c.failures, c.cycles, c.confidence)
		if math.Abs(iv.Low-c.low) > 6e-8 || math.Abs(iv.High-c.high) > 6e-8 ||
			(c.failures != 682 && (math.Abs(iv.Low-c.low) > 6e-11 || math.Abs(iv.High-c.high) > 6e-11)) {
			t.Errorf("%d/%d: [%.12f, %.12f], want [%v, %v] (%s)", c.failures, c.cycles, iv.Low, iv.High, c.low, c.high, c.source)
		}
		for _, p := range []struct {
			printed string
			got     float64
		}{{c.printedLow, iv.Low}, {c.printedHigh, iv.High}} {
			if _, decimals, ok := strings.Cut(p.printed, "."); ok &&
				strings.TrimPrefix(strconv.FormatFloat(p.got, 'f', len(decimals), 64), "0") != p.printed {
				t.Errorf("%d/%d: %v does not round to the printed %s (%s)", c.failures, c.cycles, p.got, p.printed, c.source)
			}
		}
		if iv.OneSided || iv.Confidence != c.confidence {
			t.Errorf("%d/%d: %+v is not two-sided at %v", c.failures, c.cycles, iv, c.confidence)
		}
	}
}

// The grid holds 26 counts at four confidences, computed with R's qbeta, qnorm
// and uniroot.
func TestIntervalGrid(t *testing.T) {
	grid := readTable(t, "binom_ci_grid.csv", 104)
	failures, cycles, confidence := grid.numbers("x"), grid.numbers("n"), grid.numbers("conf")
	for _, m := range []struct {
		column string
		of     func(failures, cycles int, confidence float64) Interval
	}{{"cp", TwoSided}, {"wilson", Wilson}, {"jeffreys", Jeffreys}, {"midp", MidP}} {
		low, high := grid.numbers(m.column+"_lo"), grid.numbers(m.column+"_hi")
		for i := range low {
			iv := m.of(int(failures[i]), int(cycles[i]), confidence[i])
			// The file has twelve digits, more than the beta function for n = 100000.
			// The lower limit of Wilson's after no failure is 0; R leaves 1e-17 of it.
			if !near(iv.Low, low[i], 1e-10) && math.Abs(iv.Low-low[i]) > 1e-16 || !near(iv.High, high[i], 1e-10) {
				t.Errorf("%s, %v/%v at %v: [%.13g, %.13g], want [%v, %v]", m.column, failures[i], cycles[i], confidence[i], iv.Low, iv.High, low[i], high[i])
			}
		}
	}
}

// One-sided upper limits after no failure, 1-(1-C)^(1/n).
func TestZeroFailures(t *testing.T) {
	for _, c := range []struct {
		n                      int
		c95, c90, c99, twoSide float64
	}{
		{10, 0.2588655509, 0.2056717653, 0.3690426555, 0.3084971078},
		{20, 0.1391083407, 0.1087490619, 0.2056717653, 0.1684334710},
		{30, 0.0950338529, 0.0738812719, 0.1423041014, 0.1157033082},
		{59, 0.0495076099, 0.0382751289, 0.0750852723, 0.0606089010},
		{100, 0.0295130496, 0.0227627790, 0.0450074140, 0.0362166926},
		{299, 0.0099691468, 0.0076713771, 0.0152839042, 0.0122615959},
		{300, 0.0099360819, 0.0076459039, 0.0152333479, 0.0122209747},
		{1000, 0.0029912495, 0.0022999362, 0.0045945826, 0.0036820839},
		{3000, 0.0009980790, 0.0007672339, 0.0015338791, 0.0012288708},
	} {
		for conf, want := range map[float64]float64{.95: c.c95, .90: c.c90, .99: c.c99} {
			none, all := ClopperPearson(0, c.n, conf), ClopperPearson(c.n, c.n, conf)
			if math.Abs(none.High-want) > 6e-11 || none.Low != 0 || !none.OneSided {
				t.Errorf("0/%d at %v: %+v, want a one-sided high of %v", c.n, conf, none, want)
			}
			if math.Abs(all.Low-(1-want)) > 6e-11 || all.High != 1 || !all.OneSided {
				t.Errorf("%d/%d at %v: %+v, want a one-sided low of %v", c.n, c.n, conf, all, 1-want)
			}
		}
		if got := TwoSided(0, c.n, .95); math.Abs(got.High-c.twoSide) > 6e-11 || got.OneSided {
			t.Errorf("0/%d two-sided: %+v, want a high of %v", c.n, got, c.twoSide)
		}
	}
}

// With one failure the lower limit, and with one success the upper, has a
// closed form; so has the limit after none. They hold to 1e-9 relative for the
// rarest failures a bench could ever count.
func TestRareFailures(t *testing.T) {
	for _, n := range []int{2, 10, 1000, 10_000, 100_000, 1_000_000} {
		want := -math.Expm1(math.Log1p(-.025) / float64(n))
		if got := TwoSided(1, n, .95); !near(got.Low, want, 1e-9) {
			t.Errorf("1/%d: low %.15g, want %.15g", n, got.Low, want)
		}
		if got := TwoSided(n-1, n, .95); !near(got.High, 1-want, 1e-15) {
			t.Errorf("%d/%d: high %.17g, want %.17g", n-1, n, got.High, 1-want)
		}
		want = -math.Expm1(math.Log(.05) / float64(n))
		if got := ClopperPearson(0, n, .95); !near(got.High, want, 1e-12) {
			t.Errorf("0/%d: high %.15g, want %.15g", n, got.High, want)
		}
	}
	// In the limit of rare failures the count is Poisson: 1 failure has
	// chi-square limits qchisq(.975, 4)/2 = 5.57164339 (R), to order x/n.
	if got := TwoSided(1, 100_000, .95).High * 100_000; math.Abs(got-5.57164339) > 2e-4 {
		t.Errorf("1/100000: high %v per 100000, want 5.5716", got)
	}
}

func TestIntervalProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 20_000).Draw(t, "cycles")
		x := rapid.IntRange(0, n-1).Draw(t, "failures")
		conf := rapid.Float64Range(.5, .9999).Draw(t, "confidence")
		a, b := TwoSided(x, n, conf), TwoSided(x+1, n, conf)
		if !(0 <= a.Low && a.Low <= a.Estimate && a.Estimate <= a.High && a.High <= 1) {
			t.Fatalf("%+v is not in order", a)
		}
		if !(a.Low < b.Low && a.High < b.High) {
			t.Fatalf("one failure more does not raise both limits: %+v then %+v", a, b)
		}
		if mirror := TwoSided(n-x, n, conf); math.Abs(mirror.Low-(1-a.High)) > 1e-10 || math.Abs(mirror.High-(1-a.Low)) > 1e-10 {
			t.Fatalf("failures and successes exchanged: %+v against %+v", a, mirror)
		}
		if longer := TwoSided(x, n+1, conf); !(longer.High < a.High) {
			t.Fatalf("one good start more does not lower the upper limit: %+v then %+v", a, longer)
		}
		if surer := TwoSided(x, n, conf+(1-conf)/2); !(surer.High > a.High && surer.Low <= a.Low) {
			t.Fatalf("more confidence does not widen: %+v then %+v", a, surer)
		}
	})
}
