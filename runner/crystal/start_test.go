package crystal

import (
	"fmt"
	"math"
	"testing"
)

// small is the unit's small-signal state at one supply and temperature, with
// no drop in the supply path and no chance.
func small(u Unit, volts, celsius float64) (x Resonator, n Net, gm, omega float64, z complex128) {
	n = u.Net
	stage := u.Inverter.Bias(&n, volts, celsius)
	n.Gds = stage.Gds
	omega, z = u.Crystal.Settle(&n, stage.Gm)
	return u.Crystal, n, stage.Gm, omega, z
}

// The exact start condition where the classical forms fail: gm_lo in mS and
// negative resistance in ohms of the independent model of checks.json, whose
// impedances ngspice 39 confirms (decks ac01.cir to ac21.cir).
func TestStartConditionWithLosses(t *testing.T) {
	for _, c := range []struct {
		name          string
		change        func(*Net)
		gm            float64
		rnOhms, lowMS float64
	}{
		{"healthy", func(*Net) {}, 1.09e-3, 267.0, 0.1408},
		{"CA 15 p, CB 47 p", func(n *Net) { n.CA, n.CB = 15e-12, 47e-12 }, 1.09e-3, 252.1, 0.1345},
		{"gm 13.35 mS, ro 3 k", func(n *Net) { n.Gds = 1 / 3e3 }, 13.35e-3, 1356, 0.4648},
		{"gm 60 mS, ro 667", func(n *Net) { n.Gds = 1 / 667.0 }, 60e-3, 484, 1.779},
		{"film 15 k", func(n *Net) { n.Rleak = 15e3 }, 1.09e-3, 196.8, 0.4124},
		{"crack 300", func(n *Net) { n.RA = 300 }, 1.09e-3, 149.7, 0.5878},
		{"Rs 1 k", func(n *Net) { n.Rs = 1e3 }, 1.09e-3, 248.3, 0.1919},
		{"1x probe at A", func(n *Net) { n.CpA, n.RpA = 100e-12, 1e6 }, 1.09e-3, 74.4, 0.4791},
	} {
		n := board()
		n.Gds = 1 / 40e3
		c.change(&n)
		x := soundCrystal()
		// These values are at the nominal frequency, gm_lo settled near it.
		rn := -real(Coeffs(&n, x.C0, complex(0, 2*math.Pi*nominalHertz)).Ohms(c.gm))
		near(t, c.name+" |Rn|", rn, c.rnOhms, 2e-3)
		near(t, c.name+" gm_lo", 1e3*x.StartRange(&n).Low, c.lowMS, 1e-2)
	}
}

// At both ends of the range the negative resistance just covers R1.
func TestStartRangeEndsAreExact(t *testing.T) {
	x := soundCrystal()
	n := board()
	n.Gds = 1 / 40e3
	m := Coeffs(&n, x.C0, complex(0, 2*math.Pi*nominalHertz))
	limits := m.startRange(x.R1)
	for _, gm := range []float64{limits.Low, limits.High} {
		near(t, "-Re Z at the limit", -real(m.Ohms(gm)), x.R1, 1e-9)
	}
	if mid := -real(m.Ohms(math.Sqrt(limits.Low * limits.High))); mid <= x.R1 {
		t.Errorf("between the limits |Rn| = %g", mid)
	}
	if never := m.startRange(1e5); !math.IsNaN(never.Low) {
		t.Errorf("a 100 kΩ crystal starts from gm = %g", never.Low)
	}
	x.R1 = 1e5
	if got := x.GainMargin(&n, 1e-3); got != 0 {
		t.Errorf("gain margin %g for a crystal that never starts", got)
	}
}

// Published: gm_crit formula of ST AN2867 evaluated in the public notebook of
// the ch32-devboard-hardware repository (16 MHz, 80 Ω, C0 7 pF, CL 9 pF).
func TestCriticalGmPublished(t *testing.T) {
	near(t, "gm_crit", CriticalGm(16e6, 80, 7e-12, 9e-12), 0.82792e-3, 1e-5)
	near(t, "gain margin at 17 mA/V", 17e-3/CriticalGm(16e6, 80, 7e-12, 9e-12), 20.533, 1e-4)
	near(t, "with 100 Ω more", CriticalGm(16e6, 180, 7e-12, 9e-12), 1.86283e-3, 1e-5)

	// The exact two-sided condition on the same numbers, lossless and with Rf.
	none := math.Inf(1)
	n := Net{CA: 18e-12, CB: 18e-12, Rf: none, Rleak: none, RgA: none, RgB: none, RvA: none, RpA: none, RpB: none}
	at := complex(0, 2*math.Pi*16e6)
	near(t, "exact, lossless", Coeffs(&n, 7e-12, at).startRange(80).Low, 0.83639e-3, 1e-4)
	// A series resistor costs nothing where the stage is an ideal source.
	n.Rs = 100
	near(t, "exact, Rs 100 Ω, ideal source", Coeffs(&n, 7e-12, at).startRange(80).Low, 0.83639e-3, 1e-4)
	n.Rs, n.Rf = 0, 1e6
	near(t, "exact, Rf 1 MΩ", Coeffs(&n, 7e-12, at).startRange(80).Low, 0.84056e-3, 1e-4)
}

// Published: pull range of the ICS810001-21 data sheet, 226.5 ppm for C0 4 pF,
// C0/C1 220, CL 9.7 to 16.8 pF; the exact root is 226.284 ppm.
func TestPullRangePublished(t *testing.T) {
	none := math.Inf(1)
	x := NewResonator(27e6, 9.7e-12, 4e-12/220, 4e-12, 20)
	hertz := func(load float64) float64 {
		n := Net{CA: 2 * load, CB: 2 * load, Rf: none, Rleak: none, RgA: none, RgB: none, RvA: none, RpA: none, RpB: none}
		omega, z := x.Settle(&n, 0)
		near(t, "effective load", x.LoadFarads(omega, imag(z)), load, 1e-9)
		return omega / (2 * math.Pi)
	}
	near(t, "nominal frequency", hertz(9.7e-12), 27e6, 1e-9)
	ppm := (hertz(9.7e-12)/hertz(16.8e-12) - 1) * 1e6
	near(t, "pull range ppm", ppm, 226.5, 2e-3)
	near(t, "pull range ppm, exact root", ppm, 226.284, 5e-4)
}

// The healthy unit against load capacitor, 25 °C: independent model of
// checks.json (load pF, pulling ppm, gain margins at 3.6, 3.0, 2.6, 2.2 V,
// negative resistance and drive at 3.6 V).
func TestLoadCapacitorTable(t *testing.T) {
	for _, row := range []struct {
		pF, loadPF, ppm, gm36, gm30, gm26, gm22, rn, microwatts float64
	}{
		{15, 10.55, 166.7, 12.44, 10.51, 8.26, 5.01, 500, 104},
		{18, 12.22, 115.7, 10.99, 9.07, 7.03, 4.22, 421, 125},
		{22, 14.40, 63.6, 9.36, 7.55, 5.77, 3.42, 340, 154},
		{27, 17.05, 14.6, 7.74, 6.10, 4.60, 2.70, 267, 194},
		{33, 20.17, -29.1, 6.26, 4.83, 3.60, 2.10, 206, 245},
		{47, 27.33, -96.2, 4.05, 3.03, 2.23, 1.29, 125, 366},
		{68, 37.94, -153.3, 2.38, 1.75, 1.27, 0.73, 70, 507},
	} {
		u := healthy()
		u.Net.CA, u.Net.CB = row.pF*1e-12, row.pF*1e-12
		x, n, _, omega, z := small(u, 3.6, 25)
		within(t, "load pF", 1e12*x.LoadFarads(omega, imag(z)), row.loadPF, 0.006)
		within(t, "ppm", 1e6*(omega/(2*math.Pi*nominalHertz)-1), row.ppm, 0.06)
		within(t, "|Rn|", -real(z), row.rn, 0.6)
		watts := DriveWatts(x.R1, finalAmps(railAmps(&n, x.C0, 3.6, omega), -real(z), x.R1))
		within(t, "drive µW", 1e6*watts, row.microwatts, 0.6)
		for volts, want := range map[float64]float64{3.6: row.gm36, 3.0: row.gm30, 2.6: row.gm26, 2.2: row.gm22} {
			x, n, gm, _, _ := small(u, volts, 25)
			within(t, "gain margin", x.GainMargin(&n, gm), want, 0.006)
		}
	}
}

// The start condition is a quadratic in gm; here, with D0 = 1 and R1 = 0, it is a gm² - 3 gm + 0.002 < 0. One that is
// nearly a line has one root where the line has it and the other far away, and rounding must not lose the first.
func TestStartRangeOfANearLine(t *testing.T) {
	for _, a := range []float64{0, -1e-12, 1e-12} {
		m := Mobius{N0: 2e-3, N1: -3, D0: 1, D1: complex(-a/3, 0)}
		near(t, fmt.Sprintf("least gm, a = %g", a), m.startRange(0).Low, 2e-3/3, 1e-12)
	}
}
