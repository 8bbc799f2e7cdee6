package verdict

import (
	"math"
	"slices"
)

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
	sag         float64 // V, how far it fell after it had come up
	overshoot   float64 // how far it went above volts, as a fraction of its rise; NaN if that is not seen whole
	crossingSD  float64 // s, standard uncertainty
	riseSD      float64 // s
	voltsSD     float64 // V
	sagSD       float64 // V
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
		riseSeconds: math.NaN(), overshoot: math.NaN(),
	}
	code := t.codeVolts()
	if code == 0 {
		code = quantum(t.Max)
	}
	tail := mids[n-max(1, n/10):]
	r.voltsSD = math.Hypot(deviation(tail)/math.Sqrt(float64(len(tail))), code/math.Sqrt(12))
	atSet := 0
	for _, v := range mids {
		r.highest = max(r.highest, v)
		if within(v, setVolts, t.codeVolts()) {
			atSet++
		}
	}
	r.reached = atSet >= runBins(n)
	low := stateLevels(mids).low
	if pre > 0 {
		low = median(mids[:pre])
	}
	step := t.StepSeconds / math.Sqrt(12)
	r.crossingSD, r.riseSD = step, math.NaN()
	if swing := r.volts - low; swing > 0 && rising[0] < low+0.1*swing {
		r.riseSeconds = crossing(t, rising, low+0.9*swing) - crossing(t, rising, low+0.1*swing)
		r.overshoot = max(0, r.highest-code/2-r.volts) / swing
		if slope := 0.8 * swing / r.riseSeconds; slope > 0 {
			jitter := math.Hypot(noise/3, code/math.Sqrt(12)) / slope
			r.crossingSD = math.Hypot(step, jitter)
			r.riseSD = math.Sqrt2 * r.crossingSD
		}
	}
	highest := math.Inf(-1) // so far; an overshoot beyond what was set is no level to fall from
	for i, v := range mids {
		highest = max(highest, v)
		if highest >= r.volts-code {
			r.sag = max(r.sag, min(highest, max(setVolts, r.volts))-noise-t.Min[i])
		}
	}
	r.sagSD = math.Hypot(noise/3, code/math.Sqrt(6)) // of two levels, each read to a code
	if r.sag <= 2*code*(1+1e-9) {                    // two codes apart may round to more
		r.sag = 0 // a code more or less is no sag
	}
	return r
}

// quantum is the smallest step between values, which tells a converter's code
// where the record does not say it; 0 if all are equal.
func quantum(v []float64) float64 {
	sorted := slices.Clone(v)
	slices.Sort(sorted)
	step := math.Inf(1)
	for i := range sorted[1:] {
		if d := sorted[i+1] - sorted[i]; d > 1e-6*(sorted[len(sorted)-1]-sorted[0]) { // less is rounding
			step = min(step, d)
		}
	}
	if math.IsInf(step, 1) {
		return 0
	}
	return step
}

// levels are the two states of a waveform, in volts.
type levels struct {
	lowMode, highMode float64 // by the histogram of IEEE 181: the fullest bin of each half, its middle
	low, high         float64 // the median of the samples in each half, which has no bin's width in it
}

// stateLevels finds the two states by the histogram method of IEEE 181, in a
// hundred bins over the range of v.
func stateLevels(v []float64) levels {
	low, high := slices.Min(v), slices.Max(v)
	if !(high > low) {
		return levels{low, low, low, low}
	}
	const bins = 100
	var count [bins]int
	width := (high - low) / bins
	var halves [2][]float64
	for _, x := range v {
		k := min(bins-1, int((x-low)/width))
		count[k]++
		halves[2*k/bins] = append(halves[2*k/bins], x)
	}
	fullest := func(from int) float64 {
		best := from
		for k := from; k < from+bins/2; k++ {
			if count[k] > count[best] {
				best = k
			}
		}
		return low + (float64(best)+0.5)*width
	}
	return levels{fullest(0), fullest(bins / 2), median(halves[0]), median(halves[1])}
}

// deviation is the standard deviation of v, 0 of fewer than two values.
func deviation(v []float64) float64 {
	if len(v) < 2 {
		return 0
	}
	mean, sum := 0.0, 0.0
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		sum += (x - mean) * (x - mean)
	}
	return math.Sqrt(sum / float64(len(v)-1))
}

// readRailRecord measures a rail recorded at full rate: first in bins, then its
// edge in bins so narrow that the record's own step limits what is read.
func readRailRecord(r Record, setVolts, fraction float64) (Trace, rail) {
	coarse := r.Peaks(mostBins)
	result := readRail(coarse, setVolts, fraction)
	per := int(math.Round(coarse.StepSeconds / r.StepSeconds))
	if per <= 1 || math.IsNaN(result.crossing) {
		return coarse, result
	}
	edge := coarse.before(result.crossing)
	width := 4
	if bins := result.riseSeconds / coarse.StepSeconds; bins > 0 {
		width += int(2 * bins)
	}
	from, to := max(0, edge-width)*per, min(r.Len(), (edge+width+1)*per)
	near := r.window(from, to)
	per = max(1, near.Len()/mostBins)
	// The mean of a bin belongs to its middle and has less noise than a sample.
	b := near.binned(per)
	fine := b.t
	fine.StartSeconds += float64(per-1) / 2 * r.StepSeconds
	fine.Min, fine.Max = b.mean, b.mean
	if at := crossing(fine, b.mean, fraction*setVolts); !math.IsNaN(at) {
		result.crossing = at
		low := b.mean[0]
		if pre := quietBins(coarse, 0); pre > 0 {
			low = median(coarse.mids()[:pre])
		}
		swing := result.volts - low
		rise := crossing(fine, b.mean, low+0.9*swing) - crossing(fine, b.mean, low+0.1*swing)
		step := fine.StepSeconds / math.Sqrt(12)
		result.crossingSD = step
		if rise > 0 {
			result.riseSeconds = rise
			result.crossingSD = math.Hypot(step, math.Hypot(deviation(b.mean[:max(2, width/2)]), coarse.codeVolts()/math.Sqrt(12))*rise/(0.8*swing))
			result.riseSD = math.Sqrt2 * result.crossingSD
		}
	}
	return coarse, result
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
