package crystal

import "math"

// growth is the motional current's envelope from the moment the stage is on.
type growth struct {
	first  float64     // A, where it starts
	level  float64     // A, a usable clock
	grows  bool        // reaches that level
	asleep bool        // the crystal's resistance still depends on the current
	climb  sleepGrowth // of a sleepy crystal, up to the level
	limit  logistic    // from first, or from the level after such a climb
}

// newGrowth works out the envelope for the start resistance rn (size) and the
// rail-limited current rail, both in the crystal x.
func newGrowth(x Resonator, rn, rail, first, asleepOhms, sleepAmps float64) (g growth) {
	g.begin(&x, rn, rail, first, asleepOhms, sleepAmps)
	return g
}

// begin is newGrowth in place: the climb's table is half a kilobyte.
func (g *growth) begin(x *Resonator, rn, rail, first, asleepOhms, sleepAmps float64) {
	g.first, g.level = first, clockLevel*rail
	r1 := x.R1
	if asleepOhms > 0 {
		g.asleep = true
		g.grows = g.climb.climb(first, g.level, func(amps float64) float64 {
			q := amps / rail
			return (rn*(1-q*q) - x.R1 - asleepOhms/(1+amps/sleepAmps)) / (2 * x.L1)
		})
		if !g.grows {
			return
		}
		// From the clock level on, the current leaves only a trace of the rise.
		first, r1 = g.level, r1+asleepOhms/(1+g.level/sleepAmps)
	}
	if rn <= r1 {
		return
	}
	if steady := finalAmps(rail, rn, r1); steady > first {
		g.limit = newLogistic(first, steady, 2*x.L1/(rn-r1))
		g.grows = steady > g.level
	}
}

// amps is the peak motional current t seconds after the stage is on.
func (g *growth) amps(t float64) float64 {
	if t <= 0 {
		return g.first
	}
	if g.asleep {
		if end := g.climb.end(); t < end || !g.grows {
			return g.climb.amps(t)
		} else {
			t -= end
		}
	}
	if g.limit.finalAmps == 0 {
		return g.first
	}
	return g.limit.amps(t)
}

// seconds is when the clock level is reached; +Inf if never.
func (g *growth) seconds() float64 {
	switch {
	case !g.grows:
		return math.Inf(1)
	case g.asleep:
		return g.climb.end()
	default:
		return g.limit.seconds(g.level / g.limit.finalAmps)
	}
}

// restart is the envelope of every later start in a reset loop driven by the
// lamp: the crystal rings down while the stage is held in reset, and grows
// again from what is left.
type restart struct {
	dip      float64 // s, reset begins
	amps     float64 // A at the dip
	ringdown float64 // s
	release  float64 // s, reset ends
	on       float64 // s, growth begins
	limit    logistic
}

func (r *restart) at(t float64) float64 {
	if t > r.on {
		return r.limit.amps(t - r.on)
	}
	return r.amps * math.Exp(-(min(t, r.release)-r.dip)/r.ringdown)
}

// swing turns motional amperes into volts at the nodes. Limiting lowers the
// stage's effective gm from its small-signal value to the least that sustains,
// and the nodes' volts per ampere with it; both ends are exact, and between
// them |Rn| and so gm fall with the square of the current.
type swing struct {
	steadyAmps     float64
	a, b           float64 // ohms at no current
	aFalls, bFalls float64 // change of these up to the steady current
}

func newSwing(x Resonator, n *Net, gm, omega, steadyAmps float64) swing {
	s := swing{steadyAmps: steadyAmps}
	at := complex(0, omega)
	s.a, s.b = magnitudes(NodeOhms(n, x.C0, gm, at))
	if steadyAmps == 0 {
		return s
	}
	if low := Coeffs(n, x.C0, at).startRange(x.R1).Low; low < gm {
		a, b := magnitudes(NodeOhms(n, x.C0, low, at))
		s.aFalls, s.bFalls = a-s.a, b-s.b
	}
	return s
}

func magnitudes(a, b complex128) (float64, float64) {
	return math.Hypot(real(a), imag(a)), math.Hypot(real(b), imag(b))
}

// volts is the peak amplitude at a node for a motional current.
func (s *swing) volts(node string, amps float64) float64 {
	q := 0.0
	if s.steadyAmps > 0 {
		q = min(1, amps/s.steadyAmps)
		q *= q
	}
	switch node {
	case "A":
		return amps * (s.a + s.aFalls*q)
	case "B":
		return amps * (s.b + s.bFalls*q)
	default:
		return 0
	}
}
