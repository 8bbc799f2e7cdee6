package crystal

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func covers(t *testing.T, what string, e Estimate, want float64) {
	t.Helper()
	if !(want >= e.Low && want <= e.High) {
		t.Errorf("%s: %g ± %g (%g to %g) does not hold %g", what, e.Value, e.Sigma, e.Low, e.High, want)
	}
}

// Growth measured by ngspice 39 (decks tr01.cir to tr09.cir) back to the
// negative resistance at the circuit's frequency, which the same decks' circuits
// have by nodal analysis (rows Rn of the independent model).
func TestNegativeResistanceFromNgspiceGrowth(t *testing.T) {
	for name, rn := range map[string]float64{"TR01": 245.98084671153097, "TR02": 73.02322214590782, "TR03": 150.3115094296636, "TR04": 116.28788860975972, "TR05": 246.04601208686552} {
		var tau float64
		for _, row := range readChecks(t).TR {
			if row.Case == name {
				tau = row.TauSpice
			}
		}
		x, n, gm, _ := transient(t, name)
		c := Healthy()
		c.Crystal, c.Net, c.Gm = x, n, gm
		a, err := c.FromGrowth([]GrowthPoint{{Volts: 3.6, Seconds: tau, SecondsSigma: math.Abs(tau) * 5e-4}}, 0.01)
		if err != nil {
			t.Fatal(err)
		}
		near(t, name, a.NegativeOhms[0].Value, rn, 1e-3)
		covers(t, name, a.NegativeOhms[0], rn)
		if !math.IsNaN(a.Loss.Value) {
			t.Errorf("%s: a fixed gm has no change with voltage, and a loss of %g ohm", name, a.Loss.Value)
		}
	}
}

// Round trip: growth at several supplies of a circuit with more resistance and a
// stronger stage than the data sheet says gives both back, with intervals that
// hold the truth as often as they say.
func TestGrowthAndItsChangeWithVoltage(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	truth := Healthy()
	truth.Crystal.R1 = 60
	trueStop, err := truth.LowestSupply(1)
	if err != nil {
		t.Fatal(err)
	}
	const runs, relative = 200, 0.01
	var lossIn, stopIn, scaleIn, inCircuitIn int
	for range runs {
		var points []GrowthPoint
		for _, volts := range []float64{3.6, 3.2, 2.8, 2.4} {
			tau := truth.At(volts, 25).Analyse().GrowthSeconds
			points = append(points, GrowthPoint{Volts: volts, Seconds: tau * (1 + relative*rng.NormFloat64()), SecondsSigma: relative * tau})
		}
		a, err := Healthy().FromGrowth(points, 1)
		if err != nil {
			t.Fatal(err)
		}
		in := func(e Estimate, v float64) int {
			if v >= e.Low && v <= e.High {
				return 1
			}
			return 0
		}
		lossIn += in(a.Loss, 60)
		scaleIn += in(a.Scale, 1)
		stopIn += in(a.StopVolts, trueStop)
		inCircuitIn += in(a.InCircuitOhms[0], 267.0)
		if a.Loss.Sigma > 6 || a.StopVolts.Sigma > 0.05 {
			t.Fatalf("loss ± %g ohm, stop ± %g V", a.Loss.Sigma, a.StopVolts.Sigma)
		}
	}
	// 95 % intervals over 200 runs: 190 expected, 176 is 4.5 standard errors less.
	for what, in := range map[string]int{"loss": lossIn, "scale": scaleIn, "stop": stopIn, "|-R|": inCircuitIn} {
		if in < 176 {
			t.Errorf("%s: 95 %% interval holds the truth in %d of %d runs", what, in, runs)
		}
	}
}

// A series-resistor test of the unit by starts: the bracket holds what the
// circuit has, 398.0 Ω at its pins at 3.6 V (independent model).
func TestSeriesResistorTest(t *testing.T) {
	c := Healthy()
	a, err := c.FromResistors([]ResistorStep{{390, 0, 20}, {330, 20, 20}, {360, 3, 20}, {100, 20, 20}}, 0.01)
	if err != nil {
		t.Fatal(err)
	}
	if !a.Decided || a.InsertLow != 330 || a.InsertHigh != 360 {
		t.Errorf("bracket %g to %g", a.InsertLow, a.InsertHigh)
	}
	covers(t, "resistance at the pins", a.Terminal, 398.0)
	near(t, "loaded resistance", a.LoadedOhms, 28*1.495, 1e-3)
	covers(t, "margin", a.Margin, 398.0/41.86)
	if !strings.Contains(a.Say, "at least the 5") || !strings.Contains(a.Say, "fewer than 14 %") { // 1-0.05^(1/20)
		t.Errorf("says %q", a.Say)
	}

	// Twice the same resistor: what counts is both times together, in either order.
	for _, steps := range [][]ResistorStep{{{100, 9, 9}, {330, 20, 20}, {330, 19, 20}}, {{330, 19, 20}, {330, 20, 20}, {100, 4, 4}, {100, 5, 5}}} {
		twice, err := c.FromResistors(steps, 0.01)
		if err != nil || twice.InsertLow != 100 || twice.InsertHigh != 330 || !strings.Contains(twice.Say, "All 9 starts with 100 ohm") {
			t.Errorf("%v: %+v, %v", steps, twice, err)
		}
	}

	always, err := c.FromResistors([]ResistorStep{{100, 5, 5}}, 0.01)
	if err != nil || always.Decided || !math.IsInf(always.Margin.High, 1) || !strings.Contains(always.Say, "larger") {
		t.Errorf("never failed: %+v, %v", always, err)
	}
	never, err := c.FromResistors([]ResistorStep{{100, 4, 5}}, 0.01)
	if err != nil || never.Decided || never.Margin.Low != 0 || !strings.Contains(never.Say, "smaller") {
		t.Errorf("failed at once: %+v, %v", never, err)
	}
	for _, bad := range [][]ResistorStep{nil, {{-1, 1, 1}}, {{10, 2, 1}}, {{10, 0, 0}}} {
		if _, err := c.FromResistors(bad, 0.01); err == nil {
			t.Errorf("%v is accepted", bad)
		}
	}
	if _, err := c.FromResistors([]ResistorStep{{10, 1, 1}}, 5); err == nil {
		t.Error("a tolerance of 500 % is accepted")
	}
}

// The test done on the simulated unit, 50 starts a step: it ends where a resistor
// leaves too little to be in time, the time-out's cost below what stops it.
func TestSeriesResistorTestOfTheUnit(t *testing.T) {
	u := mustUnit(t, "healthy")
	var steps []ResistorStep
	for ohms := 250.0; ohms <= 400; ohms += 10 {
		with, err := u.Insert(Y1, ohms)
		if err != nil {
			t.Fatal(err)
		}
		starts := with.Predict(Surroundings{SupplyVolts: 3.6, AmbientCelsius: 25, RestSeconds: 5}, 50, uint64(ohms))[Starts]
		steps = append(steps, ResistorStep{Ohms: ohms, Starts: starts, Cycles: 50})
	}
	c := Healthy()
	a, err := c.FromResistors(steps, 0.01)
	if err != nil || !a.Decided {
		t.Fatalf("%+v, %v", a, err)
	}
	limit := boundary(0, 1000, func(ohms float64) bool {
		d := c
		d.Net.Rins = ohms
		return d.inTime()
	})
	covers(t, "resistance at the pins", a.Terminal, limit+a.LoadedOhms)
	if stops := c.Analyse().InsertOhms; !(limit < stops && limit > stops-40) {
		t.Errorf("in time up to %g ohm, stops from %g ohm", limit, stops)
	}
}

// Frequency back to the load: the pull table of petermann-technik.com (10 fF,
// 3 pF, nominal 8 pF: -69.93 ppm at 10 pF, +101.01 ppm at 6 pF).
func TestLoadFromFrequencyPublished(t *testing.T) {
	for ppm, load := range map[float64]float64{-69.93006993: 10e-12, 101.01010101: 6e-12} {
		c := Healthy()
		c.Hertz, c.NominalFarads = 10e6, 8e-12
		c.Crystal = NewResonator(10e6, 8e-12, 10e-15, 3e-12, 28)
		a, err := c.FromFrequency([]FrequencyPoint{{Hertz: 10e6 * (1 + ppm*1e-6), HertzSigma: 5}}, 0)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "load", a.Load.Value, load, 2e-3) // the page's form is first order
	}
}

// Round trip: which capacitor is off, by how much, from frequencies bare and
// with a probe at each pin.
func TestWhichCapacitorIsOff(t *testing.T) {
	probes := []Probe{{}, {Node: "A", Farads: 12e-12, Ohms: 10e6}, {Node: "B", Farads: 12e-12, Ohms: 10e6}}
	measure := func(c Circuit, probes []Probe, rng *rand.Rand) []FrequencyPoint {
		var points []FrequencyPoint
		for _, p := range probes {
			const sigma = 2.0 // Hz, some 0.3 ppm
			points = append(points, FrequencyPoint{Hertz: c.Probed(p).Analyse().Hertz + sigma*rng.NormFloat64(), HertzSigma: sigma, Probe: p})
		}
		return points
	}
	rng := rand.New(rand.NewPCG(21, 22))
	given := Healthy()
	const runs = 30
	for _, row := range []struct {
		suspect string
		ca, cb  float64
	}{{"CA", 12e-12, 27e-12}, {"CB", 27e-12, 12e-12}, {"CA", 47e-12, 27e-12}, {"", 27e-12, 27e-12}} {
		right, holds := 0, 0
		for range runs {
			a, err := given.FromFrequency(measure(given.WithLoad(row.ca, row.cb), probes, rng), 10)
			if err != nil {
				t.Fatal(err)
			}
			if a.Suspect == row.suspect {
				right++
			}
			for _, c := range []struct {
				answer CapacitorAnswer
				truth  float64
				say    string
			}{{a.CA, row.ca, "CA is off: "}, {a.CB, row.cb, "CB is off: "}} {
				if row.suspect == "" || !strings.HasPrefix(c.say, row.suspect) {
					continue
				}
				if c.truth >= c.answer.Farads.Low && c.truth <= c.answer.Farads.High {
					holds++
				}
				near(t, "change", c.answer.ChangeFarads, c.truth-27e-12, 0.15)
				if a.Suspect == row.suspect && !strings.HasPrefix(a.Say, c.say) {
					t.Errorf("says %q", a.Say)
				}
			}
			if row.suspect == "" {
				if strings.Contains(a.Say, "as given") {
					holds++
				}
			}
		}
		// 28 or 29 of 30 are expected to hold the truth and to be told apart.
		if right < 24 || holds < 24 {
			t.Errorf("CA %g, CB %g: right suspect in %d of %d, interval holds in %d", row.ca, row.cb, right, runs, holds)
		}
	}

	// One frequency alone gives a value for either and cannot tell.
	a, err := given.FromFrequency(measure(given.WithLoad(12e-12, 27e-12), probes[:1], rng), 10)
	if err != nil {
		t.Fatal(err)
	}
	covers(t, "CA from one frequency", a.CA.Farads, 12e-12)
	covers(t, "load from one frequency", a.Load, given.WithLoad(12e-12, 27e-12).Analyse().LoadFarads)
	if a.Suspect != "" || !a.CB.Possible || !strings.Contains(a.Say, "probe on each pin") {
		t.Errorf("one frequency: %+v", a)
	}
	// A frequency no capacitor gives is the crystal's.
	a, err = given.FromFrequency([]FrequencyPoint{{Hertz: 7.5e6, HertzSigma: 2}}, 10)
	if err != nil || a.CA.Possible || a.CB.Possible || !strings.Contains(a.Say, "check the crystal") {
		t.Errorf("7.5 MHz: %+v, %v", a, err)
	}
	// Three frequencies that contradict each other suspect neither.
	contradiction := measure(given, probes, rng)
	contradiction[1].Hertz -= 2000
	contradiction[2].Hertz += 1000
	a, err = given.FromFrequency(contradiction, 10)
	if err != nil || a.CA.Possible || a.CB.Possible || a.Suspect != "" || !strings.Contains(a.Say, "which probe was on which pin") {
		t.Errorf("contradiction: %+v, %v", a, err)
	}
	for _, bad := range [][]FrequencyPoint{nil, {{Hertz: 0, HertzSigma: 1}}, {{Hertz: 7e6}}} {
		if _, err := given.FromFrequency(bad, 10); err == nil {
			t.Errorf("%v is accepted", bad)
		}
	}
}

// Frequencies that ngspice 39 saw grow (decks tr01.cir to tr04.cir) give the
// effective load of the deck's circuit.
func TestLoadFromNgspiceFrequency(t *testing.T) {
	for _, row := range readChecks(t).TR[:4] {
		x, n, gm, _ := transient(t, row.Case)
		c := Healthy()
		c.Crystal, c.Net, c.Gm = x, n, gm
		c.Ro = 1 / n.Gds
		omega, z := x.Settle(&n, gm)
		a, err := c.FromFrequency([]FrequencyPoint{{Hertz: row.FSpice, HertzSigma: 5}}, 0)
		if err != nil {
			t.Fatal(err)
		}
		near(t, row.Case+" load", a.Load.Value, x.LoadFarads(omega, imag(z)), 1e-3)
		if a.Suspect != "" {
			t.Errorf("%s: suspects %s", row.Case, a.Suspect)
		}
	}
}

// 95 % points of chi-square: NIST/SEMATECH e-Handbook 1.3.6.7.4.
func TestChiSquareLimits(t *testing.T) {
	for freedom, want := range map[int]float64{0: 3.841, 1: 3.841, 2: 5.991, 10: 18.307, 11: 19.675, 20: 31.410, 100: 124.342} {
		near(t, "95 %", explained(freedom), want, 1e-3)
	}
}
