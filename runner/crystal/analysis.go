package crystal

import "math"

// Analysis is what the calculator says of one circuit. It is small-signal
// theory, exact for the circuit; amplitude and drive are the closed form of
// rail limiting, good to some 6 %.
type Analysis struct {
	Stage                         Stage
	Hertz, PullingPPM, LoadFarads float64 // of the oscillation; pulling against fL
	ReactanceOhms                 float64 // seen by the motional arm
	// LimitedPPM is the pulling once the amplitude is limited: the stage's gm has
	// then fallen to the critical one. PullingPPM is that of the growing start.
	LimitedPPM float64

	NegativeOhms float64 // |-R| seen by the motional arm; negative where the net only loses
	TerminalOhms float64 // the same at the crystal's pins, behind C0
	InsertOhms   float64 // series resistor at the crystal that just stops it; 0 if it does not start without

	CriticalGm       GmRange
	GainMargin       float64 // gm over the least that starts; 0 where none does
	UpperMargin      float64 // the largest gm that starts over gm
	ResistanceMargin float64 // |-R| over R1
	OptimumGm        float64 // S; beyond it more gm makes |-R| smaller
	TextbookGm       float64 // S; CriticalGm, the function: blind to every loss but R1

	Starts        bool    // |-R| exceeds R1
	GrowthSeconds float64 // time constant; negative where it decays
	FirstAmps     float64 // motional, peak, that growth typically starts from: root mean square over power-ups
	StartSeconds  float64 // typical time to 90 % of the steady amplitude; +Inf if never
	// Its distribution over power-ups, from noise and the supply's edge.
	Start5Seconds, Start50Seconds, Start95Seconds float64
	ClockSeconds                                  float64 // to a usable clock, the count of 1024 included; +Inf if never
	InTime                                        bool    // within the time-out
	TimeoutOhms                                   float64 // what the time-out costs

	MotionalAmps, DriveWatts float64 // steady; peak
	AVolts, BVolts           float64 // steady, peak amplitude at the nodes
}

// operating is a circuit settled at its frequency.
type operating struct {
	x     Resonator
	n     Net // with the stage's output conductance
	stage Stage
	omega float64
	z     complex128
}

func (c *Circuit) operate() operating {
	o := operating{x: c.crystal(), n: c.Net, stage: c.stage()}
	o.n.Gds = o.stage.Gds
	o.omega, o.z = o.x.Settle(&o.n, o.stage.Gm)
	return o
}

func (o *operating) negative() float64 { return -real(o.z) }

// margin is gm over the least that starts; 0 where none does.
func (o *operating) margin() float64 { return o.x.GainMargin(&o.n, o.stage.Gm) }

// start is the growth of a typical power-up, the stage on at t = 0.
func (o *operating) start(c *Circuit) growth {
	return newGrowth(o.x, o.negative(), railAmps(&o.n, o.x.C0, c.SupplyVolts, o.omega), o.firstAmps(c), 0, 0)
}

// firstAmps is the first amplitude of a typical power-up, the root mean square
// of noise and kick together. At megahertz it is mostly noise; in a tuning fork
// the supply's edge excites far more than that.
func (o *operating) firstAmps(c *Circuit) float64 {
	return math.Hypot(o.kick(c), math.Sqrt2*o.sigma(c))
}

// kick is what the supply's edge excites.
func (o *operating) kick(c *Circuit) float64 {
	return kickAmps(o.x.L1, o.omega, c.SupplyVolts/rampSeconds)
}

// limitedOmega is the angular frequency with the stage's gm fallen to the
// critical one; of a circuit that does not start, the small-signal one.
func (o *operating) limitedOmega() float64 {
	low := o.x.StartRange(&o.n).Low
	if !(low < o.stage.Gm) {
		return o.omega
	}
	omega, _ := o.x.Settle(&o.n, low)
	return omega
}

// sigma is one quadrature of the noise that growth starts from.
func (o *operating) sigma(c *Circuit) float64 {
	return noiseAmps(o.x.L1, c.Celsius+zeroCelsius, o.negative(), o.x.R1)
}

// clockSeconds is when the microcontroller trusts the clock; +Inf if never.
func (o *operating) clockSeconds(c *Circuit) float64 {
	g := o.start(c)
	return g.seconds() + clockCycles*2*math.Pi/o.omega
}

// inTime reports whether there is a usable clock within the time-out.
func (c *Circuit) inTime() bool {
	o := c.operate()
	return o.clockSeconds(c) <= c.TimeoutSeconds
}

// Analyse calculates the circuit, which must be valid.
func (c Circuit) Analyse() Analysis {
	o := c.operate()
	x, n, gm := o.x, &o.n, o.stage.Gm
	a := Analysis{
		Stage: o.stage, Hertz: o.omega / (2 * math.Pi), ReactanceOhms: imag(o.z),
		LoadFarads: x.LoadFarads(o.omega, imag(o.z)), NegativeOhms: o.negative(),
		CriticalGm: x.StartRange(n), GainMargin: o.margin(), ResistanceMargin: o.negative() / x.R1,
		OptimumGm: optimumGm(n, x.C0, o.omega), Starts: o.negative() > x.R1,
		ClockSeconds: math.Inf(1), StartSeconds: math.Inf(1),
		Start5Seconds: math.Inf(1), Start50Seconds: math.Inf(1), Start95Seconds: math.Inf(1),
	}
	a.PullingPPM = 1e6 * (a.Hertz/c.Hertz - 1)
	a.LimitedPPM = 1e6 * (o.limitedOmega()/(2*math.Pi*c.Hertz) - 1)
	a.UpperMargin = a.CriticalGm.High / gm
	a.TextbookGm = CriticalGm(a.Hertz, x.R1, x.C0, a.LoadFarads)
	a.TerminalOhms, a.InsertOhms = o.insertion()
	alpha, _ := x.Growth(n, gm)
	a.GrowthSeconds = 1 / alpha

	a.FirstAmps = o.firstAmps(&c)
	rail := railAmps(n, x.C0, c.SupplyVolts, o.omega)
	a.TimeoutOhms = x.TimeoutOhms(a.FirstAmps, clockLevel*rail, c.TimeoutSeconds)
	if !a.Starts {
		return a
	}
	g := o.start(&c)
	if g.limit.finalAmps == 0 {
		return a
	}
	a.ClockSeconds = o.clockSeconds(&c)
	a.InTime = a.ClockSeconds <= c.TimeoutSeconds
	a.StartSeconds = g.limit.seconds(0.9)
	kick, sigma := o.kick(&c), o.sigma(&c)
	for _, q := range []struct {
		share   float64
		seconds *float64
	}{{0.05, &a.Start5Seconds}, {0.5, &a.Start50Seconds}, {0.95, &a.Start95Seconds}} {
		// Late is small: the share of starts that are sooner began with more.
		first := firstQuantile(kick, sigma, 1-q.share)
		l := newLogistic(first, g.limit.finalAmps, g.limit.tau)
		*q.seconds = l.seconds(0.9)
	}
	a.MotionalAmps = g.limit.finalAmps
	a.DriveWatts = DriveWatts(x.R1, a.MotionalAmps)
	swing := newSwing(x, n, gm, o.omega, a.MotionalAmps)
	a.AVolts, a.BVolts = swing.volts("A", a.MotionalAmps), swing.volts("B", a.MotionalAmps)
	return a
}

// optimumGm is the gm of the largest negative resistance of the net without
// its losses (Vittoz, Degrauwe and Bitz, IEEE JSSC 1988, from memory).
func optimumGm(n *Net, c0, omega float64) float64 {
	a, b := n.CA+n.Cin+n.CsA+n.CpA, n.CB+n.Cout+n.CsB+n.CpB
	return omega * (a + b + a*b/(c0+n.Cs+n.Cfb))
}

// insertion is the negative resistance at the crystal's pins and the series
// resistor there that just stops the oscillation. Behind C0 both are larger
// than what the motional arm sees, by about (1+C0/CL)².
func (o *operating) insertion() (terminalOhms, insertOhms float64) {
	terminalOhms = -real(o.n.terminals(complex(0, o.omega)).Ohms(o.stage.Gm))
	runs := func(ohms float64) bool {
		n := o.n
		n.Rins += ohms
		_, z := o.x.Settle(&n, o.stage.Gm)
		return -real(z) > o.x.R1
	}
	if !runs(0) {
		return terminalOhms, 0
	}
	low, high := 0.0, o.x.R1
	for runs(high) {
		if low, high = high, 2*high; high > 1e9 {
			return terminalOhms, math.Inf(1)
		}
	}
	return terminalOhms, boundary(low, high, runs)
}
