package runner

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"ringup/runner/logbook"
)

// A run holds, supply off, for a person or for an instrument. A hold for a person lasts until Resume, also over a crash
// or a power cut: its reason is in the logbook before it takes effect. A hold for an instrument ends by itself once the
// instrument answers again and is the same one.

// cause is what a run holds for. Causes stand before the colon of a run's reason in the logbook.
type cause string

const (
	asks         cause = "asks"          // a question of the script's; ends with the answer
	byPerson     cause = "by a person"   // ends with Resume, as do the next two
	unreadCycles cause = "unread cycles" // so many in a row that the night would be lost
	overCurrent  cause = "over-current"
	lostLink     cause = "lost link" // ends by itself
)

// hold is one reason to hold.
type hold struct {
	cause cause
	text  string
	again bool // it was in effect before the program was restarted
}

func (h hold) reason() string { return string(h.cause) + ": " + h.text }

// parseHold reads a held run's reason back.
func parseHold(reason string) hold {
	c, text, _ := strings.Cut(reason, ": ")
	return hold{cause: cause(c), text: text}
}

// forPerson says whether only Resume ends it.
func (h hold) forPerson() bool {
	return h.cause == byPerson || h.cause == unreadCycles || h.cause == overCurrent
}

// errHeld ends a cycle that has not been energised yet, when the run is to hold. The cycle is begun anew afterwards.
var errHeld = errors.New("the run holds")

// What Hold and Resume refuse.
var (
	ErrHeld    = errors.New("the run is held already")
	ErrNotHeld = errors.New("the run is not held")
	errEnded   = errors.New("the run has ended")
)

// Hold asks the run to hold, supply off, until Resume. A cycle whose output is on is finished first; one still at rest
// is given up and begun anew afterwards, so that nothing comes on while a person has hands on the unit. That the run is
// to hold is in the logbook when Hold returns; the event Held says that the supply is off. It is safe from other
// goroutines.
func (s *Session) Hold(why string) error {
	if why = strings.TrimSpace(why); why == "" {
		why = "no reason given"
	}
	return s.want(hold{cause: byPerson, text: why})
}

// want notes a reason to hold and interrupts a rest. A reason of the run's own replaces a person's.
func (s *Session) want(h hold) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case s.ended:
		return errEnded
	case h.cause == byPerson && s.wanted != nil:
		return fmt.Errorf("%w: %s", ErrHeld, s.wanted.reason())
	case s.held != nil && s.held.forPerson():
		return fmt.Errorf("%w: %s", ErrHeld, s.held.reason())
	}
	if err := s.book.SetState(s.run.ID, "held", h.reason()); err != nil {
		return err
	}
	s.wanted = &h
	if s.interruptRest != nil {
		s.interruptRest()
	}
	return nil
}

// Resume lets a held run go on. A hold for an instrument that does not answer ends by itself and not before; a question
// wants its answer. It is safe from other goroutines.
func (s *Session) Resume() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case s.ended:
		return errEnded
	case s.question != "":
		return fmt.Errorf("%w for a person to resume but asks %q: answer it", ErrNotHeld, s.question)
	case s.held != nil && s.held.forPerson():
		close(s.release)
		s.held = nil
		return nil
	case s.wanted != nil && s.held != nil: // nobody's hold any more, but the instrument's still
		s.wanted = nil
		return s.book.SetState(s.run.ID, "held", s.held.reason())
	case s.wanted != nil:
		s.wanted = nil
		return s.book.SetState(s.run.ID, "running", "")
	case s.held != nil:
		return fmt.Errorf("%w for a person but for an instrument: it goes on by itself once that answers (%s)", ErrNotHeld, s.held.text)
	}
	return ErrNotHeld
}

// wantsHold says whether the run is to hold as soon as it can.
func (s *Session) wantsHold() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.wanted != nil
}

// holdIfWanted holds the run if that is wanted, until Resume or the end of ctx.
func (s *Session) holdIfWanted(ctx context.Context) error {
	for s.wantsHold() {
		if err := s.off(ctx); err != nil {
			return err
		}
		s.mu.Lock()
		h, release := s.wanted, make(chan struct{})
		s.wanted, s.held, s.release = nil, h, release
		s.mu.Unlock()
		if h == nil { // taken back meanwhile
			return nil
		}
		if err := s.beginHold(*h); err != nil {
			return err
		}
		select {
		case <-release:
		case <-ctx.Done():
			return ctx.Err()
		}
		if err := s.endHold("let go on by a person"); err != nil {
			return err
		}
	}
	return nil
}

// whileHeld holds the run for an instrument for as long as regain works on it. An error of the logbook does not keep
// regain from its work.
func (s *Session) whileHeld(ctx context.Context, h hold, regain func(context.Context) error) error {
	s.mu.Lock()
	s.held = &h
	s.mu.Unlock()
	began := s.beginHold(h)
	err := regain(ctx)
	s.mu.Lock()
	s.held = nil
	s.mu.Unlock()
	if err != nil || began != nil {
		return errors.Join(err, began)
	}
	return s.endHold("it answers again, and is the same one")
}

func (s *Session) beginHold(h hold) error {
	err := s.setState("held", h.reason())
	if err == nil && !h.again {
		err = s.note("hold", h.reason())
	}
	s.publish(Event{Kind: Held, Reason: h.reason(), ForPerson: h.forPerson()})
	return err
}

// endHold puts the run back to running, or to the hold that somebody wanted meanwhile.
func (s *Session) endHold(why string) error {
	err := s.note("resume", why)
	if err == nil {
		err = s.goOn()
	}
	s.publish(Event{Kind: Released})
	return err
}

func (s *Session) goOn() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.run.State, s.run.Reason = "running", ""
	if s.wanted != nil {
		return s.book.SetState(s.run.ID, "held", s.wanted.reason())
	}
	return s.book.SetState(s.run.ID, "running", "")
}

// note puts a mark of the run's own into the logbook.
func (s *Session) note(kind, text string) error {
	m := logbook.Mark{Run: s.run.ID, At: s.clock.Now(), Text: text, Kind: kind, AfterCycle: int(s.number.Load())}
	if err := s.book.AddMark(m); err != nil {
		return err
	}
	s.publish(Event{Kind: Marked, Mark: m})
	return nil
}
