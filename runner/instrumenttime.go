package runner

import (
	"cmp"
	"slices"
	"time"

	"ringup/runner/bench"
	"ringup/runner/logbook"
)

// InstrumentTime is what a bench takes of a cycle besides the rest asked for, the watch window and the lamp's record:
// settings, readings, fetching, and the unit's discharge. The zero value is not known.
type InstrumentTime struct {
	Off    []RestOverrun // with the supply off, by the rest asked for, the shortest first
	On     time.Duration // with the supply on
	Cycles int           // from which it is known: each value is the median of some of them
}

// RestOverrun is how much longer than asked for the supply is off.
type RestOverrun struct{ Rest, By time.Duration }

// OffAfter is the time with the supply off for a rest of about that length.
func (t InstrumentTime) OffAfter(rest time.Duration) time.Duration {
	if len(t.Off) == 0 {
		return 0
	}
	return slices.MinFunc(t.Off, func(a, b RestOverrun) int { return cmp.Compare((a.Rest - rest).Abs(), (b.Rest - rest).Abs()) }).By
}

// fewestTimed is how many cycles make a median worth telling.
const fewestTimed = 5

// InstrumentTimeOf reads it from the earlier runs of a logbook on the same instruments, by their addresses.
func InstrumentTimeOf(book *logbook.Book, b *bench.Bench) (InstrumentTime, error) {
	runs, err := book.Runs()
	if err != nil {
		return InstrumentTime{}, err
	}
	off := map[time.Duration][]time.Duration{}
	var on []time.Duration
	for _, r := range runs {
		if r.Simulated {
			continue
		}
		if r, err = book.Run(r.ID); err != nil { // with its texts
			return InstrumentTime{}, err
		}
		then, err := bench.Parse(r.Bench, []byte(r.BenchText))
		if err != nil || !sameAddresses(then, b) {
			continue
		}
		var last logbook.Cycle
		err = book.EachCycle(r.ID, func(c logbook.Cycle) error {
			// A rest is counted from the supply's last off. Between cycles that are not one step from each other there may
			// have been anything.
			if c.Verdict.Counted() && c.Ordinal == last.Ordinal+1 && last.Number > 0 {
				rest := seconds(c.RestSeconds)
				off[rest] = append(off[rest], c.PoweredOn.Sub(last.PoweredOff)-rest)
				on = append(on, c.PoweredOff.Sub(c.PoweredOn)-seconds(c.WatchSeconds+lampTime(then)))
			}
			last = c
			return nil
		})
		if err != nil {
			return InstrumentTime{}, err
		}
	}
	var t InstrumentTime
	for rest, by := range off {
		if len(by) >= fewestTimed {
			t.Off = append(t.Off, RestOverrun{rest, median(by)})
			t.Cycles += len(by)
		}
	}
	if t.Cycles > 0 {
		slices.SortFunc(t.Off, func(a, b RestOverrun) int { return cmp.Compare(a.Rest, b.Rest) })
		t.On = median(on)
	}
	return t, nil
}

// lampTime is how long the lamp's record is, in seconds.
func lampTime(b *bench.Bench) float64 {
	if b.Lamp == nil || !b.HasScope() {
		return 0
	}
	return lampSeconds
}

func sameAddresses(a, b *bench.Bench) bool {
	relay := func(b *bench.Bench) string {
		if b.Switch == nil {
			return ""
		}
		return b.Switch.Address
	}
	return a.Supply.Address == b.Supply.Address && a.Scope.Address == b.Scope.Address && relay(a) == relay(b)
}

// median is never below zero: what takes time takes some.
func median(all []time.Duration) time.Duration {
	slices.Sort(all)
	return max(0, all[len(all)/2])
}
