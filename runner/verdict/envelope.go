package verdict

import (
	"math"
	"slices"
)

// envelope is the amplitude of the clock through the watch window.
type envelope struct {
	t         Trace     // peak-detect
	amplitude []float64 // V peak, one a bin, less the noise; about 0 without oscillation
	first     int       // first bin after the rail's rise
	scatter   float64   // standard deviation of amplitude without oscillation, V
	floor     float64   // smallest amplitude that is not noise, V
	noise     float64   // peak-to-peak spread of the noise in a bin, V
	lasting   int       // bins that make a lasting state
}

// readEnvelope takes the envelope from a usable peak-detect record; rise is
// when the rail crossed its threshold.
func readEnvelope(t Trace, rise float64) envelope {
	n := len(t.Min)
	e := envelope{t: t, first: t.before(rise), lasting: runBins(n)}
	spread := spreads(t)
	code := t.codeVolts()
	if quiet := quietBins(t, rise); quiet > 0 {
		e.noise = median(spread[:quiet])
		deviation := make([]float64, quiet)
		for i := range deviation {
			deviation[i] = math.Abs(spread[i] - e.noise)
		}
		e.scatter = 1.4826 * median(deviation) / 2 // of a normal distribution
	} else {
		// No time before the rise to learn the noise from: a quiet moment of the
		// record must do, if it is as quiet as an 8-bit converter can be.
		quietest := slices.Clone(spread)
		slices.Sort(quietest)
		e.noise = min(quietest[n/20], 4*code)
		e.scatter = e.noise / 4
	}
	e.scatter = max(e.scatter, code/4)
	e.amplitude = make([]float64, n)
	for i, s := range spread {
		e.amplitude[i] = (s - e.noise) / 2
	}
	e.amplitude = medianOfFive(e.amplitude)
	e.floor = max(4*e.scatter, code)
	for _, a := range e.amplitude[:quietBins(t, rise)] {
		e.floor = max(e.floor, 1.5*a)
	}
	return e
}

// spreads returns the peak-to-peak value of each bin without what a drifting
// mean adds to it. While the unit powers up the node's bias climbs to half the
// rail; across one bin that looks like a burst, but a burst does not move the
// middle between the extremes and a drift does.
func spreads(t Trace) []float64 {
	mids := t.mids()
	last := len(mids) - 1
	s := make([]float64, len(mids))
	for i := range s {
		from, to := max(0, i-1), min(last, i+1)
		drift := 0.0
		if to > from {
			drift = math.Abs(mids[to]-mids[from]) / float64(to-from)
		}
		s[i] = max(0, t.Max[i]-t.Min[i]-drift)
	}
	return s
}

// medianOfFive replaces every value by the median of its neighbourhood. It
// removes spikes of up to two bins and leaves a growing or a falling envelope
// exactly as it is.
func medianOfFive(v []float64) []float64 {
	out := slices.Clone(v)
	for i := 2; i+2 < len(v); i++ {
		a, b, c, d, e := v[i-2], v[i-1], v[i], v[i+1], v[i+2]
		a, b = min(a, b), max(a, b)
		c, d = min(c, d), max(c, d)
		c = max(a, c) // leaves out the smallest of four
		b = min(b, d) // and the largest
		out[i] = max(min(b, c), min(max(b, c), e))
	}
	return out
}

// sustained returns the largest amplitude held for a lasting number of bins
// within [from, to).
func (e *envelope) sustained(from, to int) float64 {
	best := 0.0
	var least []int // bins that may yet be the least of the last e.lasting ones, rising in amplitude
	for i := from; i < to; i++ {
		for k := len(least) - 1; k >= 0 && e.amplitude[least[k]] >= e.amplitude[i]; k-- {
			least = least[:k]
		}
		least = append(least, i)
		if least[0] <= i-e.lasting {
			least = least[1:]
		}
		if i-from+1 >= e.lasting {
			best = max(best, e.amplitude[least[0]])
		}
	}
	return best
}

// tail returns the amplitude at the end of the record and the one just before,
// each the median of a fortieth of the record.
func (e *envelope) tail() (before, last float64) {
	n := len(e.amplitude)
	k := min(max(e.lasting, n/40), n/2)
	return median(e.amplitude[n-2*k : n-k]), median(e.amplitude[n-k:])
}

// span is a stretch of bins, [from, to).
type span struct{ from, to int }

// above returns the lasting stretches after the rail's rise in which the
// amplitude is at least level. Shorter gaps do not divide a stretch.
func (e *envelope) above(level float64) []span {
	var spans []span
	for i := e.first; i < len(e.amplitude); i++ {
		if e.amplitude[i] < level {
			continue
		}
		if k := len(spans) - 1; k >= 0 && i-spans[k].to < e.lasting {
			spans[k].to = i + 1
		} else {
			spans = append(spans, span{i, i + 1})
		}
	}
	return slices.DeleteFunc(spans, func(s span) bool { return s.to-s.from < e.lasting })
}

// reaches returns the first bin of s at or above level and when that level was
// reached; -1 and NaN if it never was.
func (e *envelope) reaches(s span, level float64) (int, float64) {
	for i := s.from; i < s.to; i++ {
		if e.amplitude[i] < level {
			continue
		}
		if i == 0 || e.amplitude[i-1] >= level {
			return i, e.t.at(i)
		}
		return i, interpolate(e.t, e.amplitude, i, level)
	}
	return -1, math.NaN()
}

// ends returns when the amplitude fell below level at the end of s. The largest
// value of a bin in which the amplitude falls belongs to the bin's start.
func (e *envelope) ends(s span, level float64) float64 {
	if s.to >= len(e.amplitude) {
		return e.t.end()
	}
	high, low := e.amplitude[s.to-1], e.amplitude[s.to]
	start := e.t.StartSeconds + float64(s.to-1)*e.t.StepSeconds
	if !(high > low) {
		return start
	}
	return start + e.t.StepSeconds*min(1, (high-level)/(high-low))
}

// offScreen reports whether the clock sat flat at a limit of the converter for
// most of the time since the rail rose, or at the end of the record.
func (e *envelope) offScreen() bool {
	flat := func(from int) bool {
		low, high := e.t.clips()
		count := 0
		for i := from; i < len(e.t.Min); i++ {
			if e.t.Max[i] <= low || e.t.Min[i] >= high {
				count++
			}
		}
		return 2*count > len(e.t.Min)-from
	}
	n := len(e.t.Min)
	return flat(e.first) || flat(n-max(e.lasting, n/40))
}

// clipped reports whether peaks are cut off at the end of the record.
func (e *envelope) clipped() bool {
	low, high := e.t.clips()
	n := len(e.t.Min)
	from := max(0, n-max(e.lasting, n/40))
	count := 0
	for i := from; i < n; i++ {
		if e.t.Min[i] <= low || e.t.Max[i] >= high {
			count++
		}
	}
	return 2*count > n-from
}
