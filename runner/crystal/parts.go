package crystal

import (
	"fmt"
	"math"
)

// Lift returns the unit with a part unsoldered. C7 or C8: the footprint's own
// 0.1 pF is left. R3: the inverter has no bias, so no gain, unless a film feeds
// it back. Y1: nothing to oscillate. Whatever was wrong with the part goes with it.
// U1 and J1 cannot be lifted: nothing would be left to power up.
func (u Unit) Lift(p Part) (Unit, error) {
	switch p {
	case C7:
		u.Net.CA, u.Net.RA, u.Crack = liftedFarads, esrOhms, Crack{}
	case C8:
		u.Net.CB, u.Net.RB = liftedFarads, esrOhms
	case R3:
		u.Net.Rf = math.Inf(1)
	case Y1:
		u = u.cleaned()
		u.Crystal, u.Sleep = Resonator{}, Sleep{}
	default:
		return u, fmt.Errorf("lift %q: only C7, C8, R3 and Y1 can be lifted with the unit still able to be switched on", p)
	}
	return u, nil
}

// Fit returns the unit with a new, sound part in place, its fault gone. The
// value is in farads for C7 and C8 and in ohms for R3; 0 fits the value of the
// parts list. Y1, U1 and J1 come in one value only, so theirs must be 0. A new
// crystal is fitted on cleaned pads, so any film there goes, too.
func (u Unit) Fit(p Part, value float64) (Unit, error) {
	fail := func(found, allowed string) (Unit, error) {
		return u, fmt.Errorf("fit %s: %s; %s", p, found, allowed)
	}
	if math.IsNaN(value) || math.IsInf(value, 0) || value < 0 {
		return fail(fmt.Sprintf("value %g", value), "it must be a positive number, or 0 for the value of the parts list")
	}
	switch p {
	case C7, C8:
		if value == 0 {
			value = loadFarads
		}
		if value < 0.5e-12 || value > 1e-6 {
			return fail(fmt.Sprintf("%g F", value), "a load capacitor is between 0.5 pF and 1 µF (the value is in farads)")
		}
		if p == C7 {
			u.Net.CA, u.Net.RA, u.Crack = value, esrOhms, Crack{}
		} else {
			u.Net.CB, u.Net.RB = value, esrOhms
		}
	case R3:
		if value == 0 {
			value = feedbackOhms
		}
		u.Net.Rf = value
	case Y1, U1, J1:
		if value != 0 {
			return fail(fmt.Sprintf("value %g", value), "this part has one value only; give 0")
		}
		switch p {
		case Y1:
			u = u.cleaned()
			u.Crystal, u.Sleep = soundCrystal(), Sleep{}
		case U1:
			u.Inverter = healthy().Inverter
		case J1:
			u.Supply, u.Contact = soundSupply(), Spread{}
		}
	default:
		return fail("no such part", fmt.Sprintf("parts are %v", Parts()))
	}
	return u, nil
}

// Dry returns the unit on a dry morning: the film's water is gone, so it leaks
// little and nothing leaks to ground.
func (u Unit) Dry() Unit {
	if u.Film.Ohms > 0 {
		u.Film.Ohms = dryFilmOhms
		u.Net.RgA = math.Inf(1)
	}
	return u
}

// cleaned returns the unit with the residue round the crystal washed off.
func (u Unit) cleaned() Unit {
	u.Film = Spread{}
	u.Net.RgA = math.Inf(1)
	return u
}
