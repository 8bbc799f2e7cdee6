package crystal

import "math"

// leaks are the direct-current paths that can pull the stage off its bias.
type leaks struct {
	feedback float64 // ohms from B to A: Rf and the film in parallel
	aGround  float64 // S from A to ground
	aSupply  float64 // S from A to supply
	bGround  float64 // S from B to ground
}

func (n *Net) leaks() leaks {
	return leaks{
		feedback: 1 / (1/n.Rf + 1/n.Rleak),
		aGround:  1/n.RgA + 1/n.RpA,
		aSupply:  1 / n.RvA,
		bGround:  1/n.RgB + 1/n.RpB,
	}
}

// Bias solves the stage's operating point in the net at one supply voltage.
// With no leak to a rail that is the closed law at half the supply; a leak
// (residue, a probe's input resistance) shifts the output, and once the output
// reaches the rail gm collapses. With no feedback path at all the input floats
// and there is no gain.
func (v *Inverter) Bias(n *Net, supplyVolts, celsius float64) Stage {
	return v.bias(n, supplyVolts, celsius, v.beta())
}

// bias is Bias for a current factor at T0 worked out before.
func (v *Inverter) bias(n *Net, supplyVolts, celsius, beta float64) Stage {
	l := n.leaks()
	d := v.heated(celsius, beta)
	if math.IsInf(l.feedback, 1) {
		return Stage{BVolts: supplyVolts}
	}
	if l.aGround == 0 && l.aSupply == 0 && l.bGround == 0 || supplyVolts <= 0 {
		return d.unloaded(supplyVolts)
	}
	// Between these inputs the output stays between the rails.
	steep := 1 + l.feedback*(l.aGround+l.aSupply) // of the output against the input
	low := l.feedback * supplyVolts * l.aSupply / steep
	high := (supplyVolts + l.feedback*supplyVolts*l.aSupply) / steep
	output := func(va float64) float64 {
		return va + l.feedback*(va*l.aGround-(supplyVolts-va)*l.aSupply)
	}
	// The surplus current leaving node B rises with va throughout: Newton's
	// method, kept inside a bracket that closes on the root.
	va := min(max(supplyVolts/2, low), high)
	for range 80 {
		vb := output(va)
		amps, gm, gds := d.sinkSlopes(supplyVolts, va, vb)
		surplus := amps + (vb-va)/l.feedback + vb*l.bGround
		if surplus < 0 {
			low = va
		} else {
			high = va
		}
		next := va - surplus/(gm+gds*steep+(steep-1)/l.feedback+steep*l.bGround)
		if math.Abs(next-va) < 1e-14*math.Abs(va) {
			break
		}
		if !(next > low && next < high) {
			next = (low + high) / 2
		}
		va = next
	}
	vb := output(va)
	_, gm, gds := d.sinkSlopes(supplyVolts, va, vb)
	return Stage{Gm: gm, Gds: gds, AVolts: va, BVolts: vb}
}
