package runner_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"ringup/runner/crystal"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

const (
	measuredCycles = 300    // at each voltage
	draws          = 10_000 // of the physics asked directly, and of each cell of the table
	// chanceLimit is the smallest probability that still passes for chance: that of the 99.9 % interval.
	chanceLimit = 0.001
	// limitBand is how near the allowed start time, in seconds, the verdict and the firmware may disagree: the time
	// from the first usable clock to 90 % amplitude is not the same for all starts (see benchText).
	limitBand     = 2e-3
	unitCellVolts = 3.6 // what the unit last ran on before the night
)

// The measured rate of each voltage agrees with what the physics gives when asked directly, and both agree with the
// table of an independent model (testdata/netlists/checks.json, "mc": 10 000 trials a cell, NumPy PCG64 seed 73728).
// Beyond the rates, every single verdict is held against what the unit really did in that cycle: the wire, the scope
// and the verdict neither hide nor invent failures.
func TestMeasuredRatesAgreeWithThePhysics(t *testing.T) {
	table := readTable(t)
	for _, c := range []cell{
		{"healthy|25|5", "healthy", 25, 5, []float64{3.6, 2.1, 2.0}},
		{"cracked|-10|5", "cracked-capacitor", -10, 5, []float64{2.4, 2.2, 2.1}},
		{"cracked|-10|3600", "cracked-capacitor", -10, 3600, []float64{3.0, 2.6, 2.4, 2.2}},
		{"sleepy|25|600", "sleepy-crystal", 25, 600, []float64{2.6, 2.4, 2.3}},
		{"sleepy|25|3600", "sleepy-crystal", 25, 3600, []float64{2.8, 2.6, 2.5}},
		{"leaky|25|5", "wet-flux", 25, 5, []float64{2.8, 2.6, 2.4, 2.2}},
		{"contact|25|5", "resistive-contact", 25, 5, []float64{3.0, 2.6, 2.4, 2.2}},
	} {
		t.Run(c.row, func(t *testing.T) {
			t.Parallel()
			c.compare(t, table)
		})
	}
}

// cell is a row of the table and the part of it that is measured.
type cell struct {
	row, unit     string
	celsius, rest float64
	volts         []float64
}

func (c cell) compare(t *testing.T, table failureTable) {
	s := simulate(t, simulation{unit: c.unit, celsius: c.celsius, rested: time.Duration(c.rest * 1e9), seed: 1})
	session := s.open(t, nil)
	if _, err := call(t.Context(), session, "soak", soak{
		Volts: c.volts, Cycles: measuredCycles, Order: "interleaved", Rest: c.rest, Watch: 0.08,
	}); err != nil {
		t.Fatal(err)
	}
	unit, err := crystal.NewUnit(c.unit)
	if err != nil {
		t.Fatal(err)
	}
	cycles := s.cycles(t, session.Run().ID)
	if want := measuredCycles * len(c.volts); len(cycles) != want {
		t.Fatalf("%d cycles in the logbook, want %d", len(cycles), want)
	}
	seen := confusion{}
	failures := map[float64]int{}
	off, offVolts, longest := nightBegins.Add(-s.rested), unitCellVolts, 0.0
	for _, cycle := range cycles {
		around := crystal.Surroundings{SupplyVolts: cycle.SetVolts, RestSeconds: cycle.PoweredOn.Sub(off).Seconds(), AmbientCelsius: c.celsius}
		around.ResidualVolts = unit.Discharge(offVolts, around.RestSeconds)
		longest = max(longest, around.RestSeconds)
		// The simulated bench draws a power-up from its seed and the moment, and the logbook has both.
		did := unit.PowerUp(around, rand.New(rand.NewPCG(s.seed, uint64(cycle.PoweredOn.UnixNano()))))
		seen.add(did.Outcome(), cycle.Verdict)
		if problem := c.judge(did.Outcome(), cycle, s.rig.Bench.Expect.StartWithinSeconds); problem != "" {
			t.Errorf("cycle %d at %g V: %s (unit: %v, usable clock after %g s; verdict: %s, %s)",
				cycle.Number, cycle.SetVolts, problem, did.Outcome(), did.ClockSeconds(), cycle.Verdict, cycle.Reason)
		}
		if cycle.Verdict.Failed() {
			failures[cycle.SetVolts]++
		}
		off, offVolts = cycle.PoweredOff, cycle.SetVolts
	}
	// Reading the residual voltage makes the rest a millisecond longer than asked; that must stay without effect on a
	// table of another rest. No law of the units is steeper in the rest than its square root.
	if longest < c.rest || longest > c.rest*1.001 {
		t.Errorf("the unit rested up to %g s, asked for %g s", longest, c.rest)
	}
	for _, volts := range c.volts {
		outcomes := unit.Predict(crystal.Surroundings{SupplyVolts: volts, RestSeconds: longest, AmbientCelsius: c.celsius}, draws, 20260114)
		predicted := draws - outcomes[crystal.Starts]
		published := table.rate(t, c.row, volts)
		measured := failrate.TwoSided(failures[volts], measuredCycles, 1-chanceLimit)
		t.Logf("%g V: measured %d of %d = %.4f (99.9 %%: %.4f to %.4f), physics %.4f, table %.4f", volts, failures[volts],
			measuredCycles, measured.Estimate, measured.Low, measured.High, float64(predicted)/draws, published)
		if p := failrate.FisherExact(failures[volts], measuredCycles, predicted, draws); p < chanceLimit {
			t.Errorf("%g V: %d failures in %d cycles, the physics has %d in %d; by chance with probability %.2g only",
				volts, failures[volts], measuredCycles, predicted, draws, p)
		}
		if p := failrate.FisherExact(failures[volts], measuredCycles, int(math.Round(published*draws)), draws); p < chanceLimit {
			t.Errorf("%g V: %d failures in %d cycles, the table has a rate of %.4f; by chance with probability %.2g only",
				volts, failures[volts], measuredCycles, published, p)
		}
		if apart, allowed := math.Abs(float64(predicted)/draws-published), 4*math.Sqrt(published*(1-published)/draws)+0.002; apart > allowed {
			t.Errorf("%g V: the physics fails in %.4f, the table in %.4f ± %.4f", volts, float64(predicted)/draws, published, allowed)
		}
	}
	t.Logf("what the unit did, and what the verdict was:\n%v", seen)
}

// sensible is which verdicts may be given on what the unit did. A slow start may still be below what is required, or
// within the noise, when the watch ends; a current that stays below what clocks the firmware shows as weak.
var sensible = map[crystal.Outcome][]verdict.Verdict{
	crystal.Starts:     {verdict.Started},
	crystal.NeverGrows: {verdict.Silent, verdict.Weak},
	crystal.TooLate:    {verdict.Late, verdict.Silent, verdict.Weak},
	crystal.BrownOut:   {verdict.Silent, verdict.DroppedOut},
}

// judge says what is wrong with a verdict on what the unit did; empty if nothing is.
func (cell) judge(did crystal.Outcome, c logbook.Cycle, allowed float64) string {
	if slices.Contains(sensible[did], c.Verdict) {
		return ""
	}
	atTheLimit := math.Abs(c.StartSeconds-allowed) < limitBand // false for a start that was not timed
	switch {
	case atTheLimit && did == crystal.Starts && c.Verdict == verdict.Late, atTheLimit && did == crystal.TooLate && c.Verdict == verdict.Started:
		return ""
	case !c.Verdict.Counted():
		return "left out of the rate"
	case did.Failed() && !c.Verdict.Failed():
		return "a failure was hidden"
	case !did.Failed() && c.Verdict.Failed():
		return "a failure was invented"
	default:
		return "the wrong kind of failure"
	}
}

// confusion counts verdicts by what the unit did.
type confusion map[crystal.Outcome]map[verdict.Verdict]int

func (c confusion) add(did crystal.Outcome, v verdict.Verdict) {
	if c[did] == nil {
		c[did] = map[verdict.Verdict]int{}
	}
	c[did][v]++
}

func (c confusion) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%20s", "")
	for _, v := range verdict.Verdicts {
		fmt.Fprintf(&b, "%14s", v)
	}
	for _, did := range slices.Sorted(maps.Keys(c)) {
		fmt.Fprintf(&b, "\n%20v", did)
		for _, v := range verdict.Verdicts {
			fmt.Fprintf(&b, "%14d", c[did][v])
		}
	}
	return b.String()
}

// failureTable is the published table of start-failure probabilities.
type failureTable struct {
	Volts []float64            `json:"V"`
	Rows  map[string][]float64 `json:"rows"`
}

func readTable(t *testing.T) failureTable {
	t.Helper()
	text, err := os.ReadFile("../testdata/netlists/checks.json")
	if err != nil {
		t.Fatal(err)
	}
	var checks struct {
		MC failureTable `json:"mc"`
	}
	if err := json.Unmarshal(text, &checks); err != nil {
		t.Fatal(err)
	}
	return checks.MC
}

func (f failureTable) rate(t *testing.T, row string, volts float64) float64 {
	t.Helper()
	i := slices.Index(f.Volts, volts)
	if i < 0 || len(f.Rows[row]) != len(f.Volts) {
		t.Fatalf("checks.json has no cell %q at %g V", row, volts)
	}
	return f.Rows[row][i]
}
