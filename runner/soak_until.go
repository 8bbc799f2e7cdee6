package runner

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"ringup/runner/failrate"
)

// soakEnd says when a soak, or one of its voltages, has seen enough before all of its cycles are done.
type soakEnd struct {
	tests  []*failrate.Sequential // by voltage; nil: not asked for
	width  *float64
	stopAt time.Time // zero: not asked for
	seen   []failrate.Counts
	enough []bool // by voltage: it gets no more cycles
}

// soakEndOf reads it from a soak's arguments. begun is the moment of the soak's first step, by the run's clock.
func (s *Session) soakEndOf(a soakArguments, begun time.Time) (*soakEnd, error) {
	e := &soakEnd{width: a.UntilWidth, seen: make([]failrate.Counts, len(a.Volts)), enough: make([]bool, len(a.Volts))}
	if a.UntilDecided != nil {
		plan, err := s.planFor(*a.UntilDecided)
		if err != nil {
			return nil, err
		}
		for range a.Volts {
			e.tests = append(e.tests, plan.Start())
		}
	}
	if a.StopAt != "" {
		t, err := nextTime(a.StopAt, begun.In(s.run.Location()))
		if err != nil {
			return nil, err
		}
		e.stopAt = t
	}
	return e, nil
}

// nextTime is the first moment after now that has the time of day.
func nextTime(ofDay string, now time.Time) (time.Time, error) {
	t, err := time.Parse("15:04", ofDay)
	if err != nil {
		return time.Time{}, fmt.Errorf(`stop_at %q: it is a time of day, as "06:30"`, ofDay)
	}
	year, month, day := now.Date()
	at := time.Date(year, month, day, t.Hour(), t.Minute(), 0, 0, now.Location())
	if !at.After(now) {
		at = time.Date(year, month, day+1, t.Hour(), t.Minute(), 0, 0, now.Location())
	}
	return at, nil
}

// sequential is true when what is seen decides how many cycles are done, so that only an interval that holds at any
// such moment may be shown.
func (e *soakEnd) sequential() bool { return e.tests != nil || e.width != nil }

// add takes in a counted cycle at a voltage, and says whether that was enough.
func (e *soakEnd) add(condition int, failed bool) bool {
	seen := &e.seen[condition]
	seen.Cycles++
	if failed {
		seen.Failures++
	}
	if e.tests != nil && e.tests[condition].Add(failed) != failrate.Continue {
		e.enough[condition] = true
	}
	if e.width != nil {
		iv := failrate.Anytime(seen.Failures, seen.Cycles, Confidence)
		e.enough[condition] = e.enough[condition] || iv.High-iv.Low <= *e.width
	}
	return e.enough[condition]
}

// left counts those cycles of an order whose voltage is one of which.
func left(order []int, which func(condition int) bool) (n int) {
	for _, condition := range order {
		if which(condition) {
			n++
		}
	}
	return n
}

// timeIsUp says that the soak's time of day has come. That is a step of its own: when the run is resumed, it must not
// depend on how late it is then.
func (s *Session) timeIsUp(ctx context.Context, e *soakEnd) (bool, error) {
	if e.stopAt.IsZero() {
		return false, nil
	}
	if s.ordinal < len(s.recorded) {
		if s.recorded[s.ordinal].Call != "stop_at" {
			return false, nil
		}
	} else if s.clock.Now().Before(e.stopAt) {
		return false, nil
	}
	_, err := s.step(ctx, "stop_at", struct{}{}, func(context.Context) (outcome, error) { return outcome{}, nil })
	return err == nil, err
}

// shownRate is a condition's failure rate as scripts see it: with the interval's method, and in words.
func shownRate(c failrate.Condition, m failrate.Method) (any, error) {
	rate, err := failrate.NewRate(m, c.Failures, c.Cycles, c.NotCounted, Confidence)
	if err != nil {
		return nil, err
	}
	iv := rate.Interval
	c.Low, c.High, c.Confidence, c.OneSided = iv.Low, iv.High, iv.Confidence, iv.OneSided
	text, err := json.Marshal(c)
	if err != nil {
		return nil, err
	}
	var shown map[string]any
	if err := json.Unmarshal(text, &shown); err != nil {
		return nil, err
	}
	shown["method"], shown["sentence"] = rate.Method, rate.Sentence()
	return shown, nil
}
