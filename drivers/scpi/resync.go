package scpi

import (
	"context"
	"errors"
	"fmt"
	"time"

	"ringup/drivers/link"
)

// mostExtras bounds how many lines are dropped while looking for the identity.
const mostExtras = 100

// ErrOther says that another instrument answered than before.
var ErrOther = errors.New("another instrument answers")

// Resync gets back into step: it discards what waits until nothing more comes,
// asks who the instrument is, and drops every line until the known identity, and whatever
// follows it. The instrument answers in order, so that a late reply to an
// earlier query comes before.
func (s *Session) Resync(ctx context.Context) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	begun := time.Now()
	query := s.config.IdentityQuery
	err := s.resync(ctx, query)
	if err != nil && s.torn == nil {
		s.torn = err
	}
	if err == nil {
		s.torn = nil
	}
	return s.finish(query, begun, err)
}

func (s *Session) resync(ctx context.Context, query string) error {
	if err := s.link.Clear(); err != nil {
		return err
	}
	if err := s.reader.drain(ctx, s.config.Quiet, s.config.TimeOut); err != nil {
		return err
	}
	if err := s.send(ctx, query); err != nil {
		return err
	}
	deadline := time.Now().Add(s.config.TimeOut)
	_, _, unknown := ParseIdentity(s.identity)
	known := unknown == nil
	other := ""
	for range mostExtras {
		line, err := s.line(ctx, deadline)
		if errors.Is(err, ErrGarbled) {
			continue
		}
		if err != nil {
			if errors.Is(err, link.ErrTimeout) && other != "" {
				return fmt.Errorf("%w: was %q, now %q", ErrOther, shorten(s.identity), shorten(other))
			}
			return err
		}
		s.history.add(false, line)
		_, _, parseErr := ParseIdentity(line)
		if line != "" && line == s.identity || parseErr == nil && !known {
			s.identity = line
			return s.reader.drain(ctx, s.config.Quiet, s.config.TimeOut)
		}
		if parseErr == nil {
			other = line
		}
	}
	return fmt.Errorf("%w: %d lines came, none the identity", ErrGarbled, mostExtras)
}
