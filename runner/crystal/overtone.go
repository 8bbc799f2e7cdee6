package crystal

// Overtone is a crystal's third-overtone arm. With the fundamental blocked (a
// film, small load capacitors) or far too much gm, it may win: the clock then
// runs three times too fast. The zero value is none.
type Overtone struct{ L1, C1, R1 float64 }

// ThirdOvertone is the usual arm of a crystal: the same inductance, a ninth of
// the capacitance, so three times the series frequency; r1 ohms is its
// resistance, 40 to 100 ohms or more in a crystal made for its fundamental.
func ThirdOvertone(x Resonator, r1 float64) Overtone {
	return Overtone{L1: x.L1, C1: x.C1 / 9, R1: r1}
}

// in is the arm as a resonator in the place of the fundamental's.
func (o Overtone) in(x *Resonator) Resonator {
	return Resonator{L1: o.L1, C1: o.C1, R1: o.R1, C0: x.C0}
}

// faster reports whether this arm, against the start resistance rn (size) at its
// frequency, grows and does so faster than another: the fastest wins, since its
// limiting takes the gain from the others.
func (r *Resonator) faster(rn float64, other *Resonator, otherRn float64) bool {
	rate := (rn - r.R1) / r.L1
	return rate > 0 && rate > (otherRn-other.R1)/other.L1
}

// GrowthOfBoth returns the growth of the fundamental and of the overtone in one
// net, each with the other arm's load: the complex roots of
// Zarm(s) + 1/(1/Zc(s) + 1/Zother(s)) = 0.
func (r Resonator) GrowthOfBoth(o Overtone, n *Net, gm float64) (fundamental, overtone Mode) {
	third := o.in(&r)
	fundamental = r.mode(n, gm, &third)
	return fundamental, third.mode(n, gm, &r)
}

// Mode is one way a circuit may oscillate: the amplitude goes as e^(αt), α
// negative when it decays.
type Mode struct{ AlphaPerSecond, Hertz float64 }
