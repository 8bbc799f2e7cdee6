package failrate

import (
	"fmt"
	"math"
	"testing"
)

// Counts by hand: after 1 failure in 1 cycle the mixture's likelihood is 1/2, so
// rates below 1/2·(1-C) are left out; after 1 in 2 it is 1/8.
func TestAnytimeByHand(t *testing.T) {
	for _, c := range []struct {
		failures, cycles int
		low, high        float64
	}{
		{0, 1, 0, 1 - .05/2},
		{1, 1, .05 / 2, 1},
		{1, 2, (1 - math.Sqrt(1-4*.05/8)) / 2, (1 + math.Sqrt(1-4*.05/8)) / 2}, // p(1-p) = 0.05/8
		{0, 2, 0, 1 - math.Sqrt(.05*3/8)},
	} {
		iv := Anytime(c.failures, c.cycles, .95)
		if !near(iv.Low, c.low, 1e-12) || !near(iv.High, c.high, 1e-12) || iv.OneSided {
			t.Errorf("%d/%d: %+v, want [%v, %v]", c.failures, c.cycles, iv, c.low, c.high)
		}
	}
}

// stop says whether a run is stopped after so many failures in so many cycles,
// by someone who watches it. trueRate is for one who wants it to be wrong.
type stop struct {
	name string
	at   func(failures, cycles int, trueRate float64) bool
}

func stops(t *testing.T, most int) []stop {
	plan, err := NewPlan(.02, .1, .05, .1)
	if err != nil {
		t.Fatal(err)
	}
	left := map[float64]anytimeBounds{}
	return []stop{
		{"at the first failure", func(failures, _ int, _ float64) bool { return failures > 0 }},
		{"after ten failures", func(failures, _ int, _ float64) bool { return failures >= 10 }},
		{"when a sequential plan decides", func(failures, cycles int, _ float64) bool {
			accept, reject := plan.Limits(cycles)
			return failures <= accept || failures >= reject
		}},
		{"when the rate seen is below 1 % of 50 cycles or more", func(failures, cycles int, _ float64) bool {
			return cycles >= 50 && float64(failures) < 0.01*float64(cycles)
		}},
		{"as soon as the interval misses the truth", func(failures, cycles int, rate float64) bool {
			if left[rate] == nil {
				left[rate] = newAnytimeBounds(rate, most, .95)
			}
			return !left[rate].holds(failures, cycles)
		}},
	}
}

// anytimeBounds are, by cycles, the failures with which the interval holds a rate: the
// limits rise with the failures, so they are found once for each number of cycles.
type anytimeBounds [][2]int

func newAnytimeBounds(rate float64, most int, confidence float64) anytimeBounds {
	bounds := anytimeBounds{{0, 0}}
	for n := 1; n <= most; n++ {
		from, to := bounds[n-1][0], bounds[n-1][1]+1
		holds := func(x int) bool {
			iv := Anytime(x, n, confidence)
			return iv.Low <= rate && rate <= iv.High
		}
		for from <= to && !holds(from) {
			from++
		}
		for to >= from && !holds(to) {
			to--
		}
		bounds = append(bounds, [2]int{from, to})
	}
	return bounds
}

func (b anytimeBounds) holds(failures, cycles int) bool {
	return b[cycles][0] <= failures && failures <= b[cycles][1]
}

// The interval holds the true rate at least as often as it claims, whatever
// stops the run. The probability is exact, by recursion over the failures of
// the runs that are not stopped yet.
func TestAnytimeCoverage(t *testing.T) {
	const most = 5000
	for _, rate := range []float64{.0005, .002, .01, .05, .2, .5, .9} {
		bounds := newAnytimeBounds(rate, most, .95)
		for _, s := range stops(t, most) {
			for _, end := range []int{20, most} { // a short run and a long one
				held, cycles := heldAtStop(rate, end, s, bounds)
				if held < .95 {
					t.Errorf("rate %v, %d cycles or stopped %s: held in %.6f", rate, end, s.name, held)
				}
				t.Logf("rate %v, %d cycles or stopped %s, %.1f on average: held in %.4f", rate, end, s.name, cycles, held)
			}
		}
	}
	// What this is for: the exact interval of a fixed number of cycles is wrong
	// far too often for one who stops when it suits.
	fixed := newFixedBounds(.2, 500)
	s := stop{"as soon as the interval misses the truth", func(x, n int, _ float64) bool { return !fixed.holds(x, n) }}
	if held, _ := heldAtStop(.2, 500, s, fixed); held > .85 {
		t.Errorf("Clopper-Pearson held in %.4f although the run was stopped when it did not", held)
	}
}

func newFixedBounds(rate float64, most int) anytimeBounds {
	bounds := anytimeBounds{{0, 0}}
	for n := 1; n <= most; n++ {
		from, to := n+1, -1
		for x := range n + 1 {
			if iv := TwoSided(x, n, .95); iv.Low <= rate && rate <= iv.High {
				from, to = min(from, x), x
			}
		}
		bounds = append(bounds, [2]int{from, to})
	}
	return bounds
}

// heldAtStop returns the probability that the bounds hold when the run is
// stopped, at most cycles at the latest, and the mean number of cycles.
func heldAtStop(rate float64, most int, s stop, bounds anytimeBounds) (held, mean float64) {
	running := make([]float64, most+2) // by failures
	running[0] = 1
	first, last := 0, 0 // outside, what is left is less than 1e-18
	for n := 1; n <= most; n++ {
		last++
		for x := last; x > first; x-- {
			running[x] = running[x]*(1-rate) + running[x-1]*rate
		}
		running[first] *= 1 - rate
		for x := first; x <= last; x++ {
			mean += running[x]
			if n == most || s.at(x, n, rate) {
				if bounds.holds(x, n) {
					held += running[x]
				}
				running[x] = 0
			}
		}
		for last > first && running[last] < 1e-18 {
			running[last] = 0
			last--
		}
		for first < last && running[first] < 1e-18 {
			running[first] = 0
			first++
		}
	}
	return held, mean
}

// One failure more raises both limits, and the interval is wider than the exact
// one, which holds for a fixed number of cycles only.
func TestAnytimeProperties(t *testing.T) {
	for _, n := range []int{1, 2, 10, 100, 1000} {
		for x := 0; x <= n; x += max(1, n/10) {
			iv, exact := Anytime(x, n, .95), TwoSided(x, n, .95)
			if iv.Low > exact.Low || iv.High < exact.High {
				t.Errorf("%d/%d: %+v is narrower than the exact %+v", x, n, iv, exact)
			}
			if mirror := Anytime(n-x, n, .95); math.Abs(mirror.Low-(1-iv.High)) > 1e-12 || math.Abs(mirror.High-(1-iv.Low)) > 1e-12 {
				t.Errorf("failures and successes exchanged: %+v against %+v", iv, mirror)
			}
			if x < n {
				if next := Anytime(x+1, n, .95); next.Low <= iv.Low || next.High <= iv.High && next.High < 1 {
					t.Errorf("%d/%d: one failure more: %+v then %+v", x, n, iv, next)
				}
			}
		}
	}
}

func ExampleAnytime() {
	iv := Anytime(0, 1000, 0.95)
	fmt.Println(percentUp(iv.High))
	// Output: 0.7 %
}
