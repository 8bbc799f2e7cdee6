package simbench

import (
	"math"
	"slices"
	"time"

	"ringup/runner/crystal"
)

// Spray, hot air and bare board each pull a part's temperature as a first-order lag.
const (
	chillCelsius = -25
	chillTau     = 3 * time.Second
	warmCelsius  = 60
	warmTau      = 5 * time.Second
	releaseTau   = 45 * time.Second
)

// partCelsius is the temperature of every part that a hand has warmed or chilled so far. Parts left alone are at
// ambient and not in the map.
func (w *world) partCelsius(t time.Time) map[crystal.Part]float64 {
	parts := map[crystal.Part]float64{}
	for _, a := range w.actions {
		if a.Verb == Chill || a.Verb == Warm {
			parts[crystal.Part(a.Part)] = 0
		}
	}
	for p := range parts {
		parts[p] = w.celsiusOf(p, t)
	}
	return parts
}

// celsiusOf follows one part through the actions on it, in closed form from each to the next.
func (w *world) celsiusOf(part crystal.Part, t time.Time) float64 {
	verb, since, from := Release, time.Time{}, 0.0
	at := func(t time.Time) float64 {
		held := t.Sub(since).Seconds()
		switch verb {
		case Chill:
			return chillCelsius + (from-chillCelsius)*math.Exp(-held/chillTau.Seconds())
		case Warm:
			return warmCelsius + (from-warmCelsius)*math.Exp(-held/warmTau.Seconds())
		}
		// A released part loses its distance from the ambient, and then goes where the ambient goes.
		ambient := w.ambient(t)
		if since.IsZero() {
			return ambient
		}
		return ambient + (from-w.ambient(since))*math.Exp(-held/releaseTau.Seconds())
	}
	for _, a := range w.actions {
		if a.Part != string(part) || a.At.After(t) || slices.Contains(soldering, a.Verb) {
			continue
		}
		from = at(a.At)
		verb, since = a.Verb, a.At
	}
	return at(t)
}
