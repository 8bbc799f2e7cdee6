package crystal

import (
	"errors"
	"fmt"
	"math"
)

// FrequencyPoint is a measured frequency, its standard uncertainty, and the
// probe that was on the crystal while it was measured.
type FrequencyPoint struct {
	Hertz, HertzSigma float64
	Probe             Probe
}

// CapacitorAnswer is one load capacitor's value if it alone is off.
type CapacitorAnswer struct {
	Farads       Estimate
	ChangeFarads float64 // against the circuit's value
	Possible     bool    // a capacitor between empty footprint and 1 nF explains what was measured, at 95 %
	Misfit       float64 // chi-square of the best value
}

// LoadAnswer is what frequency says of the load.
type LoadAnswer struct {
	Load    Estimate // effective load capacitance, farads, from the first point without a probe
	CA, CB  CapacitorAnswer
	AsGiven float64 // chi-square of the circuit as given
	Suspect string  // "CA" or "CB"; "" where neither is off or they cannot be told apart
	Say     string
}

// chiSquare95 is the 95 % point of chi-square, of 1, 2, … degrees of freedom
// (NIST/SEMATECH e-Handbook 1.3.6.7.4).
var chiSquare95 = [...]float64{3.841, 5.991, 7.815, 9.488, 11.070, 12.592, 14.067, 15.507, 16.919, 18.307}

// decisive is the difference in chi-square that decides between two explanations.
var decisive = chiSquare95[0]

// explained is the largest chi-square at which what was fitted still explains
// the points. Beyond the table, the approximation of Wilson and Hilferty.
func explained(freedom int) float64 {
	if freedom <= len(chiSquare95) {
		return chiSquare95[max(0, freedom-1)]
	}
	k := float64(freedom)
	return k * math.Pow(1-2/(9*k)+1.644853626951473*math.Sqrt(2/(9*k)), 3)
}

// FromFrequency goes back from measured frequencies to the load capacitance and
// to which load capacitor is off. crystalPPM is the standard uncertainty of the
// crystal's own frequency.
//
// One frequency gives a value for either capacitor, no more. Frequencies with a
// probe on one pin tell them apart: the probe pulls the more the smaller its
// pin's own capacitor is. That the amplitude limits, which lowers gm and with it
// the frequency a little, counts as uncertainty.
func (c Circuit) FromFrequency(points []FrequencyPoint, crystalPPM float64) (LoadAnswer, error) {
	a := LoadAnswer{Load: unknown()}
	if len(points) == 0 {
		return a, errors.New("no frequency was measured: give at least one")
	}
	for i, p := range points {
		if !(p.Hertz > 0) || !(p.HertzSigma > 0) {
			return a, fmt.Errorf("frequency %d: %g Hz ± %g Hz; both must be above 0", i+1, p.Hertz, p.HertzSigma)
		}
	}
	if !(crystalPPM >= 0) {
		return a, fmt.Errorf("uncertainty of the crystal %g ppm: 0 or more is wanted, usually 10 to 30", crystalPPM)
	}
	o := c.operate()
	limiting := (1 - o.limitedOmega()/o.omega) / math.Sqrt(12)
	common := math.Hypot(crystalPPM*1e-6, limiting)
	for _, p := range points {
		if p.Probe.Node == "" {
			a.Load = o.x.loadOf(p, common)
			break
		}
	}

	// misfit is the chi-square of a pair of capacitors; the crystal's own error,
	// common to all points, is taken at its best and paid for.
	misfit := func(ca, cb float64) float64 {
		d := c.WithLoad(ca, cb)
		var w, wr, wrr float64
		for _, p := range points {
			with := d.Probed(p.Probe)
			oo := with.operate()
			r, s := p.Hertz*2*math.Pi/oo.omega-1, p.HertzSigma/p.Hertz
			w, wr, wrr = w+1/(s*s), wr+r/(s*s), wrr+r*r/(s*s)
		}
		if common == 0 {
			return wrr
		}
		return max(0, wrr-wr*wr/(w+1/(common*common)))
	}
	a.AsGiven = misfit(c.Net.CA, c.Net.CB)
	// The crystal's own frequency counts as a point and as an unknown.
	most := explained(len(points) - 1)
	a.CA = explain(c.Net.CA, most, func(f float64) float64 { return misfit(f, c.Net.CB) })
	a.CB = explain(c.Net.CB, most, func(f float64) float64 { return misfit(c.Net.CA, f) })
	a.decide(c, len(points))
	return a, nil
}

// loadOf is the load capacitance that makes the crystal ring at a frequency.
func (r Resonator) loadOf(p FrequencyPoint, common float64) Estimate {
	ratio := p.Hertz / r.seriesHertz()
	k := ratio*ratio - 1
	if k <= 0 {
		return unknown()
	}
	load := r.C1/k - r.C0
	relative := math.Hypot(p.HertzSigma/p.Hertz, common)
	return estimate(load, r.C1/(k*k)*2*ratio*ratio*relative)
}

// explain finds the capacitor that fits best and how well it is known, from
// where the chi-square has risen by 1. It is possible up to a misfit of most.
func explain(fitted, most float64, misfit func(float64) float64) CapacitorAnswer {
	const low, high, steps = liftedFarads, 1e-9, 160
	at := func(i int) float64 { return low * math.Pow(high/low, float64(i)/steps) }
	best := 0
	for i := range steps + 1 {
		if misfit(at(i)) < misfit(at(best)) {
			best = i
		}
	}
	left, right := at(max(0, best-1)), at(min(steps, best+1))
	farads := golden(left, right, misfit)
	if misfit(fitted) <= misfit(farads) {
		farads = fitted
	}
	a := CapacitorAnswer{ChangeFarads: farads - fitted, Misfit: misfit(farads), Farads: unknown()}
	a.Possible = a.Misfit < most
	rise := func(bound float64) float64 {
		if misfit(bound) <= a.Misfit+1 {
			return bound
		}
		return boundary(farads, bound, func(f float64) bool { return misfit(f) <= a.Misfit+1 })
	}
	lower, upper := rise(low), rise(high)
	a.Farads = estimate(farads, (upper-lower)/2)
	a.Farads.Low = max(low, farads-normal95*(farads-lower))
	a.Farads.High = min(high, farads+normal95*(upper-farads))
	return a
}

func (a *LoadAnswer) decide(c Circuit, points int) {
	value := func(x CapacitorAnswer, fitted float64) string {
		return fmt.Sprintf("%s instead of %s (95 %%: %s to %s)", FormatSI(tenth(x.Farads.Value), "F"),
			FormatSI(fitted, "F"), FormatSI(tenth(x.Farads.Low), "F"), FormatSI(tenth(x.Farads.High), "F"))
	}
	ca, cb := value(a.CA, c.Net.CA), value(a.CB, c.Net.CB)
	difference := a.CA.Misfit - a.CB.Misfit
	switch {
	case a.AsGiven-min(a.CA.Misfit, a.CB.Misfit) < decisive && a.AsGiven < explained(points):
		a.Say = "The frequency fits the circuit as given; neither load capacitor is shown to be off."
	case !a.CA.Possible && !a.CB.Possible:
		a.Say = "No value of one load capacitor explains what was measured: check the crystal and how well its frequency is known, which probe was on which pin, and whether both capacitors are off."
	case difference < -decisive:
		a.Suspect = "CA"
		a.Say = "CA is off: " + ca + "."
	case difference > decisive:
		a.Suspect = "CB"
		a.Say = "CB is off: " + cb + "."
	default:
		a.Say = "Either CA is " + ca + ", or CB is " + cb + "; measure again with the probe on each pin in turn to tell them apart."
	}
}
