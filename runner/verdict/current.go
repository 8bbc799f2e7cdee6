package verdict

import "slices"

// Band is a range of supply current. One whose HighAmps is 0 is not known.
type Band struct{ LowAmps, HighAmps float64 }

// Holds reports whether a current lies in a known band.
func (b Band) Holds(amps float64) bool {
	return b.HighAmps > 0 && amps >= b.LowAmps && amps <= b.HighAmps
}

// Known reports whether the band is known.
func (b Band) Known() bool { return b.HighAmps > 0 }

// CurrentBands say what the supply current tells of a unit: that it is off
// (nothing is connected), that it hangs without its clock, or that it runs.
type CurrentBands struct{ Off, Hung, Running Band }

// FewestToLearn is how many cycles of one kind a band is learned from.
const FewestToLearn = 8

// LearnCurrent takes the bands from the first cycles: what the unit drew when it
// ran, and when it did not, as the clock says and the lamp does not contradict.
// Bands that x gives stay. Two that overlap tell nothing apart and are left out.
// Later cycles change nothing, so that a run that is resumed learns the same.
func LearnCurrent(x Expect, cycles []Judgement) CurrentBands {
	learned := x.Current
	if !learned.Running.Known() {
		learned.Running = x.learnBand(cycles, Started)
	}
	if !learned.Hung.Known() {
		learned.Hung = x.learnBand(cycles, Silent)
	}
	if r, h := learned.Running, learned.Hung; r.Known() && h.Known() && r.LowAmps <= h.HighAmps && h.LowAmps <= r.HighAmps {
		learned.Running, learned.Hung = x.Current.Running, x.Current.Hung
	}
	return learned
}

// learnBand takes the band of the cycles of one verdict.
func (x Expect) learnBand(cycles []Judgement, v Verdict) Band {
	var amps []float64
	for _, j := range cycles {
		if j.Verdict == v && finite(j.SupplyAmps) && j.SupplyAmps > 0 && !j.lampAgainst(x) {
			amps = append(amps, j.SupplyAmps)
		}
	}
	if len(amps) < FewestToLearn {
		return Band{}
	}
	amps = amps[:FewestToLearn]
	low, high := slices.Min(amps), slices.Max(amps)
	margin := max(0.15*high, 4*deviation(amps))
	return Band{max(0, low-margin), high + margin}
}

// current is what the supply current says of the unit.
func (x Expect) current(amps float64) testimony {
	switch {
	case x.Current.Running.Holds(amps):
		return runs
	case x.Current.Hung.Holds(amps):
		return hangs
	case x.Current.Off.Holds(amps):
		return off
	}
	return unknown
}
