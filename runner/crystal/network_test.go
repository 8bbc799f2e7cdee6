package crystal

import (
	"math"
	"math/cmplx"
	"testing"
)

// Impedance seen by the motional arm: ngspice 39, decks ac01.cir to ac21.cir.
func TestImpedanceAgreesWithNgspice(t *testing.T) {
	for _, row := range readChecks(t).AC {
		d := readDeck(t, row.Case)
		n := d.net()
		s := complex(0, 2*math.Pi*row.F)
		z := Coeffs(&n, d.values["C0"], s).Ohms(d.values["Gm"])
		near(t, row.Case+" Re Z", real(z), row.Spice[0], 1e-9)
		near(t, row.Case+" Im Z", imag(z), row.Spice[1], 1e-9)
		a, b := NodeOhms(&n, d.values["C0"], d.values["Gm"], s)
		if diff := cmplx.Abs(a-b-z) / cmplx.Abs(z); diff > 1e-12 {
			t.Errorf("%s: node voltages differ from the impedance by %g", row.Case, diff)
		}
	}
}

// A very small series resistance must lead to the net without one.
func TestSeriesResistanceMergesTheNodes(t *testing.T) {
	n := board()
	n.Gds = 1 / 50e3
	s := complex(0, 2*math.Pi*nominalHertz)
	want := Coeffs(&n, 3.8e-12, s).Ohms(1e-3)
	n.Rs = 1e-4
	if got := Coeffs(&n, 3.8e-12, s).Ohms(1e-3); cmplx.Abs(got-want) > 1e-5*cmplx.Abs(want) {
		t.Errorf("Rs = 0.1 mΩ gives %v, without %v", got, want)
	}
}

// Lossless closed forms of Vittoz, Degrauwe and Bitz, IEEE JSSC 1988 (from
// memory): the largest negative resistance and the gm that gives it, with
// C_A' = 33.5 pF, C_B' = 32.5 pF, C3 = 4.9 pF.
func TestLosslessClosedForms(t *testing.T) {
	n := board()
	n.RA, n.RB, n.Rf = 0, 0, math.Inf(1)
	w := 2 * math.Pi * nominalHertz
	m := Coeffs(&n, 3.8e-12, complex(0, w))
	const ca, cb, c3 = 33.5e-12, 32.5e-12, 4.9e-12
	best := w * (ca + cb + ca*cb/c3)
	near(t, "best gm", best, 13.35e-3, 1e-3)
	near(t, "largest negative resistance", -real(m.Ohms(best)), 1698.28, 1e-5)
	for _, gm := range []float64{0.99 * best, 1.01 * best} {
		if -real(m.Ohms(gm)) >= -real(m.Ohms(best)) {
			t.Errorf("gm %g gives more negative resistance than the best gm", gm)
		}
	}
}
