package crystal

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The healthy circuit at 3.6 V: independent model of checks.json; impedance and
// growth of such circuits are confirmed by ngspice 39 elsewhere.
func TestAnalyseHealthy(t *testing.T) {
	a := Healthy().Analyse()
	within(t, "|-R|", a.NegativeOhms, 267.0, 0.05)
	within(t, "gain margin", a.GainMargin, 7.74, 0.005)
	within(t, "resistance margin", a.ResistanceMargin, 9.54, 0.005)
	within(t, "load pF", 1e12*a.LoadFarads, 17.05, 0.005)
	within(t, "pulling", a.PullingPPM, 14.6, 0.06)
	within(t, "critical gm mS", 1e3*a.CriticalGm.Low, 0.1408, 1e-4)
	within(t, "best gm mS", 1e3*a.OptimumGm, 13.35, 0.005)
	within(t, "at the pins", a.TerminalOhms, 398.0, 0.05)
	within(t, "resistor that stops it", a.InsertOhms, 356.4, 0.05)
	within(t, "drive µW", 1e6*a.DriveWatts, 194, 0.5)
	within(t, "current mA", 1e3*a.MotionalAmps, 3.72, 0.006)
	within(t, "clock ms, count of 1024 included", 1e3*a.ClockSeconds, 4.1+0.139, 0.06)
	within(t, "cost of the time-out", a.TimeoutOhms, 15, 0.2)
	if !a.Starts || !a.InTime {
		t.Error("the healthy circuit does not start")
	}
	if !(a.LimitedPPM < a.PullingPPM && a.LimitedPPM > a.PullingPPM-15) {
		t.Errorf("pulled %g ppm when limited, %g ppm when growing", a.LimitedPPM, a.PullingPPM)
	}
}

// The resistance at the pins over that of the motional arm is (1+C0/CL)² within
// half a per cent, and so is the resistor that stops it: independent model.
func TestTerminalResistance(t *testing.T) {
	for _, volts := range []float64{3.6, 2.6} {
		c := Healthy().At(volts, 25)
		a := c.Analyse()
		k := math.Pow(1+c.Crystal.C0/a.LoadFarads, 2)
		near(t, "at the pins", a.TerminalOhms, a.NegativeOhms*k, 5e-3)
		near(t, "resistor that stops it", a.InsertOhms, (a.NegativeOhms-c.Crystal.R1)*k, 1e-2)
		// Put there, it just stops it: R1 with the resistor moved into the arm.
	}
	dead := Healthy()
	dead.Crystal.R1 = 1000
	if a := dead.Analyse(); a.InsertOhms != 0 || a.Starts || !math.IsInf(a.StartSeconds, 1) || a.GrowthSeconds >= 0 {
		t.Errorf("a crystal of 1 kΩ: %+v", a)
	}
}

// Sensitivities per pF and per ohm of the healthy circuit at 3.6 V: independent
// model of checks.json.
func TestSensitivities(t *testing.T) {
	c := Healthy()
	got := map[string]Sensitivity{}
	for _, s := range c.Sensitivities() {
		got[s.Symbol] = s
	}
	for _, row := range []struct {
		symbol                       string
		per, margin, resistance, ppm float64 // per F or ohm: per cent, per cent, ppm
	}{
		{"CA", 1e-12, -2.3, -2.3, -4.0},
		{"CB", 1e-12, -1.3, -2.2, -4.2},
		{"Cs", 1e-12, -7.0, -9.0, -14.4},
		{"C0", 1e-12, -7.0, -9.0, -0.35},
		{"R1", 1, -2.7, 0, 0},
		{"RA", 1, -1.07, math.NaN(), math.NaN()},
		{"RB", 1, -1.14, math.NaN(), math.NaN()},
	} {
		s, ok := got[row.symbol]
		if !ok {
			t.Errorf("no sensitivity to %s", row.symbol)
			continue
		}
		k := row.per / (0.01 * c.Value(row.symbol))
		// Printed values are steps of a whole pF or ohm, these the slope.
		within(t, row.symbol+" margin", k*s.GainMarginPercent, row.margin, 0.05+0.06*math.Abs(row.margin))
		if !math.IsNaN(row.ppm) {
			within(t, row.symbol+" |-R|", k*s.ResistancePercent, row.resistance, 0.05+0.07*math.Abs(row.resistance))
			within(t, row.symbol+" ppm", k*s.FrequencyPPM, row.ppm, 0.05+0.06*math.Abs(row.ppm))
		}
	}
	for _, absent := range []string{"Rs", "Rleak", "CpA", "RpB"} {
		if _, ok := got[absent]; ok {
			t.Errorf("%s is not in the circuit, and has a sensitivity", absent)
		}
	}
}

// Supply limits: independent model of checks.json. The value at -20 °C leaves
// out that R1 rises in the cold.
func TestLowestSupply(t *testing.T) {
	for celsius, want := range map[float64]float64{25: 2.70, -20: 2.58, 60: 2.82} {
		c := Healthy().At(3.6, celsius)
		c.Crystal.R1 /= coldOhms(1, celsius)
		got, err := c.LowestSupply(5)
		if err != nil {
			t.Fatal(err)
		}
		within(t, "gain margin 5", got, want, 0.0051)
	}
	start, err := Healthy().LowestStart()
	if err != nil {
		t.Fatal(err)
	}
	within(t, "starts from", start, 2.00, 0.005)
	fixed, err := Healthy().With(map[string]float64{"gm": 1e-3})
	if err != nil {
		t.Fatal(err)
	}
	if v, err := fixed.LowestSupply(5); err != ErrNoLaw || !math.IsNaN(v) {
		t.Errorf("fixed gm: %g V, %v", v, err)
	}
}

// Single-fault limits of the healthy circuit, as of the unit: singleFaults. The
// largest R1 of that table follows the rule |-R| > R1 + time-out alone; a
// crystal that poor limits below the clock level, so ours is lower.
func TestFaultLimits(t *testing.T) {
	for _, row := range singleFaults {
		c := Healthy().At(row.volts, 25)
		got := map[string]FaultLimit{}
		for _, l := range c.FaultLimits() {
			got[l.Symbol] = l
		}
		near(t, "film", got["Rleak"].Start, 1e3*row.minFilmK, 0.03)
		near(t, "crack in CA stops from", got["RA"].Start, row.crackA1, 0.03)
		near(t, "crack in CA starts again from", got["RA"].Again, row.crackA2, 0.03)
		near(t, "crack in CB stops from", got["RB"].Start, row.crackB1, 0.03)
		near(t, "crack in CB starts again from", got["RB"].Again, row.crackB2, 0.03)
		within(t, "contact", got["Rcontact"].Start, row.contact, 1.3)

		a := c.Analyse()
		near(t, "R1 of margin 1", got["R1"].Margin, a.NegativeOhms, 2e-3)
		if r := got["R1"].Start; !(r < a.NegativeOhms-a.TimeoutOhms && r > 0.7*a.NegativeOhms) {
			t.Errorf("%g V: largest R1 that starts %g, |-R| %g", row.volts, r, a.NegativeOhms)
		}
		// Each limit is one: on its sound side it starts, on the other not.
		for _, side := range []struct {
			factor float64
			starts bool
		}{{0.99, true}, {1.01, false}} {
			d := c
			d.Net.RA = got["RA"].Start * side.factor
			if d.Analyse().InTime != side.starts {
				t.Errorf("crack at %g of its limit: starts %t", side.factor, !side.starts)
			}
		}
	}
}

// What probes do: independent model of checks.json.
func TestProbeEffects(t *testing.T) {
	got := map[string]ProbeEffect{}
	for _, e := range Healthy().ProbeEffects() {
		got[e.Name+" at "+e.Probe.Node] = e
	}
	within(t, "10x at A, ppm", got["10x at A"].PPM, -37, 0.5)
	within(t, "10x at A, margin", got["10x at A"].GainMargin, 6.0, 0.05)
	within(t, "10x at B, ppm", got["10x at B"].PPM, -39, 0.5)
	within(t, "10x at B, margin", got["10x at B"].GainMargin, 6.6, 0.05)
	within(t, "1x at B, ppm", got["1x at B"].PPM, -114, 0.5)
	within(t, "1x at B, margin", got["1x at B"].GainMargin, 2.8, 0.05)
	within(t, "1x at B stops it below", got["1x at B"].StopsBelowVolts, 2.65, 0.02)
	if e := got["1x at A"]; e.Starts || !math.IsInf(e.StopsBelowVolts, 1) {
		t.Errorf("1x at A: %+v; it stops the clock at any supply", e)
	}
}

// Quantiles of the first amplitude: without a kick it is Rayleigh, far above the
// noise it is the kick with a normal spread.
func TestFirstAmplitudeQuantiles(t *testing.T) {
	for _, p := range []float64{0.05, 0.5, 0.95} {
		near(t, "Rayleigh", firstQuantile(0, 2, p), 2*math.Sqrt(-2*math.Log(1-p)), 1e-6)
	}
	near(t, "median of a strong kick", firstQuantile(50, 1, 0.5), 50.01, 1e-5)
	near(t, "a strong kick's spread", firstQuantile(50, 1, 0.8413447)-firstQuantile(50, 1, 0.5), 1, 1e-3)
}

// The spread of start times from noise alone is Gumbel's: 5, 50, 95 % at
// -τ/2·ln(-ln p) from its centre.
func TestStartTimeDistribution(t *testing.T) {
	a := Healthy().At(2.4, 25).Analyse()
	gumbel := func(p float64) float64 { return -a.GrowthSeconds / 2 * math.Log(-math.Log(p)) }
	near(t, "95 % after 50 %", a.Start95Seconds-a.Start50Seconds, gumbel(0.95)-gumbel(0.5), 0.03)
	near(t, "50 % after 5 %", a.Start50Seconds-a.Start5Seconds, gumbel(0.5)-gumbel(0.05), 0.03)
}

// A typical start lies well inside the distribution of starts, from a tuning
// fork, which the supply's edge sets ringing, to a crystal that has noise alone.
// The same starts drawn one by one agree.
func TestTypicalStartIsTypical(t *testing.T) {
	rng := rand.New(rand.NewPCG(41, 42))
	for _, hertz := range []float64{32768, 100e3, 1e6, 8e6, 25e6} {
		c, err := Typical(hertz)
		if err != nil {
			t.Fatal(err)
		}
		a := c.Analyse()
		if !(a.Start5Seconds < a.StartSeconds && a.StartSeconds < a.Start95Seconds && a.ClockSeconds < a.Start95Seconds+clockCycles/hertz) {
			t.Errorf("%g Hz: typical start %g s, usable clock %g s, 90 of 100 starts between %g and %g s",
				hertz, a.StartSeconds, a.ClockSeconds, a.Start5Seconds, a.Start95Seconds)
		}
		o := c.operate()
		kick, sigma := o.kick(&c), o.sigma(&c)
		const draws = 20000
		sooner := 0
		for range draws {
			l := newLogistic(firstAmps(kick, sigma, rng.NormFloat64(), rng.NormFloat64()), a.MotionalAmps, a.GrowthSeconds)
			if l.seconds(0.9) < a.StartSeconds {
				sooner++
			}
		}
		// Noise alone: exp(-1) of the starts (Gumbel); a strong kick: half.
		if share := float64(sooner) / draws; share < math.Exp(-1)-0.015 || share > 0.515 {
			t.Errorf("%g Hz: %.3f of the starts are sooner than the typical one", hertz, share)
		}
	}
}
