package crystal

import (
	"math"
	"testing"
)

// The series-resistor test on the sound unit at 3.6 V: 356.4 ohms just stop it (circuit equations solved apart,
// and checked with ngspice 39 on the bare net). Seen from the pins, |-R| is what was inserted plus R1·(1+C0/CL)².
func TestInsert(t *testing.T) {
	u := healthy()
	gmAt := func(u Unit) float64 {
		stage := u.Inverter.Bias(&u.Net, 3.6, 25)
		u.Net.Gds = stage.Gds
		_, z := u.Crystal.Settle(&u.Net, stage.Gm)
		return -real(z) - u.Crystal.R1
	}
	low, high := 1.0, 1000.0
	for range 60 {
		mid := (low + high) / 2
		tried, err := u.Insert(Y1, mid)
		if err != nil {
			t.Fatal(err)
		}
		if gmAt(tried) > 0 {
			low = mid
		} else {
			high = mid
		}
	}
	if math.Abs(low-356.4) > 0.1 {
		t.Errorf("%.2f ohms just stop the sound unit at 3.6 V, want 356.4", low)
	}
	// A resistor of next to nothing changes next to nothing: both ways through the net agree.
	tiny, err := u.Insert(Y1, 1e-9)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := gmAt(tiny), gmAt(u); math.Abs(got-want) > 1e-6 {
		t.Errorf("net resistance %g with 1 nohm inserted, %g without", got, want)
	}
	s := complex(0, u.Crystal.omega(0))
	a, b := NodeOhms(&u.Net, u.Crystal.C0, 1e-3, s)
	ai, bi := NodeOhms(&tiny.Net, u.Crystal.C0, 1e-3, s)
	if !close6(a, ai) || !close6(b, bi) {
		t.Errorf("volts per ampere at the nodes %v %v with 1 nohm inserted, %v %v without", ai, bi, a, b)
	}
}

func close6(a, b complex128) bool {
	return math.Hypot(real(a-b), imag(a-b)) < 1e-6*math.Hypot(real(a), imag(a))
}

func TestInsertRefuses(t *testing.T) {
	for _, ohms := range []float64{-1, math.NaN(), math.Inf(1), 2e6} {
		if _, err := healthy().Insert(Y1, ohms); err == nil {
			t.Errorf("%g ohms were inserted", ohms)
		}
	}
	if _, err := healthy().Insert(C7, 10); err == nil {
		t.Error("a resistor was inserted at C7")
	}
}
