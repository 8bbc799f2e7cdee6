package verdict

import (
	"math"
	"slices"
)

// envelope is the amplitude of the clock through the watch window.
type envelope struct {
	t         Trace     // the extremes in each bin
	amplitude []float64 // V peak, one a bin, less the noise; about 0 without oscillation
	first     int       // first bin after the rail's rise
	floor     float64   // smallest amplitude that is not noise, V
	noise     float64   // peak-to-peak spread of the noise in a bin, V
	rms       float64   // root mean square of the noise, V
	rmsSD     float64   // standard uncertainty of that
	lasting   int       // bins that make a lasting state
	centre    float64   // the place in its bin to which a growing amplitude belongs, 0 to 1
	samples   int       // behind one amplitude; 0 for extremes, of which that is not known
	periods   float64   // of the clock in them; 0 if not known
	shared    int       // bins behind one amplitude
	scatter   float64   // standard deviation of one amplitude read from extremes, V
	means     []float64 // V, the level about which the clock swings, one a bin
	missing   []bool    // bins that a gap touches; nil without any
}

// peakEnvelope takes the envelope from a usable peak-detect record; rise is when
// the rail crossed its threshold.
func peakEnvelope(t Trace, rise float64) envelope {
	n := len(t.Min)
	e := envelope{t: t, first: t.before(rise), lasting: runBins(n), centre: 1, shared: 1}
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
	e.rms = e.noise / noiseSpread
	e.rmsSD = math.Hypot(e.scatter, noiseSpreadSD*e.rms)
	if quiet := quietBins(t, rise); quiet > 0 {
		e.rmsSD = math.Hypot(medianSD*2*e.scatter/noiseSpread/math.Sqrt(float64(quiet)), noiseSpreadSD*e.rms)
	}
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

// noiseSpread is how many standard deviations lie between the extremes of some
// hundreds of samples of normal noise (Tippett, Biometrika 17 (1925) 364: 5.0 of
// 100, 6.5 of 1000).
const (
	noiseSpread   = 6
	noiseSpreadSD = 0.12 // of it, for not knowing how many samples there were
)

// medianSD is how much more than a mean the median of normal values scatters.
const medianSD = 1.2533

// spreads returns the peak-to-peak value of each bin without what a drifting
// mean adds to it. While the unit powers up the node's bias climbs to half the
// rail; across one bin that looks like a burst, but a burst does not move the
// middle between the extremes and a drift does.
func spreads(t Trace) []float64 {
	mids := t.mids()
	s := make([]float64, len(mids))
	for i := range s {
		s[i] = max(0, t.Max[i]-t.Min[i]-math.Abs(drift(mids, i)))
	}
	return s
}

// drift is how far a level moves across bin i.
func drift(level []float64, i int) float64 {
	from, to := max(0, i-1), min(len(level)-1, i+1)
	if to == from {
		return 0
	}
	return (level[to] - level[from]) / float64(to-from)
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

// full returns the stretch of s from the first to the last bin at 90 % of level,
// less what averaging draws in from beyond; s itself if that leaves nothing.
func (e *envelope) full(s span, level float64) span {
	f := s
	for f.from < f.to && e.amplitude[f.from] < steadyFraction*level {
		f.from++
	}
	for f.to > f.from && e.amplitude[f.to-1] < steadyFraction*level {
		f.to--
	}
	f.to -= e.shared / 2
	if f.to-f.from < 3 {
		return s
	}
	return f
}

// at returns the time by which a growing amplitude had reached that of bin i.
func (e *envelope) at(i int) float64 {
	return e.t.StartSeconds + (float64(i)+e.centre)*e.t.StepSeconds
}

// reaches returns the first bin of s at or above level and when that level was
// reached; -1 and NaN if it never was.
func (e *envelope) reaches(s span, level float64) (int, float64) {
	for i := s.from; i < s.to; i++ {
		if e.amplitude[i] < level {
			continue
		}
		if i == 0 || e.amplitude[i-1] >= level {
			return i, e.at(i)
		}
		high, low := e.amplitude[i], e.amplitude[i-1]
		return i, e.at(i) - e.t.StepSeconds*(high-level)/(high-low)
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
	start := e.t.StartSeconds + (float64(s.to)-e.centre)*e.t.StepSeconds
	if !(high > low) {
		return start
	}
	return start + e.t.StepSeconds*min(1, (high-level)/(high-low))
}

// deviation is the standard deviation of one amplitude of about the given size.
// That of the mean square of n samples of a sine in normal noise is
// sqrt((2 A² s² + 2 s⁴) / n).
func (e *envelope) deviation(amplitude float64) float64 {
	if e.samples == 0 {
		return e.scatter
	}
	s := e.rms
	above := max(amplitude, s)
	noise := s * math.Sqrt(2*(1+s*s/(above*above))/float64(e.samples))
	if e.periods == 0 {
		return noise
	}
	// The mean square over periods that are not whole is off by up to one part in
	// 2 pi times twice their number.
	return math.Hypot(noise, amplitude/(4*math.Pi*e.periods)/math.Sqrt2)
}

// crossingDeviation is the standard uncertainty of the time at which the
// envelope passed the level at bin i: noise over slope, and the step.
func (e *envelope) crossingDeviation(i int, level float64) float64 {
	width := max(2, e.shared)
	from, to := max(0, i-width), min(len(e.amplitude)-1, i+width)
	slope := math.Abs(e.amplitude[to]-e.amplitude[from]) / (float64(to-from) * e.t.StepSeconds)
	window := float64(len(e.amplitude)) * e.t.StepSeconds
	noise := min(e.deviation(level)/slope, window)
	if !(slope > 0) {
		noise = window
	}
	return math.Hypot(noise, e.t.StepSeconds/math.Sqrt(12))
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
	n := len(e.t.Min)
	from := max(0, n-max(e.lasting, n/40))
	return 2*e.touching(from) > n-from
}

// touching returns how many bins, of those from one on, touch the screen's edge.
func (e *envelope) touching(from int) int {
	low, high := e.t.clips()
	count := 0
	for i := from; i < len(e.t.Min); i++ {
		if e.t.Min[i] <= low || e.t.Max[i] >= high {
			count++
		}
	}
	return count
}
