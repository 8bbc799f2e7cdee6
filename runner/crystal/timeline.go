package crystal

import "math"

// timeline is the rail of one power-up: spans in closed form, the last few of
// which may repeat for ever (the lamp's blinking, a reset loop).
type timeline struct {
	spans    [10]span
	n        int
	loopFrom float64 // start of the repeating part; +Inf if none
	period   float64
}

func (tl *timeline) last() *span { return &tl.spans[tl.n-1] }

// begin turns the output on with residual volts on the capacitor. A supply does
// not draw current back, so the rail waits until the source has caught up.
func (tl *timeline) begin(path *SupplyPath, ohms, residual float64, st state) {
	tl.spans[0] = span{
		start: residual / path.SlewVoltsPerSecond, from: residual, source: residual,
		slew: path.SlewVoltsPerSecond, amps: path.amps(st), ohms: ohms,
		rc: ohms * path.DecouplingFarads, state: st,
	}
	tl.n, tl.loopFrom = 1, math.Inf(1)
}

// enter starts a new state at t, the rail going on from where it is.
func (tl *timeline) enter(t float64, st state, path *SupplyPath) {
	s := *tl.last()
	s.from, s.source, s.start = s.volts(t), s.sourceVolts(t), t
	s.state, s.amps = st, path.amps(st)
	tl.spans[tl.n] = s
	tl.n++
}

// stand ends the source's ramp at t: it stands at volts from there on.
func (tl *timeline) stand(t, volts float64) {
	s := *tl.last()
	s.from, s.source, s.slew, s.start = s.volts(t), volts, 0, t
	tl.spans[tl.n] = s
	tl.n++
}

// loop makes what lies between from and to repeat.
func (tl *timeline) loop(from, to float64) { tl.loopFrom, tl.period = from, to-from }

// at folds a time into the spans and finds its span; before the first one the
// span is the first.
func (tl *timeline) at(t float64) (*span, float64) {
	if t >= tl.loopFrom {
		t = tl.loopFrom + math.Mod(t-tl.loopFrom, tl.period)
	}
	i := tl.n - 1
	for i > 0 && tl.spans[i].start > t {
		i--
	}
	return &tl.spans[i], t
}

func (tl *timeline) volts(t float64) float64 {
	s, t := tl.at(t)
	if t < s.start {
		return s.from
	}
	return s.volts(t)
}

func (tl *timeline) sourceVolts(t float64) float64 {
	s, t := tl.at(t)
	if t < s.start {
		return s.from
	}
	return s.sourceVolts(t)
}

// amps is the unit's load in a state.
func (p *SupplyPath) amps(st state) float64 {
	switch st {
	case booting:
		return p.BootAmps
	case running:
		return p.RunAmps
	case lampLit:
		return p.RunAmps + p.LampAmps
	case hung:
		return p.HungAmps
	default:
		return p.ResetAmps
	}
}
