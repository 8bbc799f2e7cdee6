package crystal

import "math"

// follow plays rail, reset and firmware against the oscillator's growth, and
// so decides the outcome.
func (p *PowerUp) follow(u *Unit, set, residual float64) {
	path := &u.Supply
	st := inReset
	if residual > path.RearmVolts {
		st = hung
	}
	ramped := max(set, residual) / path.SlewVoltsPerSecond
	tl := &p.rail
	tl.begin(path, p.ohms, residual, st)
	if st == hung {
		tl.stand(ramped, set)
		p.outcome = NotRearmed
		return
	}
	release := tl.last().crossing(path.ReleaseVolts, ramped)
	if release < ramped {
		tl.enter(release, booting, path)
		tl.stand(ramped, set)
	} else {
		tl.stand(ramped, set)
		release = tl.last().crossing(path.ReleaseVolts, math.Inf(1))
		if math.IsInf(release, 1) {
			p.outcome = BrownOut // held in reset for good
			return
		}
		tl.enter(release, booting, path)
	}
	if p.bootVolts < path.BrownOutVolts {
		p.resetLoop(path)
		return
	}
	// The rail is still rising when the reset is released, and gm with it. To
	// first order the growth missed while it settles is a delay: half of what is
	// left of the ramp and one RC.
	p.on = release + max(0, ramped-release)/2 + tl.last().rc
	p.clock = p.on + p.growth.seconds() + clockCycles/p.hertz
	switch {
	case !p.growth.grows:
		p.outcome = NeverGrows
	case p.clock-p.on > u.Firmware.TimeoutSeconds:
		p.outcome = TooLate
	default:
		p.outcome = Starts
		p.blink(u)
		return
	}
	p.clock = math.Inf(1)
	tl.enter(p.on+u.Firmware.TimeoutSeconds, hung, path)
}

// resetLoop: the current of booting alone pulls the rail into reset, without
// load it comes back, and so for ever.
func (p *PowerUp) resetLoop(path *SupplyPath) {
	p.outcome = BrownOut
	tl := &p.rail
	fall := tl.last().crossing(path.BrownOutVolts, math.Inf(1))
	tl.enter(fall, inReset, path)
	tl.enter(tl.last().crossing(path.ReleaseVolts, math.Inf(1)), booting, path)
	tl.loop(fall, tl.last().crossing(path.BrownOutVolts, math.Inf(1)))
}

// blink runs the lamp from the usable clock on: dark for the first half period,
// then lit. Where the lamp's current pulls the rail into reset, the unit starts
// over and over instead.
//
// That the clock stops for want of gain, on a rail still above reset, is not
// looked for. At low supply the stage has more gain at large than at small
// amplitude, so that a clock that started holds to 1.71 V or less with a sound
// crystal, and reset comes at 1.80 V; and with any contact but a poor one the
// lamp costs the rail half a millivolt. It would take a poor crystal behind a
// poor contact, which no unit of Units has.
func (p *PowerUp) blink(u *Unit) {
	path, tl := &u.Supply, &p.rail
	half := u.Firmware.NominalHertz / p.hertz / u.Firmware.BlinkHertz / 2
	tl.enter(p.clock, running, path)
	lit := p.clock + half
	tl.enter(lit, lampLit, path)
	p.dropout = tl.last().crossing(path.BrownOutVolts, math.Inf(1))
	if p.dropout > lit+half {
		p.dropout = math.Inf(1)
		tl.enter(lit+half, running, path)
		tl.loop(lit, lit+2*half)
		return
	}
	tl.enter(p.dropout, inReset, path)
	release := tl.last().crossing(path.ReleaseVolts, math.Inf(1))
	tl.enter(release, booting, path)
	p.again = restart{
		dip: p.dropout, release: release, on: release + tl.last().rc,
		amps:     p.growth.limit.finalAmps * path.BrownOutVolts / p.bootVolts,
		ringdown: 2 * p.l1 / p.r1,
	}
	left := p.again.at(release)
	p.again.limit = newLogistic(left, p.growth.limit.finalAmps, p.growth.limit.tau)
	regrow := 0.0
	if left < p.growth.level {
		regrow = p.again.limit.seconds(p.growth.level / p.growth.limit.finalAmps)
	}
	clock := p.again.on + regrow + clockCycles/p.hertz
	tl.enter(clock, running, path)
	tl.enter(clock+half, lampLit, path)
	tl.loop(p.dropout, tl.last().crossing(path.BrownOutVolts, math.Inf(1)))
}
