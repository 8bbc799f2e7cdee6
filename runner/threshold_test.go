package runner_test

import (
	"errors"
	"math"
	"slices"
	"testing"
	"time"

	"ringup/drivers"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
)

type threshold struct {
	Rate   float64 `json:"rate"`
	Low    float64 `json:"low"`
	High   float64 `json:"high"`
	Step   float64 `json:"step"`
	Cycles int     `json:"cycles"`
	Width  float64 `json:"width,omitempty"`
	Rest   float64 `json:"rest"`
}

type found struct {
	Rate, Volts, Low, High, Confidence float64
	Edge                               bool
	Cycles, Failures                   int
	Sentence                           string
}

// The search finds where a sound unit stops starting, 2.00 V at 25 °C (the failure table of testdata/netlists/checks.json
// has 58 % there, none at 2.1 V and all at 1.9 V), ends at the width asked for, and takes the same way when it is resumed.
func TestThreshold(t *testing.T) {
	s := simulate(t, simulation{unit: "healthy", celsius: 25, rested: time.Minute, seed: 1})
	session := s.open(t, nil)
	a := threshold{Rate: 0.5, Low: 1.8, High: 2.6, Step: 0.005, Cycles: 60, Width: 0.03, Rest: 5}
	got := result[found](t, session, "threshold", a)
	t.Log(got.Sentence)
	if got.Low > 2.0+0.01 || got.High < 2.0-0.01 || got.High-got.Low > a.Width || got.Edge || got.Cycles >= a.Cycles || math.Abs(got.Volts-2.0) > 0.03 {
		t.Errorf("%+v", got)
	}
	cycles := s.cycles(t, session.Run().ID)
	if len(cycles) != got.Cycles {
		t.Errorf("%d cycles in the logbook, %d in the result", len(cycles), got.Cycles)
	}
	search, err := failrate.NewSearch(failrate.SearchOptions{LowVolts: a.Low, HighVolts: a.High, StepVolts: a.Step, Rate: a.Rate})
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range cycles {
		if want := search.Next(); math.Abs(c.SetVolts-want) > 1e-6 {
			t.Fatalf("cycle %d at %g V, the search asks for %g V", i+1, c.SetVolts, want)
		}
		if err := search.Add(c.SetVolts, c.Verdict.Failed()); err != nil {
			t.Fatal(err)
		}
	}
	again := s.resumed(t, session)
	if replayed := result[found](t, again, "threshold", a); replayed != got {
		t.Errorf("resumed: %+v, first %+v", replayed, got)
	}
	if after := s.cycles(t, session.Run().ID); len(after) != len(cycles) || slices.ContainsFunc(cycles, func(c logbook.Cycle) bool { return c.SetVolts < a.Low || c.SetVolts > a.High }) {
		t.Errorf("%d cycles after the replay, %d before", len(after), len(cycles))
	}
}

func TestThresholdRefuses(t *testing.T) {
	s := simulate(t, simulation{unit: "healthy", celsius: 25, rested: time.Minute, seed: 1})
	session := s.open(t, nil)
	_, err := call(t.Context(), session, "threshold", threshold{Rate: 0.5, Low: 2, High: 4.2, Step: 0.01, Cycles: 5, Rest: 5})
	var limit *drivers.LimitError
	if !errors.As(err, &limit) {
		t.Errorf("4.2 V on a unit that bears 3.9 V: got %v", err)
	}
	_, err = call(t.Context(), session, "threshold", threshold{Rate: 0.5, Low: 3, High: 2, Step: 0.01, Cycles: 5, Rest: 5})
	var input *failrate.InputError
	if !errors.As(err, &input) {
		t.Errorf("low above high: got %v", err)
	}
	if n := len(s.cycles(t, session.Run().ID)); n != 0 {
		t.Errorf("%d cycles were done", n)
	}
}
