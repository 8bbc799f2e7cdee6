package failrate

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// Units turn from never to always failing within some tenths of a volt, 0.03 to
// 0.12 V for a logit, as oscillators with a poor part do.
//
// A search from 1.8 to 3.6 V reaches the same width as a grid of ten voltages
// with at most a third of the cycles, and its limits hold the truth as often as
// they claim.
func TestSearchAgainstGrid(t *testing.T) {
	units := 30
	if longRun() {
		units = 200
	}
	for _, target := range []struct{ rate, width float64 }{{.5, .1}, {.1, .1}} {
		random := rand.New(rand.NewPCG(6, 10))
		var searched, gridded, held int
		for range units {
			threshold, width := 2.1+1.2*random.Float64(), .03*math.Pow(4, random.Float64())
			fails := func(v float64) bool {
				p, _, _, _ := Logit.at(Logit.eta(target.rate) - (v-threshold)/width)
				return random.Float64() < p
			}
			o := SearchOptions{LowVolts: 1.8, HighVolts: 3.6, StepVolts: .02, Rate: target.rate}
			run := func(next func(s *Search, i int) float64, check int) int {
				s, err := NewSearch(o)
				if err != nil {
					t.Fatal(err)
				}
				for i := 1; ; i++ {
					v := next(s, i)
					if err := s.Add(v, fails(v)); err != nil {
						t.Fatal(err)
					}
					if i%check != 0 {
						continue
					}
					e, err := s.Estimate(.95)
					if err != nil {
						t.Fatal(err)
					}
					if e.Volts.High-e.Volts.Low <= target.width || i >= 4000 {
						if check == 1 && e.Volts.Low <= threshold && threshold <= e.Volts.High {
							held++
						}
						return i
					}
				}
			}
			searched += run(func(s *Search, _ int) float64 { return s.Next() }, 1)
			gridded += run(func(_ *Search, i int) float64 { return 1.8 + .2*float64(i%10) }, 10)
		}
		ratio := float64(searched) / float64(gridded)
		t.Logf("%v: %.0f cycles by search, %.0f by grid (ratio %.3f), limits hold in %d of %d", target.rate, float64(searched)/float64(units), float64(gridded)/float64(units), ratio, held, units)
		if ratio > 1./3 {
			t.Errorf("rate %v: %d cycles by search, %d by grid: more than a third", target.rate, searched, gridded)
		}
		// Stopping at a width picks narrow ones; still the limits have to hold nearly as
		// often as they say: 95 % less three standard errors.
		if least := (.95 - 3*math.Sqrt(.95*.05/float64(units))) * float64(units); float64(held) < least {
			t.Errorf("rate %v: limits of 95 %% hold in %d of %d", target.rate, held, units)
		}
	}
}

func TestSearchRepeats(t *testing.T) {
	o := SearchOptions{LowVolts: 1.8, HighVolts: 3.6, StepVolts: .05, Rate: .5}
	var runs [2][]float64
	for r := range runs {
		s, err := NewSearch(o)
		if err != nil {
			t.Fatal(err)
		}
		for range 30 {
			v := s.Next()
			if v < o.LowVolts || v > o.HighVolts+1e-9 {
				t.Fatalf("asks for %v V", v)
			}
			runs[r] = append(runs[r], v)
			if err := s.Add(v, v < 2.42); err != nil {
				t.Fatal(err)
			}
		}
		e, err := s.Estimate(.95)
		if err != nil || e.Edge || math.Abs(e.Volts.Estimate-2.42) > .05 || e.Counts.Cycles != 30 {
			t.Errorf("%+v (%v), the threshold is 2.42", e, err)
		}
		if text := e.Sentence(); !strings.Contains(text, "50 % of cycles fail at 2.4") || !strings.Contains(text, "30 cycles") {
			t.Errorf("%q", text)
		}
	}
	for i := range runs[0] {
		if runs[0][i] != runs[1][i] {
			t.Fatalf("cycle %d: %v then %v", i, runs[0][i], runs[1][i])
		}
	}
	never, _ := NewSearch(o)
	for range 40 {
		if err := never.Add(never.Next(), false); err != nil {
			t.Fatal(err)
		}
	}
	if e, err := never.Estimate(.95); err != nil || !e.Edge || !strings.Contains(e.Sentence(), "beyond") {
		t.Errorf("nothing failed: %+v (%v)", e, err)
	}
}

func TestSearchRefusals(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		o    SearchOptions
		says string
	}{
		{SearchOptions{3.6, 1.8, .1, .5}, "comes first"}, {SearchOptions{1.8, 3.6, 0, .5}, "step"}, {SearchOptions{1.8, 3.6, 2, .5}, "step"},
		{SearchOptions{1.8, 3.6, 1e-6, .5}, "larger"}, {SearchOptions{1.8, 3.6, .1, 0}, "failure rate"}, {SearchOptions{1.8, 3.6, .1, 50}, "failure rate"},
		{SearchOptions{nan, 3.6, .1, .5}, "voltages"}, {SearchOptions{1.8, math.Inf(1), .1, .5}, "voltages"}, {SearchOptions{1.8, 3.6, nan, .5}, "step"},
	} {
		if _, err := NewSearch(c.o); !isRefusal(err, c.says) {
			t.Errorf("%+v: %v, want %q", c.o, err, c.says)
		}
	}
	s, _ := NewSearch(SearchOptions{1.8, 3.6, .1, .5})
	if err := s.Add(nan, true); !isRefusal(err, "voltage") {
		t.Error(err)
	}
	if _, err := s.Estimate(95); !isRefusal(err, "confidence") {
		t.Error(err)
	}
}

func TestUpDownFindsHalf(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 11))
	u, err := NewUpDown(3, .05, 1.8, 3.6)
	if err != nil {
		t.Fatal(err)
	}
	for range 400 {
		p, _, _, _ := Logit.at(-(u.Next() - 2.4) / .04)
		u.Add(random.Float64() < p)
	}
	e, err := u.Estimate()
	if err != nil || math.Abs(e.Mean-2.4) > .03 {
		t.Errorf("%+v (%v), half of the cycles fail at 2.4 V", e, err)
	}
	for _, c := range [][4]float64{{3, 0, 1.8, 3.6}, {3, .1, 3.6, 1.8}, {4, .1, 1.8, 3.6}, {math.NaN(), .1, 1.8, 3.6}} {
		if _, err := NewUpDown(c[0], c[1], c[2], c[3]); !isRefusal(err, "") {
			t.Errorf("%v: %v", c, err)
		}
	}
	if _, err := DixonMood([]UpDownStep{{2, true}, {2.1, true}}, .1); !isRefusal(err, "all alike") {
		t.Error(err)
	}
	if _, err := DixonMood([]UpDownStep{{2, true}, {2.03, false}, {2.07, false}, {2, true}}, .05); !isRefusal(err, "whole steps") {
		t.Error(err)
	}
}
