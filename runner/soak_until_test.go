package runner_test

import (
	"context"
	"errors"
	"slices"
	"testing"
	"time"

	"ringup/runner"
	"ringup/runner/failrate"
)

type soakUntil struct {
	soak
	UntilDecided *decide `json:"until_decided,omitempty"`
	UntilWidth   float64 `json:"until_width,omitempty"`
	StopAt       string  `json:"stop_at,omitempty"`
}

type soaked struct {
	Volts            float64
	Cycles, Failures int
	Low, High        float64
	Method           failrate.Method
}

// A voltage that is decided gets no more cycles, the others go on, and the plan of the run shrinks with it.
func TestSoakUntilDecided(t *testing.T) {
	s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: 1})
	var planned []int
	s.watch = observer(func(e runner.Event) {
		if e.Kind == runner.Planned {
			planned = append(planned, e.Progress.Planned)
		}
	})
	session := s.open(t, nil)
	test := decide{Below: 0.05, Above: 0.5, Alpha: 0.05, Beta: 0.05}
	a := soakUntil{soak: soak{Volts: []float64{3.0, 1.9}, Cycles: 40, Rest: 3, Watch: 0.08}, UntilDecided: &test}
	rates := result[[]soaked](t, session, "soak", a)
	plan, err := failrate.NewPlan(test.Below, test.Above, test.Alpha, test.Beta)
	if err != nil {
		t.Fatal(err)
	}
	_, rejectAt := plan.Limits(1)
	for n := 1; rejectAt > n; n++ {
		_, rejectAt = plan.Limits(n + 1)
	}
	want := []soaked{{Volts: 3.0, Cycles: plan.FirstAccept()}, {Volts: 1.9, Cycles: rejectAt, Failures: rejectAt}}
	for i, r := range rates {
		iv := failrate.Anytime(r.Failures, r.Cycles, runner.Confidence)
		if r.Cycles != want[i].Cycles || r.Failures != want[i].Failures || r.Method != failrate.MethodAnytime || r.Low != iv.Low || r.High != iv.High {
			t.Errorf("%+v, want %d failures in %d cycles", r, want[i].Failures, want[i].Cycles)
		}
	}
	if done := want[0].Cycles + want[1].Cycles; len(planned) == 0 || planned[0] != 80 || planned[len(planned)-1] != done {
		t.Errorf("planned %v, in the end %d cycles were done", planned, done)
	}
}

func TestSoakUntilWidth(t *testing.T) {
	s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: 1})
	session := s.open(t, nil)
	const width = 0.4
	rates := result[[]soaked](t, session, "soak", soakUntil{soak: soak{Volts: []float64{3.0}, Cycles: 100, Rest: 3, Watch: 0.08}, UntilWidth: width})
	n := rates[0].Cycles
	now, before := failrate.Anytime(0, n, runner.Confidence), failrate.Anytime(0, n-1, runner.Confidence)
	if n >= 100 || now.High-now.Low > width || before.High-before.Low <= width {
		t.Errorf("%d cycles: the interval is %.3f wide, with one cycle less %.3f; wanted %g", n, now.High-now.Low, before.High-before.Low, width)
	}
}

// No cycle begins at or after the time of day; a run that is resumed long after that stops where it did.
func TestSoakStopAt(t *testing.T) {
	s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: 1})
	session := s.open(t, nil)
	a := soakUntil{soak: soak{Volts: []float64{3.0, 2.6}, Cycles: 100, Rest: 60, Watch: 0.08}, StopAt: "18:41"} // the night begins at 18:30
	first := result[[]soaked](t, session, "soak", a)
	result[any](t, session, "log", map[string]string{"text": "after"})
	cycles := s.cycles(t, session.Run().ID)
	stop := time.Date(2026, 1, 14, 18, 41, 0, 0, time.UTC)
	if n := len(cycles); n != first[0].Cycles+first[1].Cycles || n < 9 || n > 12 || !cycles[n-1].Begun.Before(stop) {
		t.Errorf("%d cycles, the last began %s", n, cycles[n-1].Begun)
	}
	again := s.resumed(t, session)
	if got := result[[]soaked](t, again, "soak", a); !slices.Equal(got, first) {
		t.Errorf("resumed: %+v, first %+v", got, first)
	}
	result[any](t, again, "log", map[string]string{"text": "after"}) // a replay error if the soak had gone on
	if n := len(s.cycles(t, session.Run().ID)); n != len(cycles) {
		t.Errorf("%d cycles after the replay, %d before", n, len(cycles))
	}
}

// A run that was cut off before its time of day, and resumed after it, does no further cycle.
func TestSoakStopAtPassedWhileCutOff(t *testing.T) {
	s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: 1})
	ctx, cut := context.WithCancel(t.Context())
	done := 0
	s.watch = observer(func(e runner.Event) {
		if e.Kind == runner.CycleDone {
			if done++; done == 3 {
				cut()
			}
		}
	})
	session := s.open(t, nil)
	a := soakUntil{soak: soak{Volts: []float64{3.0}, Cycles: 100, Rest: 60, Watch: 0.08}, StopAt: "18:41"}
	if _, err := call(ctx, session, "soak", a); !errors.Is(err, context.Canceled) {
		t.Fatalf("the soak that was cut off: %v", err)
	}
	again := s.resumed(t, session)
	if err := s.clock.Sleep(t.Context(), time.Hour); err != nil {
		t.Fatal(err)
	}
	if rates := result[[]soaked](t, again, "soak", a); rates[0].Cycles != 3 || done != 3 {
		t.Errorf("%d cycles in the rate, %d done; want the 3 from before", rates[0].Cycles, done)
	}
}

func TestSoakRefusesAPlanThatCannotBe(t *testing.T) {
	s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: 1})
	session := s.open(t, nil)
	bad := soakUntil{soak: soak{Volts: []float64{3.0}, Cycles: 5, Rest: 3, Watch: 0.08}, UntilDecided: &decide{Below: 0.5, Above: 0.1, Alpha: 0.05, Beta: 0.05}}
	_, err := call(t.Context(), session, "soak", bad)
	var input *failrate.InputError
	if !errors.As(err, &input) {
		t.Errorf("got %v", err)
	}
	if steps, err := s.book.Steps(session.Run().ID); err != nil || len(steps) != 0 {
		t.Errorf("%d steps were recorded (%v)", len(steps), err)
	}
}
