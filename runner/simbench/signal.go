package simbench

import "math"

// signal is what one probe puts on one of the scope's connectors, before the scope's own noise.
type signal interface {
	// at is the slow level and the peak amplitude of the oscillation on it, in volts at the connector, t seconds into
	// the stretch.
	at(st *stretch, t float64) (level, amplitude float64)
	// square tells whether the oscillation is square instead of sine.
	square() bool
}

// railSignal is the unit's supply leads through a 10:1 probe.
type railSignal struct{}

func (railSignal) at(st *stretch, t float64) (level, amplitude float64) {
	return st.terminalVolts(t) / railAttenuation, 0
}

func (railSignal) square() bool { return false }

// lampSignal is a photodiode before the status lamp; an unfitted one leaves the input open.
type lampSignal struct{ fitted bool }

func (l lampSignal) at(st *stretch, t float64) (level, amplitude float64) {
	switch {
	case !l.fitted:
		return 0, 0
	case st.lampOn(t):
		return lampVolts, 0
	}
	return lampDarkVolts, 0
}

func (lampSignal) square() bool { return false }

// clockSignal is the clock as its probe sees it.
type clockSignal Probe

// The rail's edge couples into the clock probe's ground lead: volts at the connector per volt per second.
const edgeCoupling = 0.2e-6

// edgeSeconds after output-on the rail stands still enough for the coupling not to matter.
const edgeSeconds = 2e-3

func (c clockSignal) at(st *stretch, t float64) (level, amplitude float64) {
	attenuation := Probe(c).attenuation()
	switch c.Node {
	case NodeA, NodeB:
		level, amplitude = st.node(c.Node, t)
		level, amplitude = level/attenuation, Probe(c).trim()*amplitude/attenuation
	case NodeNearField:
		amplitude = st.motionalAmps(t) * coilOhms
	case NodeBuffered:
		level = st.logicVolts(t) / 2 / attenuation
		amplitude = level
	default:
		return 0, 0
	}
	if st.on && t < edgeSeconds {
		const dt = 1e-6
		level += edgeCoupling * (st.terminalVolts(t+dt) - st.terminalVolts(t)) / dt
	}
	return level, amplitude
}

func (c clockSignal) square() bool { return c.Node == NodeBuffered }

// carrier is the oscillation's value between −1 and 1 at t seconds into the stretch.
func (st *stretch) carrier(t float64, square bool) float64 {
	if st.up == nil {
		return 0
	}
	cycles := st.up.Hertz() * (t + st.wasOn())
	if st.on {
		cycles = st.up.Hertz() * t
	}
	_, fraction := math.Modf(cycles)
	v := math.Sin(2*math.Pi*fraction + st.phase)
	if square {
		return math.Copysign(1, v)
	}
	return v
}
