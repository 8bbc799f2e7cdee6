package scpi

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"ringup/drivers/link"
)

const (
	// slice is the longest a read waits without looking at its context.
	slice = 50 * time.Millisecond
	// longestLine bounds a reply line that never ends.
	longestLine = 1 << 20
	// longestHeader bounds a text header before a block.
	longestHeader = 64
	// slowestBytes is the rate in bytes per second that a block's total time
	// allows for: 4800 baud.
	slowestBytes = 480
)

// reader is the only one that reads from the link. Lines and blocks come out
// of one buffer, so no byte is lost between them.
type reader struct {
	link    link.Link
	unread  []byte
	scratch [4096]byte
	// blankLines says that empty lines before a block are dropped.
	blankLines bool
}

// fill waits for at least one more byte.
func (r *reader) fill(ctx context.Context, deadline time.Time) error {
	if d, ok := ctx.Deadline(); ok && d.Before(deadline) {
		deadline = d
	}
	for {
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("%w: %w", link.ErrTimeout, err)
		}
		next := time.Now().Add(slice)
		if next.After(deadline) {
			next = deadline
		}
		n, err := r.link.Read(r.scratch[:], next)
		if n > 0 {
			r.unread = append(r.unread, r.scratch[:n]...)
			return nil
		}
		if !errors.Is(err, link.ErrTimeout) || !time.Now().Before(deadline) {
			return err
		}
	}
}

// line reads up to the terminator, which it drops. NUL bytes are dropped, too:
// a serial line reads as such when the other end loses power.
func (r *reader) line(ctx context.Context, terminator string, deadline time.Time) (string, error) {
	searched := 0
	for {
		if i := bytes.Index(r.unread[searched:], []byte(terminator)); i >= 0 {
			text := string(r.unread[:searched+i])
			r.drop(searched + i + len(terminator))
			return clean(text, terminator)
		}
		searched = max(0, len(r.unread)-len(terminator)+1)
		if len(r.unread) > longestLine {
			return "", fmt.Errorf("%w: %d bytes without an end of line", ErrGarbled, len(r.unread))
		}
		if err := r.fill(ctx, deadline); err != nil {
			return "", err
		}
	}
}

// burst reads what comes until nothing has come for quiet: a reply without an
// end of line.
func (r *reader) burst(ctx context.Context, quiet time.Duration, deadline time.Time) (string, error) {
	for len(bytes.Trim(r.unread, "\x00\r\n")) == 0 {
		if err := r.fill(ctx, deadline); err != nil {
			return "", err
		}
	}
	for {
		if len(r.unread) > longestLine {
			return "", fmt.Errorf("%w: %d bytes without a pause", ErrGarbled, len(r.unread))
		}
		err := r.fill(ctx, time.Now().Add(quiet))
		if ctx.Err() == nil && errors.Is(err, link.ErrTimeout) {
			break
		}
		if err != nil {
			return "", err
		}
	}
	text := strings.Trim(string(r.unread), "\x00\r\n")
	r.drop(len(r.unread))
	return clean(text, "\n")
}

// exactly reads so many bytes, whatever they are.
func (r *reader) exactly(ctx context.Context, length int, deadline time.Time) ([]byte, error) {
	for len(r.unread) < length {
		if err := r.fill(ctx, deadline); err != nil {
			return nil, err
		}
	}
	data := bytes.Clone(r.unread[:length])
	r.drop(length)
	return data, nil
}

// clean checks that a reply line is printable ASCII.
func clean(text, terminator string) (string, error) {
	text = strings.ReplaceAll(text, "\x00", "")
	if terminator == "\n" {
		text = strings.TrimSuffix(text, "\r")
	} else {
		text = strings.TrimPrefix(text, "\n") // CR-terminated replies followed by a stray newline
	}
	for i := range len(text) {
		if c := text[i]; c != '\t' && (c < ' ' || c > '~') {
			return "", fmt.Errorf("%w: byte %#02x in %q is not printable", ErrGarbled, c, shorten(text))
		}
	}
	return text, nil
}

// block reads a block of definite length with its terminator. A text header
// before the # is dropped.
func (r *reader) block(ctx context.Context, terminator string, timeOut time.Duration) ([]byte, error) {
	need := func(n int, deadline time.Time) error {
		for len(r.unread) < n {
			idle := time.Now().Add(timeOut)
			if idle.After(deadline) {
				idle = deadline
			}
			if err := r.fill(ctx, idle); err != nil {
				return err
			}
		}
		return nil
	}
	deadline := time.Now().Add(timeOut)
	start := -1
	for start < 0 {
		if r.blankLines {
			r.drop(len(r.unread) - len(bytes.TrimLeft(r.unread, "\r\n")))
		}
		if start = bytes.IndexByte(r.unread, '#'); start > longestHeader || start < 0 && len(r.unread) > longestHeader {
			return nil, fmt.Errorf("%w: no # within the first %d bytes of a block", ErrGarbled, longestHeader)
		}
		if start < 0 {
			if bytes.Contains(r.unread, []byte(terminator)) {
				return nil, fmt.Errorf("%w: a line came where a block was expected", ErrGarbled)
			}
			if err := r.fill(ctx, deadline); err != nil {
				return nil, err
			}
		}
	}
	if _, err := clean(string(r.unread[:start]), terminator); err != nil {
		return nil, fmt.Errorf("before the block: %w", err)
	}
	r.drop(start)
	if err := need(2, deadline); err != nil {
		return nil, err
	}
	if r.unread[1] == '0' {
		return nil, fmt.Errorf("%w: a block of unknown length (#0), and this link has no end of message to end it", ErrGarbled)
	}
	digits, err := blockDigits(r.unread[1])
	if err != nil {
		return nil, err
	}
	if err := need(2+digits, deadline); err != nil {
		return nil, err
	}
	length, err := blockLength(r.unread[2 : 2+digits])
	if err != nil {
		return nil, err
	}
	deadline = deadline.Add(time.Duration(length) * time.Second / slowestBytes)
	end := 2 + digits + length
	if err := need(end, deadline); err != nil {
		return nil, err
	}
	data := bytes.Clone(r.unread[2+digits : end])
	r.drop(end)
	rest, err := r.line(ctx, terminator, deadline)
	if err == nil && rest != "" {
		err = fmt.Errorf("%w: %q follows a block of %d bytes", ErrGarbled, shorten(rest), length)
	}
	return data, err
}

// drain discards until nothing has come for quiet; something that never stops
// is an error.
func (r *reader) drain(ctx context.Context, quiet, limit time.Duration) error {
	deadline := time.Now().Add(limit)
	for {
		r.unread = r.unread[:0]
		err := r.fill(ctx, time.Now().Add(quiet))
		switch {
		case ctx.Err() != nil:
			return err
		case errors.Is(err, link.ErrTimeout):
			return nil
		case err != nil:
			return err
		case time.Now().After(deadline):
			return fmt.Errorf("%w: the instrument sends without being asked", ErrGarbled)
		}
	}
}

// drop removes the first n unread bytes.
func (r *reader) drop(n int) {
	r.unread = append(r.unread[:0], r.unread[n:]...)
}
