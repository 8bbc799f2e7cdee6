package verdict

import "math"

// railTolerance is how far a powered rail, or the supply's read-back, may be
// from the set voltage, relative.
const railTolerance = 0.05

// rail is what the rail's record shows.
type rail struct {
	crossing    float64 // s, when it crossed the threshold upwards; NaN if it never did
	alreadyUp   bool    // it was above the threshold when the record began
	highest     float64 // V
	volts       float64 // V, settled, at the end of the record
	riseSeconds float64 // 10 % to 90 % transition duration (IEEE 181); NaN if not seen whole
	reached     bool    // it was at the set voltage for a while
}

// readRail measures a usable rail trace.
func readRail(t Trace, setVolts, fraction float64) rail {
	mids := t.mids()
	n := len(mids)
	threshold := fraction * setVolts
	pre := quietBins(t, 0)
	var spread []float64
	for i := range pre {
		spread = append(spread, t.Max[i]-t.Min[i])
	}
	// A rising rail is followed by its maxima, less what noise adds to them.
	noise := 0.0
	if pre > 0 {
		noise = median(spread) / 2
	}
	rising := make([]float64, n)
	for i := range rising {
		rising[i] = t.Max[i] - noise
	}
	r := rail{
		crossing:    crossing(t, rising, threshold),
		alreadyUp:   rising[0] >= threshold,
		highest:     math.Inf(-1),
		volts:       median(mids[n-max(1, n/10):]),
		riseSeconds: math.NaN(),
	}
	atSet := 0
	for _, v := range mids {
		r.highest = max(r.highest, v)
		if within(v, setVolts, t.codeVolts()) {
			atSet++
		}
	}
	r.reached = atSet >= runBins(n)
	if pre > 0 {
		low := median(mids[:pre])
		if swing := r.volts - low; swing > 0 {
			r.riseSeconds = crossing(t, rising, low+0.9*swing) - crossing(t, rising, low+0.1*swing)
		}
	}
	return r
}

// within reports whether a voltage is the set one, give or take the tolerance
// and the height of a converter code.
func within(volts, setVolts, code float64) bool {
	return math.Abs(volts-setVolts) <= railTolerance*setVolts+code
}

// crossing returns when v, sampled as t is, first rises to level and stays
// there for another sample, interpolated linearly as IEEE 181 has it; NaN if it
// never does or begins there.
func crossing(t Trace, v []float64, level float64) float64 {
	for i := 1; i < len(v); i++ {
		if v[i-1] < level && v[i] >= level && (i+1 == len(v) || v[i+1] >= level) {
			return interpolate(t, v, i, level)
		}
	}
	return math.NaN()
}

// interpolate returns when v passed level on its way from sample i-1 to i.
func interpolate(t Trace, v []float64, i int, level float64) float64 {
	return t.at(i) - t.StepSeconds*(v[i]-level)/(v[i]-v[i-1])
}

// quietBins returns how many bins from the record's start on can serve to learn
// its noise: the first half of those before the given time. A rail, and all
// that follows it, begins to move some time before it crosses the threshold.
func quietBins(t Trace, rise float64) int {
	if pre := t.before(rise) / 2; pre >= 8 {
		return pre
	}
	return 0
}

// runBins is how many bins in a row make a lasting state of a record of n bins,
// longer than any spike that a rising rail couples into a probe.
func runBins(n int) int { return max(5, n/200) }
