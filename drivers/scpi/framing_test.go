package scpi

import (
	"errors"
	"io"
	"regexp"
	"strings"
	"testing"
	"time"

	"ringup/drivers/link"
)

// Instruments that frame their messages in ways of their own.

// terse answers like a low-cost serial supply: nothing has an end of line.
func terse(rw io.ReadWriter) {
	replies := map[string]string{"*IDN?": "ACME PSU V1.3", "VOUT1?": "03.29", "STATUS?": "\x00", "NEWLINE?": "\n", "NOISE?": "\x00\r\n12\n"}
	p := make([]byte, 100)
	for {
		n, err := rw.Read(p)
		if err != nil {
			return
		}
		reply := replies[string(p[:n])]
		for i := range len(reply) { // a byte at a time, as a serial line gives them
			if _, err := rw.Write([]byte{reply[i]}); err != nil {
				return
			}
		}
	}
}

func TestUnterminated(t *testing.T) {
	s := New(newPipe(t, terse, false), Config{TimeOut: 100 * time.Millisecond, Quiet: 10 * time.Millisecond, Unterminated: true})
	if got, err := s.Identify(t.Context()); err != nil || got != "ACME PSU V1.3" {
		t.Fatalf("identity %q, %v", got, err)
	}
	for range 2 {
		if got, err := s.Query(t.Context(), "VOUT1?"); err != nil || got != "03.29" {
			t.Errorf("VOUT1? = %q, %v", got, err)
		}
		// Any byte may be a status: none is an end of line or padding.
		for query, want := range map[string]byte{"STATUS?": 0, "NEWLINE?": '\n'} {
			if got, err := s.QueryBytes(t.Context(), query, 1); err != nil || len(got) != 1 || got[0] != want {
				t.Errorf("%s = %q, %v", query, got, err)
			}
		}
	}
	if got, err := s.Query(t.Context(), "NOISE?"); err != nil || got != "12" {
		t.Errorf("NUL and ends of line around a reply: %q, %v", got, err)
	}
	if err := s.Write(t.Context(), "OUT1"); err != nil {
		t.Errorf("a setting: %v", err)
	}
	if _, err := s.Query(t.Context(), "SILENT?"); !errors.Is(err, link.ErrTimeout) {
		t.Errorf("no reply: %v", err)
	}
	if err := s.Resync(t.Context()); err != nil {
		t.Errorf("resync: %v", err)
	}
}

func TestQueryBytesCutShort(t *testing.T) {
	s := New(newPipe(t, answering("A"), false), quick)
	if got, err := s.QueryBytes(t.Context(), "STATUS?", 2); !errors.Is(err, link.ErrTimeout) || s.Torn() == nil {
		t.Errorf("%q, %v, torn %v", got, err, s.Torn())
	}
}

// TestBlankLines: an empty line after a block is not the next reply.
func TestBlankLines(t *testing.T) {
	c := quick
	c.BlankLines = true
	s := New(newPipe(t, answering("\n\r\n3.3\n"), false), c)
	if got, err := s.Query(t.Context(), "A?"); err != nil || got != "3.3" {
		t.Errorf("%q, %v", got, err)
	}
	s = New(newPipe(t, answering("\nC1:WF DAT2,#9000000002\x01\x02\n\n"), false), c)
	for range 3 {
		if got, err := s.QueryBlock(t.Context(), "WF?"); err != nil || string(got) != "\x01\x02" {
			t.Errorf("%q, %v", got, err)
		}
	}
}

// TestRefusal: a refusal in place of the acknowledgement is an answer, so the
// conversation stays in step; any other line is not.
func TestRefusal(t *testing.T) {
	for reply, refused := range map[string]bool{"OK": false, "C05": true, "E01": true, "3.300": false} {
		s := New(newPipe(t, func(rw io.ReadWriter) {
			p := make([]byte, 100)
			for {
				if _, err := rw.Read(p); err != nil {
					return
				}
				if _, err := rw.Write([]byte(reply + "\r")); err != nil {
					return
				}
			}
		}, false), Config{Send: "\r", Receive: "\r", TimeOut: 50 * time.Millisecond, Acknowledgement: "OK", Refusal: regexp.MustCompile(`^[CE]\d\d$`)})
		err := s.Write(t.Context(), "PV 33")
		var r *Refused
		if errors.As(err, &r) != refused || refused && (s.Torn() != nil || !strings.Contains(err.Error(), reply)) {
			t.Errorf("%s: %v, torn %v", reply, err, s.Torn())
		}
		if reply == "OK" && err != nil || reply == "3.300" && !errors.Is(err, ErrGarbled) {
			t.Errorf("%s: %v", reply, err)
		}
	}
}

// TestIdentityQuery: an instrument that has another word than *IDN?.
func TestIdentityQuery(t *testing.T) {
	asked := make(chan string, 10)
	c := quick
	c.IdentityQuery = "IDN?"
	s := New(newPipe(t, func(rw io.ReadWriter) {
		p := make([]byte, 100)
		for {
			n, err := rw.Read(p)
			if err != nil {
				return
			}
			asked <- string(p[:n])
			if _, err := rw.Write([]byte("ACME,GEN20-38\n")); err != nil {
				return
			}
		}
	}, false), c)
	if got, err := s.Identify(t.Context()); err != nil || got != "ACME,GEN20-38" {
		t.Errorf("%q, %v", got, err)
	}
	for len(asked) > 0 {
		if q := <-asked; q != "IDN?\n" {
			t.Errorf("asked %q", q)
		}
	}
}
