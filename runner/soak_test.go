package runner_test

import (
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"ringup/drivers"
	"ringup/runner"
	"ringup/runner/failrate"
)

// soakedVolts runs a soak and returns the voltages in the order in which they were set.
func soakedVolts(t *testing.T, order string, seed uint64, volts []float64, cycles int) []float64 {
	t.Helper()
	s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: seed})
	session := s.open(t, nil)
	raw, err := call(t.Context(), session, "soak", soak{Volts: volts, Cycles: cycles, Order: order, Rest: 3, Watch: 0.08})
	if err != nil {
		t.Fatal(err)
	}
	var rates []failrate.Condition
	if err := json.Unmarshal(raw, &rates); err != nil {
		t.Fatal(err)
	}
	if len(rates) != len(volts) {
		t.Fatalf("%d rates for %d voltages", len(rates), len(volts))
	}
	for i, rate := range rates {
		if rate.Volts != volts[i] || rate.Cycles != cycles || rate.Failures != 0 {
			t.Errorf("rate %d: %d failures in %d cycles at %g V, want 0 in %d at %g V",
				i, rate.Failures, rate.Cycles, rate.Volts, cycles, volts[i])
		}
	}
	var set []float64
	for _, c := range s.cycles(t, session.Run().ID) {
		set = append(set, c.SetVolts)
	}
	return set
}

func TestSoakOrders(t *testing.T) {
	volts := []float64{3.6, 3.0, 2.6}
	for order, want := range map[string][]float64{
		"interleaved": {3.6, 3.0, 2.6, 3.6, 3.0, 2.6, 3.6, 3.0, 2.6},
		"blocked":     {3.6, 3.6, 3.6, 3.0, 3.0, 3.0, 2.6, 2.6, 2.6},
	} {
		if got := soakedVolts(t, order, 1, volts, 3); !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", order, got, want)
		}
	}
}

func TestShuffledSoakDrawsEachRoundAnewFromTheSeed(t *testing.T) {
	volts := []float64{3.6, 3.2, 2.8, 2.4}
	first, again, other := soakedVolts(t, "shuffled", 1, volts, 6), soakedVolts(t, "shuffled", 1, volts, 6), soakedVolts(t, "shuffled", 2, volts, 6)
	if !slices.Equal(first, again) {
		t.Errorf("the same seed gave %v, then %v", first, again)
	}
	if slices.Equal(first, other) {
		t.Errorf("two seeds gave %v", first)
	}
	alike := true
	for round := range slices.Chunk(first, len(volts)) {
		alike = alike && slices.Equal(round, first[:len(volts)])
		sorted := slices.Sorted(slices.Values(round))
		slices.Reverse(sorted)
		if !slices.Equal(sorted, volts) {
			t.Errorf("round %v does not have each of %v once", round, volts)
		}
	}
	if alike {
		t.Errorf("every round has the same order: %v", first)
	}
}

func TestSoakRefusesWhatIsNotAllowed(t *testing.T) {
	s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: 1})
	session := s.open(t, nil)
	_, err := call(t.Context(), session, "soak", soak{Volts: []float64{3.0, 4.2}, Cycles: 1, Rest: 3, Watch: 0.08})
	var limit *drivers.LimitError
	if !errors.As(err, &limit) || limit.Asked != 4.2 || limit.Limit != 3.9 {
		t.Errorf("4.2 V on a unit that bears 3.9 V: got %v", err)
	}
	_, err = call(t.Context(), session, "soak", soak{Volts: []float64{3.0}, Cycles: 1, Order: "backwards", Rest: 3, Watch: 0.08})
	if err == nil || !strings.Contains(err.Error(), `"backwards": allowed are interleaved, shuffled, blocked`) {
		t.Errorf("an unknown order: got %v", err)
	}
	if cycles := s.cycles(t, session.Run().ID); len(cycles) != 0 {
		t.Errorf("%d cycles were done", len(cycles))
	}
}

type wait struct {
	Duration float64 `json:"duration"`
}

// A resumed script that asks for something else than the logbook has must not go on.
func TestReplayRefusesOtherArguments(t *testing.T) {
	s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: 1})
	session := s.open(t, nil)
	for _, seconds := range []float64{60, 90} {
		if _, err := call(t.Context(), session, "wait", wait{seconds}); err != nil {
			t.Fatal(err)
		}
	}
	if err := session.Interrupt("the test ends"); err != nil {
		t.Fatal(err)
	}
	unfinished, err := runner.Unfinished(s.book, runner.Program{Name: "test"}, s.rig.Bench, s.seed)
	if err != nil || unfinished == nil {
		t.Fatalf("the interrupted run: %v, %v", unfinished, err)
	}
	resumed := s.open(t, unfinished)
	before := s.clock.Now()
	if _, err := call(t.Context(), resumed, "wait", wait{60}); err != nil {
		t.Fatal(err)
	}
	_, err = call(t.Context(), resumed, "wait", wait{120})
	if !s.clock.Now().Equal(before) {
		t.Errorf("replay took %v of the run's clock", s.clock.Now().Sub(before))
	}
	var replay *runner.ReplayError
	if !errors.As(err, &replay) {
		t.Fatalf("got %v, want a replay error", err)
	}
	if replay.Ordinal != 2 || replay.RecordedCall != "wait" || replay.Call != "wait" {
		t.Errorf("got %+v, want call 2, wait", replay)
	}
	for _, part := range []string{"call 2 ", `wait {"duration":90}`, `wait {"duration":120}`} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("%q does not have %q", err, part)
		}
	}
}
