package runner

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"ringup/drivers"
)

// quietReopen is how long, in real time, a scope may stay away before the run is said to hold for it: an adapter
// that was jolted is back sooner.
const quietReopen = 2 * time.Second

// recover brings the scope back after a cycle in which an instrument failed; while that takes long, the run holds. The
// supply is off while it works, and has been heard: off has seen to that. Another instrument in the scope's place is
// *drivers.IdentityChanged.
func (s *Session) recover(ctx context.Context) error {
	s.trouble = nil
	if s.rig.Scope == nil {
		return nil
	}
	quick, cancel := context.WithTimeout(ctx, quietReopen)
	defer cancel()
	err := s.rig.Scope.Reopen(quick)
	if err == nil || ctx.Err() != nil || quick.Err() == nil {
		return err // *drivers.IdentityChanged, or nothing to wait for
	}
	why := hold{cause: lostLink, text: brief(err) + "; the run goes on by itself when the scope answers again"}
	return s.whileHeld(ctx, why, s.rig.Scope.Reopen)
}

// sameInstruments compares what the instruments said of themselves when the run began with what they say now. Firmware,
// the last field, may have been updated.
func sameInstruments(began, now map[string]string) error {
	var errs []error
	for role, is := range now {
		was, known := began[role]
		if known && withoutFirmware(was) != withoutFirmware(is) {
			errs = append(errs, fmt.Errorf("the run cannot go on: its %s was %s, and now %s answers there; put the first one back, or begin a new run", role, was, is))
		}
	}
	return errors.Join(errs...)
}

func withoutFirmware(identity string) string {
	fields := strings.SplitN(identity, ",", 4)
	return strings.Join(fields[:min(3, len(fields))], ",")
}

// MessagesError is an instrument's error with the last messages that were exchanged before it.
type MessagesError struct {
	Err      error
	Role     string
	Messages []string
}

// Error has the error on its first line and a message on each line that follows.
func (e *MessagesError) Error() string {
	return fmt.Sprintf("%v\nlast messages of the %s (> to it, < from it):\n  %s", e.Err, e.Role, strings.Join(e.Messages, "\n  "))
}

// Unwrap returns the instrument's error.
func (e *MessagesError) Unwrap() error { return e.Err }

// shownMessages is how many messages an error and an unread cycle show.
const shownMessages = 10

// Messages are the last messages to and from each instrument, by role, oldest first. It is safe from other goroutines.
func (s *Session) Messages() map[string][]drivers.Message { return s.rig.Messages() }

// withMessages adds to an instrument's error what was said last.
func (s *Session) withMessages(err error) error {
	role, lines := s.lastMessages(err)
	if len(lines) == 0 {
		return err
	}
	return &MessagesError{err, role, lines}
}

// lastMessages words the last messages of the instrument that an error is of; none if it is of no instrument.
func (s *Session) lastMessages(err error) (role string, lines []string) {
	var failed *drivers.InstrumentError
	var changed *drivers.IdentityChanged
	switch {
	case errors.As(err, &failed):
		role = failed.Role
	case errors.As(err, &changed):
		role = changed.Role
	default:
		return "", nil
	}
	messages := s.rig.Messages()[role]
	for _, m := range messages[max(0, len(messages)-shownMessages):] {
		lines = append(lines, MessageLine(m))
	}
	return role, lines
}

// MessageLine words one message: its time of day, its direction, its text.
func MessageLine(m drivers.Message) string {
	direction := "<"
	if m.Sent {
		direction = ">"
	}
	return fmt.Sprintf("%s %s %s", m.At.Format("15:04:05.000"), direction, m.Text)
}
