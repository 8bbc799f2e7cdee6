package runner_test

import (
	"strings"
	"testing"
	"time"

	"ringup/runner"
)

// setClock is a clock whose time of day is set in the middle of a run. SetBetween tells what the moments of package
// time carry with them.
type setClock struct {
	*runner.VirtualClock
	by   time.Duration
	seen time.Duration // of by, in SetBetween
}

func (c *setClock) Now() time.Time { return c.VirtualClock.Now().Add(c.by) }

func (c *setClock) SetBetween(a, b time.Time) time.Duration {
	set := c.by - c.seen
	c.seen = c.by
	return set
}

// TestTimeOfDaySet sets the time of day between two cycles: the logbook must say so, and once.
func TestTimeOfDaySet(t *testing.T) {
	for by, says := range map[time.Duration]string{
		time.Hour:                "the time of day went 60 min ahead of the run",
		-time.Hour:               "the time of day was set back by 60 min",
		-90 * time.Second:        "the time of day was set back by 90 s",
		1500 * time.Millisecond:  "",
		-1500 * time.Millisecond: "",
	} {
		s := simulate(t, simulation{unit: "healthy", celsius: 20, seed: 1})
		clock := &setClock{VirtualClock: s.clock}
		session, err := runner.Open(s.rig, s.book, nil, runner.Options{Program: runner.Program{Name: "test"}, Clock: clock, Zone: time.UTC})
		if err != nil {
			t.Fatal(err)
		}
		for n := range 4 {
			if n == 2 {
				clock.by = by
			}
			if _, err := call(t.Context(), session, "cycle", struct {
				Volts float64 `json:"volts"`
			}{3.6}); err != nil {
				t.Fatal(err)
			}
		}
		marks, err := s.book.Marks(session.Run().ID)
		if err != nil {
			t.Fatal(err)
		}
		switch {
		case says == "" && len(marks) == 0:
		case says != "" && len(marks) == 1 && marks[0].AfterCycle == 2 && strings.HasPrefix(marks[0].Text, says):
		default:
			t.Errorf("set by %v: marks %+v, want %q after cycle 2", by, marks, says)
		}
	}
}

// TestTimeOfDayBeforeTheLogbook resumes on a computer that came up with a wrong time.
func TestTimeOfDayBeforeTheLogbook(t *testing.T) {
	s := simulate(t, simulation{unit: "healthy", celsius: 20, seed: 1})
	open := func(by time.Duration) *runner.Session {
		t.Helper()
		runs, err := s.book.Runs()
		if err != nil {
			t.Fatal(err)
		}
		clock := &setClock{VirtualClock: s.clock, by: by, seen: by}
		o := runner.Options{Program: runner.Program{Name: "test"}, Clock: clock, Zone: time.UTC}
		if len(runs) == 0 {
			session, err := runner.Open(s.rig, s.book, nil, o)
			if err != nil {
				t.Fatal(err)
			}
			return session
		}
		session, err := runner.Open(s.rig, s.book, &runs[0], o)
		if err != nil {
			t.Fatal(err)
		}
		return session
	}
	cycle := func(session *runner.Session) {
		t.Helper()
		if _, err := call(t.Context(), session, "cycle", struct {
			Volts float64 `json:"volts"`
		}{3.6}); err != nil {
			t.Fatal(err)
		}
	}
	cycle(open(0))
	again := open(-3 * time.Hour)
	cycle(again) // replayed
	cycle(again)
	marks, err := s.book.Marks(again.Run().ID)
	if err != nil || len(marks) != 1 || !strings.Contains(marks[0].Text, "before the last entry") {
		t.Errorf("marks %+v (%v), want one that says that the time is wrong", marks, err)
	}
}
