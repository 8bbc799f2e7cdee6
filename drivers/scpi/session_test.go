package scpi

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/iotest"
	"time"

	"ringup/drivers/internal/fake"
	"ringup/drivers/link"
)

// pipe is a link over an in-memory connection; oneByte has every read return
// one byte only.
type pipe struct {
	net.Conn
	in io.Reader
}

func newPipe(t *testing.T, serve func(io.ReadWriter), oneByte bool) *pipe {
	t.Helper()
	near, far := net.Pipe()
	done := make(chan struct{})
	go func() {
		defer close(done)
		serve(far)
	}()
	t.Cleanup(func() {
		near.Close()
		far.Close()
		<-done
	})
	p := &pipe{Conn: near, in: near}
	if oneByte {
		p.in = iotest.OneByteReader(near)
	}
	return p
}

func (p *pipe) Read(b []byte, deadline time.Time) (int, error) {
	p.SetReadDeadline(deadline)
	n, err := p.in.Read(b)
	switch {
	case n > 0:
		return n, nil
	case errors.Is(err, os.ErrDeadlineExceeded):
		return 0, link.ErrTimeout
	}
	return 0, fmt.Errorf("%w: %w", link.ErrGone, err)
}

func (p *pipe) Write(b []byte, deadline time.Time) error {
	p.SetWriteDeadline(deadline)
	_, err := p.Conn.Write(b)
	return err
}

func (p *pipe) Clear() error   { return nil }
func (p *pipe) String() string { return "pipe" }

const identity = "ringup,simulated supply,SUP-1,1"

// quick is a configuration whose time-outs a test can wait for.
var quick = Config{TimeOut: 50 * time.Millisecond, Quiet: 10 * time.Millisecond, ErrorQuery: "SYSTem:ERRor?"}

func newSession(t *testing.T, c Config) (*Session, *fake.Instrument) {
	t.Helper()
	i, _ := fake.NewSupply("SUP-1")
	s := New(newPipe(t, func(rw io.ReadWriter) { i.Serve(rw) }, false), c)
	if got, err := s.Identify(t.Context()); err != nil || got != identity {
		t.Fatalf("Identify = %q, %v", got, err)
	}
	return s, i
}

// answering has the far end answer every line with the same bytes.
func answering(reply string) func(io.ReadWriter) {
	return func(rw io.ReadWriter) {
		p := make([]byte, 1000)
		for {
			n, err := rw.Read(p)
			if err != nil {
				return
			}
			if reply != "" && strings.HasSuffix(string(p[:n]), "\n") {
				if _, err := rw.Write([]byte(reply)); err != nil {
					return
				}
			}
		}
	}
}

// TestOneByteAtATime mixes blocks and lines when each read gives a single byte:
// nothing may be lost between the two.
func TestOneByteAtATime(t *testing.T) {
	for _, c := range blocks {
		reply := strings.TrimSuffix(c.in, "z\n")
		reply = strings.TrimSuffix(reply, "\n") + "\n"
		if c.rest == "z\n" || c.data == "\n\n\n\n" {
			reply = c.in[:len(c.in)-len(c.rest)] + "\n"
		}
		if !strings.HasSuffix(c.rest, "\n") {
			reply = c.in + "\n"
		}
		s := New(newPipe(t, answering("+3.6\n"+reply+"READY\r\n"), true), Config{})
		if line, err := s.Query(t.Context(), "A?"); err != nil || line != "+3.6" {
			t.Fatalf("%q: line before it = %q, %v", reply, line, err)
		}
		data, err := s.reader.block(t.Context(), "\n", time.Second)
		if err != nil || string(data) != c.data {
			t.Fatalf("%q: block = %q, %v", reply, data, err)
		}
		if line, err := s.reader.line(t.Context(), "\n", time.Now().Add(time.Second)); err != nil || line != "READY" {
			t.Fatalf("%q: line after it = %q, %v", reply, line, err)
		}
	}
}

func TestQueryBlock(t *testing.T) {
	for _, c := range []struct{ name, reply, want string }{
		{"plain", "#15HELLO\n", "HELLO"},
		{"carriage return", "#15HELLO\r\n", "HELLO"},
		{"text header", "DAT:CURV #15HELLO\n", "HELLO"},
		{"newline within", "#15\nELL\n\n", "\nELL\n"},
	} {
		s := New(newPipe(t, answering(c.reply), false), quick)
		if got, err := s.QueryBlock(t.Context(), "TRACe:DATA?"); err != nil || string(got) != c.want {
			t.Errorf("%s: %q, %v", c.name, got, err)
		}
	}
	for _, c := range []struct {
		name, reply string
		kind        error
	}{
		{"a line", "no data\n", ErrGarbled},
		{"an endless header", strings.Repeat("x", 100), ErrGarbled},
		{"no length", "#A\n", ErrGarbled},
		{"bad length", "#2x1HELLO\n", ErrGarbled},
		{"unknown length", "#0HELLO\n", ErrGarbled},
		{"more than said", "#14HELLO\n", ErrGarbled},
		{"less than said", "#16HELL\n", link.ErrTimeout},
		{"nothing", "", link.ErrTimeout},
		{"binary header", "\xff#15HELLO\n", ErrGarbled},
	} {
		s := New(newPipe(t, answering(c.reply), false), quick)
		got, err := s.QueryBlock(t.Context(), "TRACe:DATA?")
		if !errors.Is(err, c.kind) {
			t.Errorf("%s: %q, %v, want %v", c.name, got, err, c.kind)
		}
		if s.Torn() == nil {
			t.Errorf("%s: the session believes it is still in step", c.name)
		}
	}
}

func TestFraming(t *testing.T) {
	var sent []string
	var mu sync.Mutex
	far := func(receive, send string, echo, acknowledge bool) func(io.ReadWriter) {
		return func(rw io.ReadWriter) {
			var line []byte
			p := make([]byte, 1)
			for {
				if _, err := rw.Read(p); err != nil {
					return
				}
				line = append(line, p...)
				text, ended := strings.CutSuffix(string(line), receive)
				if !ended {
					continue
				}
				line = nil
				mu.Lock()
				sent = append(sent, text)
				mu.Unlock()
				reply := ""
				if echo {
					reply += text + send
				}
				if strings.HasSuffix(text, "?") {
					reply += "+3.6" + send
				} else if acknowledge {
					reply += "OK" + send
				}
				if reply == "" {
					continue
				}
				if _, err := io.WriteString(rw, reply); err != nil {
					return
				}
			}
		}
	}
	for _, c := range []struct {
		name              string
		config            Config
		echo, acknowledge bool
	}{
		{"newline", Config{}, false, false},
		{"carriage return", Config{Send: "\r", Receive: "\r"}, false, false},
		{"both", Config{Send: "\r\n", Receive: "\r\n"}, false, false},
		{"echo", Config{Echo: true}, true, false},
		{"acknowledgement", Config{Acknowledgement: "OK"}, false, true},
		{"pause", Config{Pause: time.Millisecond}, false, false},
	} {
		sent = nil
		full := c.config.withDefaults()
		s := New(newPipe(t, far(full.Send, full.Receive, c.echo, c.acknowledge), false), c.config)
		for range 2 {
			if err := s.Write(t.Context(), "SOURce:VOLTage 3.6"); err != nil {
				t.Errorf("%s: Write: %v", c.name, err)
			}
			if got, err := s.Query(t.Context(), "SOURce:VOLTage?"); err != nil || got != "+3.6" {
				t.Errorf("%s: Query = %q, %v", c.name, got, err)
			}
		}
		mu.Lock()
		if want := []string{"SOURce:VOLTage 3.6", "SOURce:VOLTage?", "SOURce:VOLTage 3.6", "SOURce:VOLTage?"}; !slices.Equal(sent, want) {
			t.Errorf("%s: sent %q", c.name, sent)
		}
		mu.Unlock()
	}
}

func TestWrongAcknowledgement(t *testing.T) {
	s := New(newPipe(t, answering("ERR\n"), false), Config{Acknowledgement: "OK", TimeOut: time.Second})
	if err := s.Write(t.Context(), "OUTPut OFF"); !errors.Is(err, ErrGarbled) {
		t.Errorf("Write = %v, want ErrGarbled", err)
	}
}

// TestUnprintable: NUL bytes come when the other end loses power and are no
// part of a reply; anything else unprintable means a wrong baud rate.
func TestUnprintable(t *testing.T) {
	s := New(newPipe(t, answering("\x00+3.\x006\x00\r\n"), false), quick)
	if got, err := s.Query(t.Context(), "A?"); err != nil || got != "+3.6" {
		t.Errorf("with NUL bytes: %q, %v", got, err)
	}
	for _, reply := range []string{"\xf83.6\n", "3\x1b6\n"} {
		s := New(newPipe(t, answering(reply), false), quick)
		if got, err := s.Query(t.Context(), "A?"); !errors.Is(err, ErrGarbled) {
			t.Errorf("%q: %q, %v, want ErrGarbled", reply, got, err)
		}
	}
}

func TestCommandsAreChecked(t *testing.T) {
	s, i := newSession(t, quick)
	before := len(i.Log())
	for _, command := range []string{"", "  ", "A\nB", "A\r", "VOLT\x00", "VOLT 3.6 V²", "VOLT %!f(string=x)"} {
		if err := s.Write(t.Context(), command); !errors.Is(err, ErrNotSent) {
			t.Errorf("Write(%q) = %v, want ErrNotSent", command, err)
		}
	}
	if s.Torn() != nil {
		t.Errorf("torn by commands that were never sent: %v", s.Torn())
	}
	if _, err := s.Query(t.Context(), "OUTPut?"); err != nil {
		t.Fatal(err)
	}
	if got := len(i.Log()) - before; got != 1 {
		t.Errorf("%d commands arrived, want the last only", got)
	}
}

func TestErrors(t *testing.T) {
	s, i := newSession(t, quick)
	for range 2 {
		if err := s.Write(t.Context(), "FREQU 1"); err != nil {
			t.Fatal(err)
		}
	}
	got, err := s.Errors(t.Context())
	if err != nil || len(got) != 2 || got[0].Number != -113 || (&Refused{got}).UnknownCommand() == false {
		t.Errorf("Errors = %v, %v, want two of -113", got, err)
	}
	i.SetFault(func(string, []byte) []byte { return []byte("-350,\"Queue overflow\"\n") })
	if got, err := s.Errors(t.Context()); !errors.Is(err, ErrGarbled) || len(got) != longestQueue {
		t.Errorf("an endless queue: %d entries, %v", len(got), err)
	}
}

func TestContext(t *testing.T) {
	s, i := newSession(t, Config{TimeOut: time.Hour, Quiet: 10 * time.Millisecond})
	ctx, cancel := context.WithCancel(t.Context())
	i.SetFault(func(string, []byte) []byte {
		cancel()
		return nil
	})
	if _, err := s.Query(ctx, "OUTPut?"); !errors.Is(err, context.Canceled) || !errors.Is(err, link.ErrTimeout) {
		t.Fatalf("Query = %v, want it cancelled", err)
	}
	if s.Torn() == nil {
		t.Error("the answer may still come, yet the session believes it is in step")
	}
	i.SetFault(nil)
	if err := s.Resync(t.Context()); err != nil {
		t.Fatal(err)
	}
	before := len(i.Log())
	if err := s.Write(ctx, "OUTPut ON"); !errors.Is(err, ErrNotSent) || !errors.Is(err, context.Canceled) {
		t.Errorf("Write with an ended context = %v", err)
	}
	if got := len(i.Log()); got != before || s.Torn() != nil {
		t.Errorf("it was sent, or tore the session: %v", s.Torn())
	}
}

func TestGone(t *testing.T) {
	s := New(newPipe(t, func(rw io.ReadWriter) { rw.(io.Closer).Close() }, false), quick)
	if _, err := s.Query(t.Context(), "OUTPut?"); err == nil {
		t.Fatal("a closed pipe answered")
	}
	if err := s.Force(t.Context(), "OUTPut OFF"); err == nil {
		t.Error("Force reported success over a closed pipe")
	}
}

func TestHistory(t *testing.T) {
	s, _ := newSession(t, quick)
	for range 150 {
		if _, err := s.Query(t.Context(), "OUTPut?"); err != nil {
			t.Fatal(err)
		}
	}
	h := s.History()
	if len(h) != historyLength {
		t.Fatalf("%d messages kept, want %d", len(h), historyLength)
	}
	last := h[len(h)-2:]
	if !last[0].Sent || last[0].Text != "OUTPut?" || last[1].Sent || last[1].Text != "0" {
		t.Errorf("the last two are %+v", last)
	}
	for i := 1; i < len(h); i++ {
		if h[i].At.Before(h[i-1].At) {
			t.Fatalf("message %d is older than the one before it", i)
		}
	}
}

func TestObserve(t *testing.T) {
	var seen []string
	c := quick
	c.Observe = func(command string, elapsed time.Duration, err error) {
		if elapsed < 0 {
			t.Errorf("%s took %v", command, elapsed)
		}
		seen = append(seen, fmt.Sprintf("%s %v", command, err == nil))
	}
	s, i := newSession(t, c)
	i.SetFault(func(string, []byte) []byte { return nil })
	s.Query(t.Context(), "OUTPut?")
	if want := []string{"*IDN? true", "OUTPut? false"}; !slices.Equal(seen, want) {
		t.Errorf("observed %q, want %q", seen, want)
	}
}
