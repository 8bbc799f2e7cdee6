package crystal

import (
	"math"
	"math/rand/v2"
)

// FaultWindow is a log-normal fault against the values of it that keep the unit
// from starting, everything else at its typical value: the failure rate of a
// unit with one such fault without drawing power-ups one by one. It leaves out
// what moves the start limit by some 10 mV: the supply's setting, temperatures
// within a part, the luck of the first amplitude.
type FaultWindow struct {
	median, sigma float64
	bad           [][2]float64 // of the standardised logarithm, rising
	always        float64      // share of power-ups apart from that draw,
	alwaysFails   bool         // and what becomes of these
}

// windowReach is how many standard deviations the fault is looked at: beyond
// lies 1e-9 of the power-ups. windowSteps divide it.
const (
	windowReach = 6.0
	windowSteps = 96
)

// FaultWindow works the window out; false where the unit has several drawn
// faults at once, for which the closed form does not serve.
func (u Unit) FaultWindow(s Surroundings) (FaultWindow, bool) {
	typical := draws{
		rampSeconds: rampSeconds, noise1: 1, noise2: 1, // √2·σ: the typical size of two quadratures
		filmOhms: u.Film.Ohms, contactOhms: u.Contact.Ohms,
	}
	w := FaultWindow{median: 1}
	set := func(*draws, float64) {}
	faults := 0
	if u.Crack.Ohms > 0 {
		faults++
		w.median, w.sigma, w.always = u.Crack.median(s.celsius(C7), max(0, s.RestSeconds)), u.Crack.Spread, u.Crack.OpenShare
		set = func(d *draws, ohms float64) { d.crackOhms = ohms }
	}
	if u.Film.Ohms > 0 {
		faults++
		w.median, w.sigma = u.Film.Ohms, u.Film.Sigma
		set = func(d *draws, ohms float64) { d.filmOhms = ohms }
	}
	if u.Contact.Ohms > 0 {
		faults++
		w.median, w.sigma = u.Contact.Ohms, u.Contact.Sigma
		set = func(d *draws, ohms float64) { d.contactOhms = ohms }
	}
	if u.Sleep.Rise > 0 {
		faults++
		w.sigma = u.Sleep.Spread
		w.median = u.Sleep.rested(max(0, s.RestSeconds)) * math.Exp(-w.sigma*w.sigma/2)
		set = func(d *draws, state float64) { d.sleep = state }
	}
	if faults > 1 {
		return FaultWindow{}, false
	}
	beta := u.Inverter.beta()
	fails := func(d draws) bool {
		var p PowerUp
		p.decide(&u, &s, &d, beta)
		return p.outcome.Failed()
	}
	at := func(k float64) bool {
		d := typical
		set(&d, w.median*math.Exp(w.sigma*k))
		return fails(d)
	}
	if w.always > 0 {
		d := typical
		d.crackOhms, d.crackOpen = w.median, true
		w.alwaysFails = fails(d)
	}
	was := at(-windowReach)
	begin := math.Inf(-1)
	for i := 1; i <= windowSteps; i++ {
		before, here := windowReach*(2*float64(i-1)/windowSteps-1), windowReach*(2*float64(i)/windowSteps-1)
		if at(here) == was {
			continue
		}
		edge := boundary(before, here, func(k float64) bool { return at(k) == was })
		if was = !was; was {
			begin = edge
		} else {
			w.bad = append(w.bad, [2]float64{begin, edge})
		}
	}
	if was {
		w.bad = append(w.bad, [2]float64{begin, math.Inf(1)})
	}
	return w, true
}

// FailureShare is the probability that a power-up gets no usable clock.
func (w *FaultWindow) FailureShare() float64 {
	share := 0.0
	for _, b := range w.bad {
		share += (math.Erf(b[1]/math.Sqrt2) - math.Erf(b[0]/math.Sqrt2)) / 2
	}
	share *= 1 - w.always
	if w.alwaysFails {
		share += w.always
	}
	return share
}

// Fails draws one power-up's fault and reports whether it gets no usable clock.
func (w *FaultWindow) Fails(rng *rand.Rand) bool {
	if w.always > 0 && rng.Float64() < w.always {
		return w.alwaysFails
	}
	k := rng.NormFloat64()
	for _, b := range w.bad {
		if k > b[0] && k < b[1] {
			return true
		}
	}
	return false
}
