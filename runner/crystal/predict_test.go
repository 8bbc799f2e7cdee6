package crystal

import (
	"math"
	"testing"
)

const trials = 10000 // of every reference cell

// agrees fails unless a failure probability from trials power-ups is within
// four standard errors and 0.002 of the reference.
func agrees(t *testing.T, u Unit, s Surroundings, want float64) map[Outcome]int {
	t.Helper()
	counts := u.Predict(s, trials, 20260114)
	got := 1 - float64(counts[Starts])/trials
	tolerance := 4*math.Sqrt(want*(1-want)/trials) + 0.002
	if math.Abs(got-want) > tolerance {
		t.Errorf("%s at %.1f V, %g °C, %g s rest, probe %q: fails %.4f, reference %.4f ± %.4f",
			u.Name, s.SupplyVolts, s.AmbientCelsius, s.RestSeconds, s.Probe.Node, got, want, tolerance)
	}
	return counts
}

func mustUnit(t testing.TB, name string) Unit {
	t.Helper()
	u, err := NewUnit(name)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// Failure probability of the five units against supply voltage: 10 000 trials
// a cell of the independent model, seed 73728 (testdata/netlists/checks.json).
func TestFailureProbability(t *testing.T) {
	mc := readChecks(t).MC
	for _, c := range []struct {
		row, unit     string
		celsius, rest float64
	}{
		{"healthy|25|5", "healthy", 25, 5},
		{"healthy|-10|3600", "healthy", -10, 3600},
		{"cracked|25|5", "cracked-capacitor", 25, 5},
		{"cracked|5|5", "cracked-capacitor", 5, 5},
		{"cracked|-10|5", "cracked-capacitor", -10, 5},
		{"cracked|-10|3600", "cracked-capacitor", -10, 3600},
		{"sleepy|25|5", "sleepy-crystal", 25, 5},
		{"sleepy|25|600", "sleepy-crystal", 25, 600},
		{"sleepy|25|3600", "sleepy-crystal", 25, 3600},
		{"sleepy|25|43200", "sleepy-crystal", 25, 43200},
		{"leaky|25|5", "wet-flux", 25, 5},
		{"contact|25|5", "resistive-contact", 25, 5},
	} {
		want, ok := mc.Rows[c.row]
		if !ok || len(want) != len(mc.V) {
			t.Fatalf("checks.json has no row %q of %d cells", c.row, len(mc.V))
		}
		u := mustUnit(t, c.unit)
		for i, volts := range mc.V {
			agrees(t, u, Surroundings{SupplyVolts: volts, RestSeconds: c.rest, AmbientCelsius: c.celsius}, want[i])
		}
	}
}

// How they fail at 2.8 V (never grows, too late, brown-out): independent model
// of checks.json.
func TestFailureMix(t *testing.T) {
	for _, c := range []struct {
		unit          string
		celsius, rest float64
		want          [3]float64
	}{
		{"cracked-capacitor", -10, 3600, [3]float64{0.061, 0.014, 0}},
		{"sleepy-crystal", 25, 3600, [3]float64{0.068, 0.031, 0}},
		{"wet-flux", 25, 5, [3]float64{0.018, 0.013, 0}},
		{"resistive-contact", 25, 5, [3]float64{0.037, 0.014, 0.041}},
	} {
		s := Surroundings{SupplyVolts: 2.8, RestSeconds: c.rest, AmbientCelsius: c.celsius}
		counts := mustUnit(t, c.unit).Predict(s, trials, 11)
		for i, o := range []Outcome{NeverGrows, TooLate, BrownOut} {
			within(t, c.unit+" "+o.String(), float64(counts[o])/trials, c.want[i],
				4*math.Sqrt(c.want[i]/trials)+0.002)
		}
	}
}

// The probe is part of the circuit: on the cracked side it cures, on the other
// it triples the failures. 2.8 V, independent model of checks.json.
func TestProbeDisturbsTheUnit(t *testing.T) {
	probes := []Probe{{}, {"A", 12e-12, 10e6}, {"B", 12e-12, 10e6}, {"B", 1e-12, 1e6}}
	for _, c := range []struct {
		unit          string
		celsius, rest float64
		want          [4]float64
	}{
		{"sleepy-crystal", 25, 3600, [4]float64{0.095, 0.523, 0.513, 0.118}},
		{"wet-flux", 25, 5, [4]float64{0.034, 0.077, 0.069, 0.036}},
		{"cracked-capacitor", -10, 3600, [4]float64{0.076, 0.008, 0.243, 0.086}},
	} {
		for i, probe := range probes {
			agrees(t, mustUnit(t, c.unit), Surroundings{
				SupplyVolts: 2.8, RestSeconds: c.rest, AmbientCelsius: c.celsius, Probe: probe,
			}, c.want[i])
		}
	}
}

// Repair by other load capacitors, CA = CB: independent model of checks.json.
func TestRepairByOtherCapacitors(t *testing.T) {
	farads := []float64{15e-12, 18e-12, 22e-12, 27e-12, 33e-12, 47e-12}
	for _, c := range []struct {
		unit        string
		volts, rest float64
		want        []float64
	}{
		{"sleepy-crystal", 2.8, 3600, []float64{0, 0.0005, 0.006, 0.095, 0.552, 1}},
		{"wet-flux", 2.6, 5, []float64{0.063, 0.072, 0.095, 0.153, 0.282, 0.919}},
	} {
		for i, f := range farads {
			u := mustUnit(t, c.unit)
			for _, p := range []Part{C7, C8} {
				var err error
				if u, err = u.Fit(p, f); err != nil {
					t.Fatal(err)
				}
			}
			agrees(t, u, Surroundings{SupplyVolts: c.volts, RestSeconds: c.rest, AmbientCelsius: 25}, c.want[i])
		}
	}
}

func TestPredictDependsOnTheSeedAlone(t *testing.T) {
	u := mustUnit(t, "wet-flux")
	s := Surroundings{SupplyVolts: 2.4, AmbientCelsius: 25, RestSeconds: 5}
	first, again, other := u.Predict(s, 500, 1), u.Predict(s, 500, 1), u.Predict(s, 500, 2)
	total, same := 0, true
	for o := Starts; o <= NotRearmed; o++ {
		total += first[o]
		same = same && first[o] == other[o]
		if first[o] != again[o] {
			t.Errorf("%v: %d, then %d with the same seed", o, first[o], again[o])
		}
	}
	if total != 500 {
		t.Errorf("outcomes add up to %d of 500", total)
	}
	if same {
		t.Error("two seeds gave the same counts of everything")
	}
}
