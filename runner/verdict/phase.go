package verdict

import "math"

const (
	phaseBlock = 2048    // samples behind one phase, about
	phaseWhole = 1 << 17 // samples of a stretch that is followed without leaving any out
	phaseEnd   = 12      // of a longer one, this part at either end: a slope is known by its ends
)

// followPhase sharpens the frequency of a sine that was fitted to the last
// samples of a record by the slope of its phase over all of it. It returns the
// frequency and its standard uncertainty, both in hertz; false if the phase does
// not follow a line, as that of a clock that wanders or stops, or if the record
// is no longer than what was fitted.
//
// The phase of each block is the three-parameter fit of IEEE 1057 at the
// frequency known so far; the line through equally sure phases over the whole of
// a record is as good as the fit of all samples at once.
func followPhase(r Record, s Sine, fitted int) (hertz, sd float64, ok bool) {
	n := r.Len()
	if n <= fitted {
		return 0, 0, false
	}
	count := max(4, (n+phaseBlock-1)/phaseBlock)
	size := n / count
	cycles := s.FrequencyHertz * r.StepSeconds
	f := newBlockFit(size, 2*math.Pi*cycles)
	line := phaseLine{}
	_, sdHertz, _ := s.deviations(fitted, r.StepSeconds)
	_, _, sdPhase := s.deviations(size, r.StepSeconds)
	dense := max(1, count/phaseEnd)
	for i := count - 1; i >= 0; i-- {
		if n > phaseWhole && i >= dense && i < count-dense && i%max(1, count/8) != 0 {
			continue
		}
		at := float64(i*size) + float64(size-1)/2
		phase := f.phase(r, i*size) - math.Remainder(2*math.Pi*cycles*at, 2*math.Pi)
		slope, middle, sdSlope := line.slope(sdPhase)
		if line.count < 2 {
			slope, sdSlope = 0, 2*math.Pi*sdHertz*r.StepSeconds
		}
		expected := line.mean + slope*(at-middle)
		if line.count > 0 {
			if 3*math.Abs(at-middle)*sdSlope > math.Pi/2 {
				return 0, 0, false // a turn more or less would not show
			}
			phase = expected + math.Remainder(phase-expected, 2*math.Pi)
			if math.Abs(phase-expected) > 0.5+6*math.Hypot(sdPhase, math.Abs(at-middle)*sdSlope) {
				return 0, 0, false
			}
		}
		line.add(at, phase)
	}
	slope, _, sdSlope := line.slope(sdPhase)
	perRadian := 1 / (2 * math.Pi * r.StepSeconds)
	return s.FrequencyHertz + slope*perRadian, sdSlope * perRadian * max(1, line.scatter()/sdPhase), true
}

// phaseLine is the least-squares line through phases over time, in samples.
type phaseLine struct {
	count        int
	middle, mean float64 // of times and of phases
	tt, tp, pp   float64 // sums about them
}

func (l *phaseLine) add(t, p float64) {
	l.count++
	k := float64(l.count)
	dt, dp := t-l.middle, p-l.mean
	l.middle += dt / k
	l.mean += dp / k
	l.tt += dt * (t - l.middle)
	l.tp += dt * (p - l.mean)
	l.pp += dp * (p - l.mean)
}

// slope returns radians a sample, the time about which the line turns, and the
// standard uncertainty of the slope for phases good to sd.
func (l *phaseLine) slope(sd float64) (slope, middle, sdSlope float64) {
	if l.count < 2 {
		return 0, l.middle, math.Inf(1)
	}
	return l.tp / l.tt, l.middle, sd / math.Sqrt(l.tt)
}

// scatter is the standard deviation of the phases about the line.
func (l *phaseLine) scatter() float64 {
	if l.count < 3 {
		return 0
	}
	return math.Sqrt(max(0, l.pp-l.tp*l.tp/l.tt) / float64(l.count-2))
}

// blockFit fits sine, cosine and a constant of one frequency to blocks of one size.
type blockFit struct {
	cos, sin       []float64 // counted from the middle of the block, where they do not mix
	cc, c, ss, one float64   // sums of squares and of the cosine; samples
}

func newBlockFit(size int, omega float64) *blockFit {
	f := &blockFit{cos: make([]float64, size), sin: make([]float64, size), one: float64(size)}
	middle := float64(size-1) / 2
	for k := range size {
		sin, cos := math.Sincos(omega * (float64(k) - middle))
		f.sin[k], f.cos[k] = sin, cos
		f.cc += cos * cos
		f.c += cos
		f.ss += sin * sin
	}
	return f
}

// phase returns the phase in the middle of the block that begins at sample from, in radians.
func (f *blockFit) phase(r Record, from int) float64 {
	var sum, cos, sin float64
	to := from + len(f.cos)
	switch {
	case len(r.Codes8) > 0:
		sum, cos, sin = correlate(r.Codes8[from:to], f.cos, f.sin)
	case len(r.Codes16) > 0:
		sum, cos, sin = correlate(r.Codes16[from:to], f.cos, f.sin)
	default:
		sum, cos, sin = correlate(r.Volts[from:to], f.cos, f.sin)
	}
	a := (cos*f.one - sum*f.c) / (f.cc*f.one - f.c*f.c)
	b := sin / f.ss
	if r.unit() < 0 {
		a, b = -a, -b
	}
	return math.Atan2(-b, a)
}

// correlate sums the samples and their products with cosine and sine, four in
// flight at a time.
func correlate[S sample](v []S, cosines, sines []float64) (sum, cos, sin float64) {
	var s0, s1, c0, c1, c2, c3, q0, q1, q2, q3 float64
	for ; len(v) >= 4 && len(cosines) >= 4 && len(sines) >= 4; v, cosines, sines = v[4:], cosines[4:], sines[4:] {
		w, c, s := (*[4]S)(v), (*[4]float64)(cosines), (*[4]float64)(sines)
		x0, x1, x2, x3 := float64(w[0]), float64(w[1]), float64(w[2]), float64(w[3])
		s0 += x0 + x1
		s1 += x2 + x3
		c0 += x0 * c[0]
		c1 += x1 * c[1]
		c2 += x2 * c[2]
		c3 += x3 * c[3]
		q0 += x0 * s[0]
		q1 += x1 * s[1]
		q2 += x2 * s[2]
		q3 += x3 * s[3]
	}
	for i, x := range v {
		s0 += float64(x)
		c0 += float64(x) * cosines[i]
		q0 += float64(x) * sines[i]
	}
	return s0 + s1, c0 + c1 + (c2 + c3), q0 + q1 + (q2 + q3)
}
