package runner_test

import (
	"math"
	"strings"
	"testing"

	"ringup/runner/simbench"
)

// TestDeadThermometerHoldsNothing: without its thermometer a run goes on, says so once, and has no value for the
// ambient; once it is plugged in again the ambient is measured again.
func TestDeadThermometerHoldsNothing(t *testing.T) {
	t.Parallel() // it tries for a while
	w := newWatcher()
	s, session := held(t, w)
	s.mustCycle(t, session, "started")
	if err := s.sim.Faults().Hangup(simbench.Thermometer); err != nil {
		t.Fatal(err)
	}
	for range 3 {
		s.mustCycle(t, session, "started")
	}
	s.wantMarks(t, session.Run().ID, "mark")
	if _, err := s.sim.Faults().Plug(simbench.Thermometer); err != nil {
		t.Fatal(err)
	}
	for len(s.marks(t, session.Run().ID)) < 2 {
		if s.mustCycle(t, session, "started"); len(s.cycles(t, session.Run().ID)) > 50 {
			t.Fatal("the thermometer is back, and the ambient is not measured again")
		}
	}
	marks := s.marks(t, session.Run().ID)
	for i, says := range []string{"not measured from here on: thermometer at", "measured again: 20.0 °C"} {
		if !strings.Contains(marks[i], says) {
			t.Errorf("mark %q does not say %q", marks[i], says)
		}
	}
	all := s.cycles(t, session.Run().ID)
	for i, c := range all {
		if dead := i >= 1 && i < len(all)-1; math.IsNaN(c.AmbientCelsius) != dead {
			t.Errorf("cycle %d has an ambient of %g °C", c.Number, c.AmbientCelsius)
		}
	}
}

// TestJoltedThermometer: one reply lost costs nothing, not even the reading.
func TestJoltedThermometer(t *testing.T) {
	t.Parallel() // it waits for the reply
	s, session := held(t, newWatcher())
	s.sim.Faults().DropReply(simbench.Thermometer)
	s.mustCycle(t, session, "started")
	s.wantMarks(t, session.Run().ID)
	if all := s.cycles(t, session.Run().ID); len(all) != 1 || !(math.Abs(all[0].AmbientCelsius-20) < 0.1) {
		t.Errorf("the logbook has %+v; the ambient is 20 °C", all)
	}
}

func (s *simulation) marks(t *testing.T, run int64) (texts []string) {
	t.Helper()
	marks, err := s.book.Marks(run)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range marks {
		texts = append(texts, m.Text)
	}
	return texts
}
