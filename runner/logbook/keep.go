package logbook

import (
	"context"
	"database/sql"
	"fmt"

	"ringup/runner/verdict"
)

// DefaultWaveformBudget is how many bytes of compressed waveforms a book holds
// unless SetWaveformBudget says otherwise.
const DefaultWaveformBudget = 256 << 20

// sampleEvery is how many successes go by for each one whose waveforms are kept.
const sampleEvery = 50

// Why a cycle's waveforms are kept, in the order in which they are dropped when
// the budget is used up, the oldest of each kind first.
const (
	keptSample  = 0 // every 50th success of the run
	keptFirst   = 1 // the first of its verdict in its condition, so that a failure can be shown beside a start
	keptFailure = 2
)

// seen is what the policy must know of the earlier cycles of a run.
type seen struct {
	successes int
	kinds     map[string]bool
}

// kind tells verdicts apart, and conditions by all that was set.
func kind(c Cycle) string {
	return fmt.Sprintf("%s|%g|%g|%g|%s|%s", c.Verdict, c.SetVolts, c.RestSeconds, c.WatchSeconds, jsonObject(c.Factors), c.Treatment)
}

func (s *seen) policy(c Cycle) (keptAs int, keep bool) {
	switch {
	case c.Verdict.Failed(), c.Disagree: // who is right shows only in the waveforms
		return keptFailure, true
	case !s.kinds[kind(c)]:
		return keptFirst, true
	case c.Verdict == verdict.Started && (s.successes+1)%sampleEvery == 0:
		return keptSample, true
	}
	return 0, false
}

func (s *seen) add(c Cycle) {
	s.kinds[kind(c)] = true
	if c.Verdict == verdict.Started {
		s.successes++
	}
}

// Keep says whether the waveforms of c are to be stored if it is the next
// cycle of its run: those of every failure and of every cycle
// whose witnesses disagree, of the first of each verdict in each
// condition, and of every 50th success. EndStep applies the same policy, so a
// caller need not ask. While the earlier cycles cannot be read it says yes, and
// EndStep gives the error.
func (b *Book) Keep(c Cycle) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	s, err := b.seenIn(context.Background(), b.read, c.Run)
	if err != nil {
		return true
	}
	_, keep := s.policy(c)
	return keep
}

// seenIn gives the state of a run, from the book when it is asked for the first
// time, e.g. after a restart. The caller holds mu.
func (b *Book) seenIn(ctx context.Context, from querier, run int64) (*seen, error) {
	if s := b.seen[run]; s != nil {
		return s, nil
	}
	s := &seen{kinds: map[string]bool{}}
	counts, err := queryIn(ctx, from, func(rows *sql.Rows) (int, error) {
		var c Cycle
		var n int
		err := rows.Scan(column{"verdict", &c.Verdict}, column{"set_volts", &c.SetVolts}, column{"rest_seconds", &c.RestSeconds},
			column{"watch_seconds", &c.WatchSeconds}, column{"factors", &c.Factors}, column{"treatment", &c.Treatment}, &n)
		if err != nil {
			return 0, err
		}
		s.kinds[kind(c)] = true
		if c.Verdict != verdict.Started {
			n = 0
		}
		return n, nil
	}, `SELECT verdict, set_volts, rest_seconds, watch_seconds, factors, treatment, count(*)
		FROM cycle WHERE run = ? GROUP BY 1, 2, 3, 4, 5, 6`, run)
	if err != nil {
		return nil, err
	}
	for _, n := range counts {
		s.successes += n
	}
	b.seen[run] = s
	return s, nil
}

// SetWaveformBudget sets how many bytes of compressed waveforms the book may
// hold. A smaller budget takes effect with the next waveform that is stored.
func (b *Book) SetWaveformBudget(bytes int64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.budget = bytes
}
