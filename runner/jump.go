package runner

import (
	"fmt"
	"time"
)

// leastJump is a jump of the time of day that a person should know of. Being kept right moves it by milliseconds.
const leastJump = 2 * time.Second

// noteJump marks in the logbook that the time of day was set, since the last call of the script or since the run was
// interrupted. No rest and no watch depends on it, but the moments in the logbook do.
func (s *Session) noteJump() error {
	now, last := s.clock.Now(), s.lookedAt
	s.lookedAt = now
	clock, settable := s.clock.(interface {
		SetBetween(a, b time.Time) time.Duration
	})
	if !settable || last.IsZero() {
		return nil
	}
	jump := clock.SetBetween(last, now)
	switch gone := now.Sub(last); {
	case jump <= -leastJump:
		return s.note("mark", fmt.Sprintf("the time of day was set back by %s: from here on the logbook repeats it", span(-jump)))
	case jump >= leastJump:
		return s.note("mark", fmt.Sprintf("the time of day went %s ahead of the run: it was set, or the computer slept", span(jump)))
	case gone <= -leastJump: // the moment of the logbook tells no more
		return s.note("mark", fmt.Sprintf("the time of day is %s before the last entry: it was set back while the run was interrupted, or is wrong now", span(-gone)))
	}
	return nil
}

func span(d time.Duration) string {
	if d < 2*time.Minute {
		return fmt.Sprintf("%.0f s", d.Seconds())
	}
	return fmt.Sprintf("%.0f min", d.Minutes())
}
