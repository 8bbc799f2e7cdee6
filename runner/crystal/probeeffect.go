package crystal

import "math"

// NamedProbe is a kind of scope probe.
type NamedProbe struct {
	Name         string
	Farads, Ohms float64
}

// Probes lists the usual kinds: 10x, 1x, active.
func Probes() []NamedProbe {
	return []NamedProbe{{"10x", 12e-12, 10e6}, {"1x", 100e-12, 1e6}, {"active", 1e-12, 1e6}}
}

// ProbeEffect is what a probe at one crystal pin does to the circuit.
type ProbeEffect struct {
	Name                       string
	Probe                      Probe
	PPM                        float64 // against the circuit without it
	GainMarginBare, GainMargin float64
	Starts                     bool // within the time-out, at the circuit's supply
	// StopsBelowVolts is the least supply with a usable clock: +Inf if there is
	// none at any supply, NaN where gm is fixed.
	StopsBelowVolts float64
}

// ProbeEffects of the usual probes, each at A and then at B.
func (c Circuit) ProbeEffects() []ProbeEffect {
	bare := c.operate()
	var list []ProbeEffect
	for _, p := range Probes() {
		for _, node := range []string{"A", "B"} {
			e := ProbeEffect{Name: p.Name, Probe: Probe{Node: node, Farads: p.Farads, Ohms: p.Ohms}, GainMarginBare: bare.margin()}
			d := c.Probed(e.Probe)
			o := d.operate()
			e.PPM = 1e6 * (o.omega/bare.omega - 1)
			e.GainMargin = o.margin()
			e.Starts = d.inTime()
			volts, err := d.LowestStart()
			if e.StopsBelowVolts = volts; err == nil && math.IsNaN(volts) {
				e.StopsBelowVolts = math.Inf(1)
			}
			list = append(list, e)
		}
	}
	return list
}
