package runner_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"ringup/runner/crystal"
)

func TestExplore(t *testing.T) {
	for _, c := range []struct {
		unit          string
		celsius, rest float64
		volts         []float64
	}{
		{"healthy", 25, 5, []float64{3.6, 2.1, 2.0}},
		{"cracked-capacitor", -10, 5, []float64{2.4, 2.2, 2.1}},
		{"cracked-capacitor", -10, 3600, []float64{3.0, 2.6, 2.4, 2.2}},
		{"sleepy-crystal", 25, 600, []float64{2.6, 2.4, 2.3}},
		{"sleepy-crystal", 25, 3600, []float64{2.8, 2.6, 2.5}},
		{"wet-flux", 25, 5, []float64{2.8, 2.6, 2.4, 2.2}},
		{"resistive-contact", 25, 5, []float64{3.0, 2.6, 2.4, 2.2}},
	} {
		began := time.Now()
		s := simulate(t, simulation{unit: c.unit, celsius: c.celsius, rested: time.Duration(c.rest * 1e9), seed: 1})
		session := s.open(t, nil)
		n := 400
		if _, err := call(t.Context(), session, "soak", soak{Volts: c.volts, Cycles: n, Order: "interleaved", Rest: c.rest, Watch: 0.08}); err != nil {
			t.Fatal(err)
		}
		unit, err := crystal.NewUnit(c.unit)
		if err != nil {
			t.Fatal(err)
		}
		off, offVolts := nightBegins.Add(-s.rested), 3.6
		conf := map[string]int{}
		restMin, restMax := 1e9, 0.0
		fails, physFails := map[float64]int{}, map[float64]int{}
		for _, cy := range s.cycles(t, session.Run().ID) {
			rest := cy.PoweredOn.Sub(off).Seconds()
			restMin, restMax = min(restMin, rest), max(restMax, rest)
			up := unit.PowerUp(crystal.Surroundings{SupplyVolts: cy.SetVolts, RestSeconds: rest, ResidualVolts: unit.Discharge(offVolts, rest), AmbientCelsius: c.celsius},
				rand.New(rand.NewPCG(1, uint64(cy.PoweredOn.UnixNano()))))
			off, offVolts = cy.PoweredOff, cy.SetVolts
			conf[fmt.Sprintf("%v -> %s", up.Outcome(), cy.Verdict)]++
			if cy.Verdict.Failed() {
				fails[cy.SetVolts]++
			}
			if up.Outcome().Failed() {
				physFails[cy.SetVolts]++
			}
			if cy.Verdict.Failed() != up.Outcome().Failed() {
				t.Logf("%v V: %v clock %.2f ms -> %s", cy.SetVolts, up.Outcome(), up.ClockSeconds()*1e3, cy.Reason)
			}
		}
		t.Logf("%+v: rest %.3f..%.3f %v; fails %v phys %v; %v", c, restMin, restMax, conf, fails, physFails, time.Since(began))
		pred := ""
		for _, v := range c.volts {
			p := unit.Predict(crystal.Surroundings{SupplyVolts: v, RestSeconds: restMin, AmbientCelsius: c.celsius}, 10000, 1)
			pred += fmt.Sprint(v, " ", 1-float64(p[crystal.Starts])/1e4, "; ")
		}
		t.Log(pred)
	}
}
