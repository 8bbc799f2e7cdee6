package runner_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"ringup/runner/crystal"
	"ringup/runner/verdict"
)

// withoutScope is a bench that has nothing but the supply. What the logger draws when it runs and when it hangs stands
// in its description: 3.1 mA and 6.2 mA.
const withoutScope = `
[unit]
name      = "river-level logger 0231"
clock     = "7.3728 MHz"
max_volts = "3.9 V"
max_amps  = "150 mA"
[supply]
address = "sim:supply"
[expect]
start_within  = "68 ms"
amplitude_min = "6 %"
off_amps      = "0 mA to 0.1 mA"
hung_amps     = "5.5 mA to 7 mA"
running_amps  = "2.5 mA to 3.7 mA"
`

// Without a scope the supply current tells what the unit really did, and nothing is made up besides.
func TestBenchWithoutScope(t *testing.T) {
	s := simulate(t, simulation{unit: "cracked-capacitor", celsius: -10, rested: 3600e9, seed: 1, text: withoutScope})
	session := s.open(t, nil)
	if _, err := call(t.Context(), session, "soak", soak{Volts: []float64{2.4}, Cycles: 60, Order: "blocked", Rest: 3600, Watch: 0.08}); err != nil {
		t.Fatal(err)
	}
	unit, err := crystal.NewUnit("cracked-capacitor")
	if err != nil {
		t.Fatal(err)
	}
	off, offVolts := nightBegins.Add(-s.rested), unitCellVolts
	seen := map[verdict.Verdict]int{}
	for _, c := range s.cycles(t, session.Run().ID) {
		around := crystal.Surroundings{SupplyVolts: c.SetVolts, RestSeconds: c.PoweredOn.Sub(off).Seconds(), AmbientCelsius: s.celsius}
		around.ResidualVolts = unit.Discharge(offVolts, around.RestSeconds)
		did := unit.PowerUp(around, rand.New(rand.NewPCG(s.seed, uint64(c.PoweredOn.UnixNano()))))
		want := verdict.Silent
		if did.Outcome() == crystal.Starts {
			want = verdict.Started
		}
		if c.Verdict != want || !strings.Contains(c.Reason, "judged without a scope") {
			t.Errorf("cycle %d: %s, want %s (the unit: %v): %s", c.Number, c.Verdict, want, did.Outcome(), c.Reason)
		}
		if !math.IsNaN(c.StartSeconds) || !math.IsNaN(c.FrequencyHertz) {
			t.Errorf("cycle %d: start %v s at %v Hz, without a scope", c.Number, c.StartSeconds, c.FrequencyHertz)
		}
		seen[c.Verdict]++
		off, offVolts = c.PoweredOff, c.SetVolts
	}
	if seen[verdict.Started] < 10 || seen[verdict.Silent] < 10 {
		t.Errorf("%v: too few of either kind to tell anything", seen)
	}
	if session.Run().Instruments["scope"] != "" {
		t.Errorf("instruments %v", session.Run().Instruments)
	}
}

// What the unit draws is learned from the first cycles, and never contradicts a clock that nothing disturbs.
func TestCurrentIsLearned(t *testing.T) {
	s := simulate(t, simulation{unit: "cracked-capacitor", celsius: -10, rested: 3600e9, seed: 1})
	session := s.open(t, nil)
	if _, err := call(t.Context(), session, "soak", soak{Volts: []float64{3.0, 2.2}, Cycles: 40, Order: "interleaved", Rest: 3600, Watch: 0.08}); err != nil {
		t.Fatal(err)
	}
	var judged []verdict.Judgement
	for _, c := range s.cycles(t, session.Run().ID) {
		if strings.Contains(c.Reason, "; but ") {
			t.Errorf("cycle %d: %s: %s (%v A)", c.Number, c.Verdict, c.Reason, c.SupplyAmps)
		}
		judged = append(judged, c.Judgement)
	}
	b := verdict.LearnCurrent(verdict.Expect{}, judged)
	if !b.Running.Holds(3.1e-3) || !b.Hung.Holds(6.2e-3) || b.Running.Holds(6.2e-3) || b.Hung.Holds(3.1e-3) {
		t.Errorf("learned %+v of a unit that runs at 3.1 mA and hangs at 6.2 mA", b)
	}
}
