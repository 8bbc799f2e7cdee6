package scpi

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"ringup/drivers/link"
)

// longestQueue bounds how many entries of an error queue are read.
const longestQueue = 100

// ExchangeError is a failed exchange: what was sent, what had arrived, how long
// it took, and why it failed.
type ExchangeError struct {
	Command, Received string
	Elapsed           time.Duration
	Err               error
}

// Error implements error.
func (e *ExchangeError) Error() string { return fmt.Sprintf("%q: %v", e.Command, e.Err) }

// Unwrap returns the cause.
func (e *ExchangeError) Unwrap() error { return e.Err }

// Session is a conversation with one instrument. Its methods may be called from
// several goroutines; exchanges never overlap.
type Session struct {
	mu       sync.Mutex
	link     link.Link
	config   Config
	reader   reader
	history  history
	torn     error     // why the next bytes cannot be trusted; nil while in step
	identity string    // the *IDN? reply, once known
	last     time.Time // end of the last exchange
}

// New begins a conversation over l. Closing l stays with the caller.
func New(l link.Link, c Config) *Session {
	s := &Session{link: l, reader: reader{link: l}}
	s.Configure(c)
	return s
}

// Configure changes the framing, once the instrument is known.
func (s *Session) Configure(c Config) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.config = c.withDefaults()
	s.reader.blankLines = c.BlankLines
}

// Config returns the framing in use.
func (s *Session) Config() Config {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.config
}

// History returns the last 200 messages, oldest first.
func (s *Session) History() []Message {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.history.messages()
}

// Torn returns why the session is out of step, or nil.
func (s *Session) Torn() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.torn
}

// Tear marks the session out of step: a caller found that a reply cannot be the
// answer to what it asked.
func (s *Session) Tear(cause error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.torn = cause
}

// Write sends a command that has no reply, and waits for the acknowledgement
// if the instrument gives one.
func (s *Session) Write(ctx context.Context, command string) error {
	_, err := s.exchange(ctx, command, func(deadline time.Time) (string, error) {
		want := s.config.Acknowledgement
		if want == "" {
			return "", nil
		}
		got, err := s.line(ctx, deadline)
		got = strings.TrimSpace(got)
		switch {
		case err != nil || got == want:
		case s.config.Refusal != nil && s.config.Refusal.MatchString(got):
			err = &Refused{Messages: []InstrumentMessage{{Number: 1, Text: got}}}
		default:
			err = fmt.Errorf("%w: %q came where the acknowledgement %q was expected", ErrGarbled, shorten(got), want)
		}
		return got, err
	})
	return err
}

// Query sends a query and returns its reply line without the terminator.
func (s *Session) Query(ctx context.Context, query string) (string, error) {
	return s.exchange(ctx, query, func(deadline time.Time) (string, error) {
		return s.line(ctx, deadline)
	})
}

// QueryBlock sends a query whose reply is a block of definite length and
// returns the block's data.
func (s *Session) QueryBlock(ctx context.Context, query string) ([]byte, error) {
	var data []byte
	_, err := s.exchange(ctx, query, func(time.Time) (_ string, err error) {
		data, err = s.reader.block(ctx, s.config.Receive, s.config.TimeOut)
		return fmt.Sprintf("(block of %d bytes)", len(data)), err
	})
	return data, err
}

// QueryBytes sends a query whose reply is a fixed number of bytes that need not
// be text, with no end of line.
func (s *Session) QueryBytes(ctx context.Context, query string, length int) ([]byte, error) {
	var data []byte
	_, err := s.exchange(ctx, query, func(deadline time.Time) (_ string, err error) {
		data, err = s.reader.exactly(ctx, length, deadline)
		return fmt.Sprintf("(bytes % x)", data), err
	})
	return data, err
}

// line reads one reply, however the instrument ends it.
func (s *Session) line(ctx context.Context, deadline time.Time) (string, error) {
	if s.config.Unterminated {
		return s.reader.burst(ctx, s.config.Quiet, deadline)
	}
	for {
		text, err := s.reader.line(ctx, s.config.Receive, deadline)
		if err != nil || text != "" || !s.config.BlankLines {
			return text, err
		}
	}
}

// Force sends a command even out of step, and waits for nothing. It is for
// commands that may be repeated at any time, such as output off.
func (s *Session) Force(ctx context.Context, command string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	begun := time.Now()
	err := s.send(ctx, command)
	if s.torn == nil && (err != nil || s.config.Acknowledgement != "" || s.config.Echo) {
		s.torn = cmp.Or(err, ErrTorn)
	}
	return s.finish(command, begun, err)
}

// Errors empties the instrument's error queue and returns what was in it.
func (s *Session) Errors(ctx context.Context) ([]InstrumentMessage, error) {
	query := s.Config().ErrorQuery
	if query == "" {
		return nil, nil
	}
	var messages []InstrumentMessage
	for range longestQueue {
		reply, err := s.Query(ctx, query)
		if err != nil {
			return messages, err
		}
		more, err := ParseErrorReply(query, reply)
		if err != nil {
			s.Tear(err)
			return messages, err
		}
		if len(more) == 0 {
			return messages, nil
		}
		messages = append(messages, more...)
	}
	return messages, fmt.Errorf("%w: the error queue does not end: %d entries were read", ErrGarbled, longestQueue)
}

// Identify asks who the instrument is and returns the reply, which Resync compares with from
// then on. A reply that is no identity, or none at all, may be what an earlier
// program left behind, so then it resynchronises; an instrument that gives the
// same non-standard reply again is taken at its word.
func (s *Session) Identify(ctx context.Context) (string, error) {
	reply, err := s.Query(ctx, s.Config().IdentityQuery)
	if errors.Is(err, link.ErrGone) || errors.Is(err, ErrNotSent) {
		return "", err
	}
	_, _, parseErr := ParseIdentity(reply)
	s.mu.Lock()
	s.identity = reply
	s.mu.Unlock()
	if err == nil && parseErr == nil {
		return reply, nil
	}
	if err := s.Resync(ctx); err != nil {
		return "", err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.identity, nil
}

// exchange sends a message and has read take its reply. Whatever goes wrong
// after the first byte was sent leaves the session torn.
func (s *Session) exchange(ctx context.Context, command string, read func(deadline time.Time) (string, error)) (string, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	begun := time.Now()
	if s.torn != nil {
		return "", &ExchangeError{Command: command, Err: fmt.Errorf("%w: %w", ErrTorn, s.torn)}
	}
	if n := s.surplus(); n > 0 {
		s.torn = fmt.Errorf("%w: %d bytes came that nobody asked for", ErrGarbled, n)
		return "", s.finish(command, begun, s.torn)
	}
	s.reader.unread = s.reader.unread[:0]
	if err := s.send(ctx, command); err != nil {
		if !errors.Is(err, ErrNotSent) {
			s.torn = err
		}
		return "", s.finish(command, begun, err)
	}
	deadline := time.Now().Add(s.config.TimeOut)
	reply, err := "", error(nil)
	if s.config.Echo {
		var echo string
		if echo, err = s.line(ctx, deadline); err == nil && echo != command {
			err = fmt.Errorf("%w: %q came where the echo was expected", ErrGarbled, shorten(echo))
		}
	}
	if err == nil {
		reply, err = read(deadline)
	}
	if n := s.surplus(); err == nil && n > 0 {
		err = fmt.Errorf("%w: %d bytes more came than the answer, %q", ErrGarbled, n, shorten(reply))
	}
	if err != nil {
		var refused *Refused
		if !errors.As(err, &refused) {
			s.torn = err
		}
		return "", s.finish(command, begun, err)
	}
	if reply != "" {
		s.history.add(false, reply)
	}
	return reply, s.finish(command, begun, nil)
}

// surplus is how many bytes have come that belong to no answer; those that mean
// nothing do not count.
func (s *Session) surplus() int { return len(bytes.Trim(s.reader.unread, "\x00\r\n")) }

// send checks and writes one message.
func (s *Session) send(ctx context.Context, command string) error {
	if err := checkCommand(command); err != nil {
		return err
	}
	if wait := s.config.Pause - time.Since(s.last); wait > 0 && !s.last.IsZero() {
		timer := time.NewTimer(wait)
		defer timer.Stop()
		select {
		case <-timer.C:
		case <-ctx.Done():
		}
	}
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("%w: %w: %w", ErrNotSent, link.ErrTimeout, err)
	}
	deadline := time.Now().Add(s.config.TimeOut)
	s.history.add(true, command)
	return s.link.Write([]byte(command+s.config.Send), deadline)
}

// finish records the end of an exchange.
func (s *Session) finish(command string, begun time.Time, err error) error {
	s.last = time.Now()
	elapsed := s.last.Sub(begun)
	if err != nil {
		received := shorten(string(s.reader.unread))
		s.history.add(false, fmt.Sprintf("(failed: %v; unread: %q)", err, received))
		err = &ExchangeError{Command: shorten(command), Received: received, Elapsed: elapsed, Err: err}
	}
	if s.config.Observe != nil {
		s.config.Observe(command, elapsed, err)
	}
	return err
}

// checkCommand refuses what is not one line of printable ASCII, and the traces
// of a failed format, before they reach an instrument.
func checkCommand(command string) error {
	if strings.TrimSpace(command) == "" {
		return fmt.Errorf("%w: the command is empty", ErrNotSent)
	}
	for i := range len(command) {
		if c := command[i]; c < ' ' || c > '~' {
			return fmt.Errorf("%w: %q holds byte %#02x, printable ASCII is allowed", ErrNotSent, shorten(command), c)
		}
	}
	if strings.Contains(command, "%!") {
		return fmt.Errorf("%w: %q holds %q, the trace of a failed format", ErrNotSent, shorten(command), "%!")
	}
	return nil
}
