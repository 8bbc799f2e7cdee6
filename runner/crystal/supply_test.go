package crystal

import (
	"math"
	"testing"
)

// Rail behind a series resistance: ngspice 39, decks ps01.cir to ps03.cir
// (10 V/ms to 3.6 V; the load of ps03 drawn from the start).
func TestRailAgreesWithNgspice(t *testing.T) {
	for _, c := range []struct {
		name         string
		ohms, amps   float64
		milliseconds []float64
		volts        []float64
	}{
		{"ps01", 0.2, 0, []float64{0.2}, []float64{1.97980}},
		{"ps02", 45, 0, []float64{0.36, 1, 3}, []float64{1.11344, 2.99179, 3.59254}},
		{"ps03", 100, 8.5e-3, []float64{0.36, 1, 3}, []float64{0.31683, 1.45885, 2.57177}},
	} {
		path := soundSupply()
		path.ResetAmps = c.amps
		var rail timeline
		rail.begin(&path, c.ohms, 0, inReset)
		rail.stand(0.36e-3, 3.6)
		for i, ms := range c.milliseconds {
			// The deck lets the load pull the rail below ground at first; a rail
			// does not go there, and ours is back on the deck's curve by then.
			near(t, c.name, rail.volts(ms/1e3), c.volts[i], 2e-5)
		}
	}
}

// Discharge from 3.6 V with the output open: ngspice 39, deck ps04.cir.
func TestDischargeAgreesWithNgspice(t *testing.T) {
	u := healthy()
	for seconds, want := range map[float64]float64{1.07880: 1.2, 2.04211: 0.7, 3.30986: 0.3} {
		near(t, "volts left", u.Discharge(3.6, seconds), want, 1e-3)
	}
	if got := u.Discharge(3.6, 3600); got != 0 {
		t.Errorf("%g V left after an hour", got)
	}
	near(t, "in two steps", u.Discharge(u.Discharge(3.6, 0.7), 0.9), u.Discharge(3.6, 1.6), 1e-12)
}

func TestCrossingsLieOnTheCurve(t *testing.T) {
	path := soundSupply()
	var rail timeline
	rail.begin(&path, 45, 0, inReset)
	on := rail.last().crossing(1.0, 1e-3)
	near(t, "on the ramp", rail.volts(on), 1.0, 1e-9)
	rail.stand(0.36e-3, 3.6)
	on = rail.last().crossing(3.0, math.Inf(1))
	near(t, "after it", rail.volts(on), 3.0, 1e-9)
	if never := rail.last().crossing(3.7, math.Inf(1)); !math.IsInf(never, 1) {
		t.Errorf("3.7 V reached at %g s from a 3.6 V supply", never)
	}
}
