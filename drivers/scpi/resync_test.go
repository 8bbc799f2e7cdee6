package scpi

import (
	"errors"
	"io"
	"testing"

	"ringup/drivers/internal/fake"
	"ringup/drivers/link"
)

// late has the instrument hold back one answer and send it before the next.
func late(query string) fake.Fault {
	var kept []byte
	held := false
	return func(message string, reply []byte) []byte {
		if message == query && !held {
			held, kept = true, append([]byte(nil), reply...)
			return nil
		}
		out := append(kept, reply...)
		kept = nil
		return out
	}
}

// TestLateAnswer: after a time-out the late answer must not become the reply to
// the next query.
func TestLateAnswer(t *testing.T) {
	s, i := newSession(t, quick)
	if err := s.Write(t.Context(), "SOURce:VOLTage 3.6"); err != nil {
		t.Fatal(err)
	}
	i.SetFault(late("SOURce:VOLTage?"))
	if got, err := s.Query(t.Context(), "SOURce:VOLTage?"); !errors.Is(err, link.ErrTimeout) {
		t.Fatalf("Query = %q, %v, want a time-out", got, err)
	}
	for range 2 {
		if got, err := s.Query(t.Context(), "OUTPut?"); !errors.Is(err, ErrTorn) {
			t.Fatalf("out of step, Query = %q, %v, want ErrTorn", got, err)
		}
	}
	if n := i.Count("OUTPut?"); n != 0 {
		t.Errorf("out of step, %d queries were sent", n)
	}
	if err := s.Resync(t.Context()); err != nil {
		t.Fatalf("Resync: %v", err)
	}
	if got, err := s.Query(t.Context(), "OUTPut?"); err != nil || got != "0" {
		t.Errorf("after Resync, Query = %q, %v, want 0", got, err)
	}
}

// TestHalfAnswer: the half of a line that came before the time-out must not be
// handed out, nor the rest.
func TestHalfAnswer(t *testing.T) {
	s, i := newSession(t, quick)
	n := 0
	i.SetFault(func(_ string, reply []byte) []byte {
		switch n++; n {
		case 1:
			return []byte("+3.60")
		case 2:
			return append([]byte("0000E+00\n"), reply...)
		}
		return reply
	})
	_, err := s.Query(t.Context(), "SOURce:VOLTage?")
	var x *ExchangeError
	if !errors.Is(err, link.ErrTimeout) || !errors.As(err, &x) || x.Received != "+3.60" || x.Command != "SOURce:VOLTage?" || x.Elapsed < quick.TimeOut {
		t.Fatalf("Query: %v (%+v), want a time-out that shows what came", err, x)
	}
	if err := s.Resync(t.Context()); err != nil {
		t.Fatalf("Resync: %v", err)
	}
	if got, err := s.Query(t.Context(), "OUTPut?"); err != nil || got != "0" {
		t.Errorf("after Resync, Query = %q, %v", got, err)
	}
}

func TestAnswerTwice(t *testing.T) {
	s, i := newSession(t, quick)
	once := true
	i.SetFault(func(_ string, reply []byte) []byte {
		if !once {
			return reply
		}
		once = false
		return append(reply, reply...)
	})
	if got, err := s.Query(t.Context(), "SOURce:VOLTage?"); err == nil {
		// The second answer was still on its way.
		t.Logf("the first answer: %q", got)
	} else if !errors.Is(err, ErrGarbled) {
		t.Fatal(err)
	}
	if got, err := s.Query(t.Context(), "OUTPut?"); !errors.Is(err, ErrGarbled) {
		t.Fatalf("Query = %q, %v; the second answer must not be taken for this one's", got, err)
	}
	if err := s.Resync(t.Context()); err != nil {
		t.Fatal(err)
	}
	if got, err := s.Query(t.Context(), "OUTPut?"); err != nil || got != "0" {
		t.Errorf("after Resync, Query = %q, %v", got, err)
	}
}

func TestResyncFails(t *testing.T) {
	s, i := newSession(t, quick)
	s.Tear(ErrGarbled)
	i.SetFault(func(string, []byte) []byte { return nil })
	if err := s.Resync(t.Context()); !errors.Is(err, link.ErrTimeout) || s.Torn() == nil {
		t.Errorf("mute: Resync = %v, torn %v", err, s.Torn())
	}
	i.SetFault(func(string, []byte) []byte { return []byte("ACME,PSU-3,2,1\n") })
	if err := s.Resync(t.Context()); !errors.Is(err, ErrOther) || s.Torn() == nil {
		t.Errorf("another instrument: Resync = %v, torn %v", err, s.Torn())
	}
	i.SetFault(nil)
	if err := s.Resync(t.Context()); err != nil || s.Torn() != nil {
		t.Errorf("well again: Resync = %v, torn %v", err, s.Torn())
	}
}

// TestIdentifyAfterAnother: an earlier program's answer may still be on its way
// when the port is opened.
func TestIdentifyAfterAnother(t *testing.T) {
	i, _ := fake.NewSupply("SUP-1")
	once := true
	i.SetFault(func(_ string, reply []byte) []byte {
		if !once {
			return reply
		}
		once = false
		return append([]byte("+3.600000E+00\n"), reply...)
	})
	s := New(newPipe(t, func(rw io.ReadWriter) { i.Serve(rw) }, false), quick)
	if got, err := s.Identify(t.Context()); err != nil || got != identity {
		t.Fatalf("Identify = %q, %v", got, err)
	}
	if got, err := s.Query(t.Context(), "OUTPut?"); err != nil || got != "0" {
		t.Errorf("Query = %q, %v", got, err)
	}
	three := New(newPipe(t, answering("ACME,PSU-3,1.02\n"), false), quick)
	if got, err := three.Identify(t.Context()); err != nil || got != "ACME,PSU-3,1.02" {
		t.Errorf("three fields, given twice: Identify = %q, %v", got, err)
	}
}

// TestForce sends off while out of step; it must not make the session trusted.
func TestForce(t *testing.T) {
	s, i := newSession(t, quick)
	s.Tear(ErrGarbled)
	if err := s.Force(t.Context(), "OUTPut OFF"); err != nil {
		t.Fatal(err)
	}
	if s.Torn() == nil {
		t.Error("Force mended the session")
	}
	if err := s.Resync(t.Context()); err != nil {
		t.Fatal(err)
	}
	if n := i.Count("OUTPut OFF"); n != 1 {
		t.Errorf("%d offs arrived, want 1", n)
	}
}
