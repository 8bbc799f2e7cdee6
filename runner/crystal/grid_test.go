package crystal

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
)

// A grid is the same on any number of cores, and each cell is a prediction with
// the failure rate of the independent model (10 000 trials, checks.json).
func TestPredictGrid(t *testing.T) {
	u := mustUnit(t, "sleepy-crystal")
	g := Grid{Volts: []float64{2.8, 2.4}, Celsius: []float64{25}, RestSeconds: []float64{5, 3600}}
	cells := u.PredictGrid(g, Probe{}, 7)
	if len(cells) != 4 {
		t.Fatalf("%d cells", len(cells))
	}
	for i, want := range []struct{ volts, rest, fails float64 }{{2.8, 5, 0}, {2.4, 5, 0}, {2.8, 3600, 0.1010}, {2.4, 3600, 0.8975}} {
		c := cells[i]
		if c.Volts != want.volts || c.RestSeconds != want.rest || c.Celsius != 25 || c.Draws != 10000 {
			t.Errorf("cell %d: %+v", i, c)
		}
		within(t, "failures", 1-c.StartShare, want.fails, 4*math.Sqrt(want.fails*(1-want.fails)/1e4)+0.002)
		sum := 0
		for _, n := range c.Outcomes {
			sum += n
		}
		if sum != c.Draws {
			t.Errorf("cell %d: outcomes add up to %d", i, sum)
		}
	}
	if again := u.PredictGrid(g, Probe{}, 7); !reflect.DeepEqual(again, cells) {
		t.Error("the same seed gives another grid")
	}
	if other := u.PredictGrid(g, Probe{}, 8); reflect.DeepEqual(other, cells) {
		t.Error("another seed gives the same grid")
	}
	if none := u.PredictGrid(Grid{}, Probe{}, 1); len(none) != 0 {
		t.Errorf("an empty grid has %d cells", len(none))
	}
}

// The closed form of one log-normal fault against 10 000 drawn power-ups of the
// independent model (checks.json), where the fault and not chance decides: it
// leaves out ±10 mV of scatter at the start limit.
func TestClosedFormOfOneFault(t *testing.T) {
	mc := readChecks(t).MC
	for _, c := range []struct {
		row, unit     string
		celsius, rest float64
	}{
		{"cracked|-10|3600", "cracked-capacitor", -10, 3600},
		{"sleepy|25|3600", "sleepy-crystal", 25, 3600},
		{"sleepy|25|43200", "sleepy-crystal", 25, 43200},
		{"leaky|25|5", "wet-flux", 25, 5},
		{"contact|25|5", "resistive-contact", 25, 5},
		{"healthy|25|5", "healthy", 25, 5},
	} {
		u := mustUnit(t, c.unit)
		for i, volts := range mc.V {
			if volts < 2.15 {
				continue // here the healthy unit's own limit comes into play
			}
			s := Surroundings{SupplyVolts: volts, RestSeconds: c.rest, AmbientCelsius: c.celsius}
			w, ok := u.FaultWindow(s)
			if !ok {
				t.Fatalf("%s: the closed form does not serve", c.unit)
			}
			want := mc.Rows[c.row][i]
			within(t, c.row, w.FailureShare(), want, 4*math.Sqrt(want*(1-want)/1e4)+0.006)
		}
	}
}

// Draws from a window have the window's share.
func TestWindowDraws(t *testing.T) {
	u := mustUnit(t, "cracked-capacitor")
	w, _ := u.FaultWindow(Surroundings{SupplyVolts: 2.2, AmbientCelsius: -10, RestSeconds: 3600})
	rng := rand.New(rand.NewPCG(5, 6))
	const n = 40000
	fails := 0
	for range n {
		if w.Fails(rng) {
			fails++
		}
	}
	p := w.FailureShare()
	within(t, "share of the draws", float64(fails)/n, p, 4*math.Sqrt(p*(1-p)/n))
	u.Film = Spread{Ohms: 15e3, Sigma: 0.3}
	if _, ok := u.FaultWindow(warm); ok {
		t.Error("two faults at once, and the closed form serves")
	}
}
