package simbench

import (
	"slices"
	"time"
)

// record is one acquisition, from INITiate to the next INITiate.
type record struct {
	scopeSettings           // as they were at INITiate
	searched      time.Time // no trigger came before this moment
	below         bool      // at that moment the trigger source was below the level
	triggered     bool
	at            time.Time // of the trigger
	complete      bool
	// past is the unit's history as far as the record reaches, kept once it is complete.
	past    []stretch
	signals [scopeChannels]signal // what the probes touched then
	bytes   [scopeChannels][]byte // codes of the channels fetched so far
}

// neverTriggers as the trigger source makes a record wait for ever.
const neverTriggers = -1

func (r *record) trigger(at time.Time) { r.triggered, r.at = true, at }

// advance looks for the trigger up to now, and completes the record once its window has passed.
func (r *record) advance(now time.Time, s *scope) {
	if !r.triggered && r.source != neverTriggers {
		r.seek(now, s)
	}
	if r.triggered && !now.Before(r.at.Add(seconds(r.startSeconds+r.sweepSeconds))) {
		r.complete = true
		r.past = slices.Clone(s.world.stretches)
		r.signals = s.signals
	}
}

// The trigger search looks at the source in steps: fine ones while a power-up is young, then coarse ones.
const (
	seekFine, seekFineUntil = 5e-6, 20e-3
	seekCoarse              = 1e-3
	seekBisections          = 24 // down to nanoseconds
)

// seek looks for the first rising crossing of the trigger level in what has passed since the last search.
func (r *record) seek(now time.Time, s *scope) {
	source, channel := s.signals[r.source-1], r.channels[r.source-1]
	above := func(st *stretch, t float64) bool {
		level, amplitude := source.at(st, t)
		if channel.acCoupled {
			level = 0 // the trigger of an AC-coupled channel sees the oscillation only
		}
		return (level+amplitude)*channel.attenuation >= r.levelVolts
	}
	for n := range s.world.stretches {
		st := &s.world.stretches[n]
		end := now
		if n+1 < len(s.world.stretches) {
			end = s.world.stretches[n+1].from
		}
		if end.Before(r.searched) {
			continue
		}
		from, until := max(r.searched.Sub(st.from).Seconds(), 0), end.Sub(st.from).Seconds()
		if !st.on {
			r.below = !above(st, until) // everything falls while the unit rests
			continue
		}
		for t := from; ; {
			if above(st, t) {
				if r.below {
					r.trigger(st.from.Add(seconds(crossing(st, from, t, above))))
					return
				}
			} else {
				r.below = true
			}
			if t >= until {
				break
			}
			from = t
			if t < seekFineUntil {
				t += seekFine
			} else {
				t += seekCoarse
			}
			t = min(t, until)
		}
	}
	r.searched = now
}

// crossing narrows a rising crossing between below and above down to nanoseconds.
func crossing(st *stretch, below, above float64, isAbove func(*stretch, float64) bool) float64 {
	for range seekBisections {
		if middle := (below + above) / 2; isAbove(st, middle) {
			above = middle
		} else {
			below = middle
		}
	}
	return above
}
