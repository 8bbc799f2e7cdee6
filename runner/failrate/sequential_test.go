package failrate

import (
	"math"
	"testing"
)

// Runs by the plan end as its exact recursion says, within five standard errors.
func TestSequentialRuns(t *testing.T) {
	plan, err := NewPlan(.02, .08, .05, .1)
	if err != nil {
		t.Fatal(err)
	}
	const runs = 200_000
	random := outsideRandom(10)
	for _, rate := range []float64{.005, .02, .044, .08, .2} {
		want := plan.at(rate)
		var accepted, cycles, squares float64
		for range runs {
			s := plan.Start()
			for s.Add(random.Float64() < rate) == Continue {
			}
			_, n := s.DecidedAfter()
			if s.Decision() == Accept {
				accepted++
			}
			cycles += float64(n)
			squares += float64(n) * float64(n)
		}
		const n = float64(runs)
		share, mean := accepted/n, cycles/n
		if math.Abs(share-want.Accept) > 5*math.Sqrt(want.Accept*want.Reject/n) {
			t.Errorf("at %v: %v accepted, exactly %v", rate, share, want.Accept)
		}
		if math.Abs(mean-want.ExpectedCycles) > 5*math.Sqrt((squares/n-mean*mean)/n) {
			t.Errorf("at %v: %v cycles, exactly %v", rate, mean, want.ExpectedCycles)
		}
	}
}

func TestSequentialDecides(t *testing.T) {
	plan, err := NewPlan(.01, .05, .05, .05)
	if err != nil {
		t.Fatal(err)
	}
	s := plan.Start()
	if s.Decision() != Continue || s.Plan() != plan {
		t.Fatalf("at the start: %+v", s)
	}
	if got, want := s.Sentence(), "not decided after no failure in no cycle; decided after 272 cycles at the latest, where up to 6 failures are accepted"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	for n := 1; n < plan.FirstAccept(); n++ {
		if s.Add(false) != Continue {
			t.Fatalf("decided after %d cycles", n)
		}
	}
	if s.Add(false) != Accept {
		t.Fatalf("not accepted after %d cycles without a failure", plan.FirstAccept())
	}
	const accepted = "accepted after no failure in 73 cycles; a unit that fails at 5 % is accepted in 4.93 % of runs"
	if s.Sentence() != accepted {
		t.Errorf("%q, want %q", s.Sentence(), accepted)
	}
	// The first decision stands, whatever comes later; the interval goes on.
	for range 50 {
		if s.Add(true) != Accept {
			t.Fatal("a decision was taken back")
		}
	}
	if s.Sentence() != accepted {
		t.Errorf("after more cycles: %q", s.Sentence())
	}
	if failures, cycles := s.DecidedAfter(); failures != 0 || cycles != 73 {
		t.Errorf("decided after %d failures in %d cycles", failures, cycles)
	}
	failures, cycles := s.Counts()
	if rate, err := s.Rate(.95); err != nil || failures != 50 || cycles != 123 || rate.Interval != Anytime(50, 123, .95) {
		t.Errorf("%d failures in %d cycles: %+v, %v", failures, cycles, rate, err)
	}
	_, err = s.Rate(95)
	wantRefused(t, "confidence", err, "95 % is 0.95")

	s = plan.Start()
	s.Add(true)
	if s.Add(true) != Reject {
		t.Errorf("two failures at once: %s", s.Decision())
	}
	if got, want := s.Sentence(), "rejected after 2 failures in 2 cycles; a unit that fails at 1 % is rejected in 5 % of runs"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// Every run ends by MostCycles, also one that stays between the limits.
func TestSequentialEnds(t *testing.T) {
	plan, err := NewPlan(.1, .3, .02, .03)
	if err != nil {
		t.Fatal(err)
	}
	s := plan.Start()
	for s.Decision() == Continue {
		failures, cycles := s.Counts()
		if cycles > plan.MostCycles {
			t.Fatalf("not decided after %d cycles", cycles)
		}
		accept, _ := plan.Limits(cycles + 1)
		s.Add(failures <= accept)
	}
	if _, cycles := s.DecidedAfter(); cycles < plan.MostCycles/2 {
		t.Errorf("decided after %d cycles, although kept between the limits", cycles)
	}
}
