package verdict

import "math"

// slowApproach is the part of the record that a growth's time constant must be
// longer than for its end to be followed by its law.
const slowApproach = 0.02

// approach follows a clock that nears its steady amplitude so slowly that a
// little noise, or a record that ends before it is quite there, would move the
// instant of 90 %. It fits the law of an oscillator whose gain falls with the
// square of its amplitude,
//
//	1/A(t)² = (1/S²) (1 + c exp(-2t/tau))
//
// to all bins of the run from 30 % of level on, linear in all but tau, and
// returns the steady amplitude S in volts, the time of the record at which 90 %
// of it was reached, and that time's standard uncertainty. It is not ok where the
// clock is quicker, or does not follow the law.
func (e *envelope) approach(run span, level float64) (steady, at, sd float64, ok bool) {
	top, _ := e.reaches(run, steadyFraction*level)
	half, _ := e.reaches(run, 0.5*level)
	if top < 0 {
		return 0, 0, 0, false
	}
	from := half // a run may begin at half its amplitude
	for from > e.first && e.amplitude[from-1] >= 0.3*level {
		from--
	}
	if run.to-from < 20 || from == e.first {
		return 0, 0, 0, false
	}
	// From 50 to 90 % the law takes 1.274 time constants.
	tau := float64(top-half) / 1.274
	if tau < slowApproach*float64(len(e.amplitude)) || tau < 2*float64(e.shared) {
		return 0, 0, 0, false
	}
	// The least misfit over tau, by golden section in its logarithm.
	low, high := math.Log(tau/2.5), math.Log(tau*2.5)
	const golden = 0.6180339887498949
	a, b := high-golden*(high-low), low+golden*(high-low)
	fa, fb := e.law(from, run.to, top, math.Exp(a)), e.law(from, run.to, top, math.Exp(b))
	for range 16 {
		if fa.misfit < fb.misfit {
			high, b, fb = b, a, fa
			a = high - golden*(high-low)
			fa = e.law(from, run.to, top, math.Exp(a))
		} else {
			low, a, fa = a, b, fb
			b = low + golden*(high-low)
			fb = e.law(from, run.to, top, math.Exp(b))
		}
	}
	f := fa
	// What scatters about the law must be noise. A stage that goes on softening
	// leaves more than that.
	if !(f.p > 0 && f.q > 0) || !(f.misfit < math.Hypot(2*e.roughness(span{top, run.to}), 0.002*level)) {
		return 0, 0, 0, false
	}
	steady = 1 / math.Sqrt(f.p)
	bins := float64(top) - f.tau/2*math.Log(f.p*(1/(steadyFraction*steadyFraction)-1)/f.q)
	if !(steady > 0.95*level && steady < 1.1*level) || !(bins > float64(from) && bins < float64(run.to)) {
		return 0, 0, 0, false
	}
	// Near 90 % the amplitude rises by 0.171 of the steady one in a time constant,
	// over which as many values count as do not share bins. The steady amplitude
	// itself is sure to a part of what had to be added to the last one seen.
	noise := f.misfit / math.Sqrt(max(1, f.tau/float64(e.shared)))
	beyond := max(0, steady-e.amplitude[run.to-1])
	sd = math.Hypot(2*noise, beyond/4) / (0.171 * steady) * f.tau
	return steady, e.at(0) + bins*e.t.StepSeconds, math.Hypot(sd, 1/math.Sqrt(12)) * e.t.StepSeconds, true
}

// roughness is the standard deviation of one amplitude from what lies on either
// side of it: noise shows in it, a bend does not; infinite if s is too short.
func (e *envelope) roughness(s span) float64 {
	k := max(5, e.shared) // nearer values share samples, or a median
	sum, count := 0.0, 0
	for i := s.from + k; i+k < s.to; i++ {
		d := e.amplitude[i] - (e.amplitude[i-k]+e.amplitude[i+k])/2
		sum += d * d / 1.5
		count++
	}
	if count < 8 {
		return math.Inf(1)
	}
	return math.Sqrt(sum / float64(count))
}

// lawFit is 1/A² = p + q exp(-2 (i-top)/tau), i counting bins.
type lawFit struct{ tau, p, q, misfit float64 }

// law fits p and q for one tau, in bins, each value weighted as its noise has it;
// misfit is the root mean square of the amplitude's deviation, in volts.
func (e *envelope) law(from, to, top int, tau float64) lawFit {
	var w, wz, wzz, wy, wyz, wyy float64
	z := math.Exp(-2 * float64(from-top) / tau)
	step := math.Exp(-2 / tau)
	for _, a := range e.amplitude[from:to] {
		if a > 0 {
			y := 1 / (a * a)
			weight := a * a * a / 2
			weight *= weight
			w += weight
			wz += weight * z
			wzz += weight * z * z
			wy += weight * y
			wyz += weight * y * z
			wyy += weight * y * y
		}
		z *= step
	}
	f := lawFit{tau: tau}
	d := w*wzz - wz*wz
	f.q = (w*wyz - wz*wy) / d
	f.p = (wy - f.q*wz) / w
	sum := wyy - f.p*wy - f.q*wyz
	f.misfit = math.Sqrt(max(0, sum) / float64(to-from))
	if !finite(f.p) || !finite(f.q) {
		f.misfit = math.Inf(1)
	}
	return f
}
