package runner_test

import (
	"testing"
)

func TestDbgAmps(t *testing.T) {
	s := simulate(t, simulation{unit: "cracked-capacitor", celsius: -10, rested: 3600e9, seed: 1})
	session := s.open(t, nil)
	if _, err := call(t.Context(), session, "soak", soak{Volts: []float64{3.6, 2.4}, Cycles: 20, Order: "interleaved", Rest: 5, Watch: 0.08}); err != nil {
		t.Fatal(err)
	}
	for _, c := range s.cycles(t, session.Run().ID) {
		t.Log(c.SetVolts, c.Verdict, c.SupplyAmps, c.Lamp, c.Reason)
	}
}
