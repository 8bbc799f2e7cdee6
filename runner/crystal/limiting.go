package crystal

import "math"

// railAmps is I_z, the motional current at which a rail-limited stage has no
// gain left: |Rn|(I) = |Rn0|·(1-(I/I_z)²).
func railAmps(n *Net, c0, volts, omega float64) float64 {
	a := n.Cin + n.CsA + n.CpA + loading(n.CA, n.RA, omega)
	b := n.CsB + n.Cout + n.CpB + loading(n.CB, n.RB, omega)
	c3 := c0 + n.Cs + n.Cfb
	return limitSwing * volts / 2 * min(1, b/a) * omega * (a + c3*(1+a/b))
}

// loading is the capacitance that still loads a node through a crack.
func loading(farads, ohms, omega float64) float64 {
	if ohms*omega*farads >= crackedAway {
		return 0
	}
	return farads
}

// logistic is growth under that limit, in closed form: from startAmps at t = 0
// to finalAmps with the small-signal time constant tau.
type logistic struct {
	finalAmps float64
	excess    float64 // (final/start)² - 1
	tau       float64 // s
}

func newLogistic(startAmps, finalAmps, tau float64) logistic {
	q := finalAmps / startAmps
	return logistic{finalAmps: finalAmps, excess: q*q - 1, tau: tau}
}

func (l *logistic) amps(t float64) float64 {
	return l.finalAmps / math.Sqrt(1+l.excess*math.Exp(-2*t/l.tau))
}

// seconds is when the fraction p of the final current is reached.
func (l *logistic) seconds(p float64) float64 {
	return l.tau / 2 * math.Log(l.excess*p*p/(1-p*p))
}

// finalAmps is the steady current for a start resistance rn (size) against r1.
func finalAmps(rail, rn, r1 float64) float64 { return rail * math.Sqrt(1-r1/rn) }

// DriveWatts is the power in the crystal at a peak motional current.
func DriveWatts(r1, peakAmps float64) float64 { return r1 * peakAmps * peakAmps / 2 }
