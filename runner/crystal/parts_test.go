package crystal

import (
	"math"
	"strings"
	"testing"
)

// The fault goes with the part that carries it, and only with that one.
func TestFitCuresTheRightPart(t *testing.T) {
	cold := Surroundings{SupplyVolts: 2.4, AmbientCelsius: -10, RestSeconds: 3600}
	for name, culprit := range map[string]Part{
		"cracked-capacitor": C7, "sleepy-crystal": Y1, "wet-flux": Y1, "resistive-contact": J1,
	} {
		u := mustUnit(t, name)
		before := u.Predict(cold, 2000, 1)[Starts]
		for _, p := range Parts() {
			fitted, err := u.Fit(p, 0)
			if err != nil {
				t.Fatal(err)
			}
			after := fitted.Predict(cold, 2000, 1)[Starts]
			if p == culprit && after != 2000 {
				t.Errorf("%s with a new %s starts %d of 2000", name, p, after)
			}
			if p != culprit && math.Abs(float64(after-before)) > 150 {
				t.Errorf("%s with a new %s starts %d of 2000, as found %d", name, p, after, before)
			}
		}
	}
}

func TestLift(t *testing.T) {
	u := mustUnit(t, "cracked-capacitor")
	lifted, err := u.Lift(C7)
	if err != nil {
		t.Fatal(err)
	}
	if u.Net.CA != loadFarads || u.Crack.Ohms == 0 {
		t.Error("lifting changed the unit it was asked of")
	}
	if got := lifted.Predict(warm, 500, 1)[Starts]; got != 500 {
		t.Errorf("with C7 lifted it starts %d of 500", got)
	}
	for _, p := range []Part{R3, Y1} {
		dead, err := u.Lift(p)
		if err != nil {
			t.Fatal(err)
		}
		if got := dead.Predict(warm, 200, 1)[NeverGrows]; got != 200 {
			t.Errorf("with %s lifted: %d of 200 never grow", p, got)
		}
	}
}

func TestDryMorning(t *testing.T) {
	wet := mustUnit(t, "wet-flux")
	s := Surroundings{SupplyVolts: 2.4, AmbientCelsius: 25, RestSeconds: 5}
	if w, d := wet.Predict(s, 1000, 1)[Starts], wet.Dry().Predict(s, 1000, 1)[Starts]; w > 600 || d < 995 {
		t.Errorf("starts %d of 1000 wet, %d dry", w, d)
	}
}

func TestBadParts(t *testing.T) {
	u := mustUnit(t, "healthy")
	for _, c := range []struct {
		err  func() error
		says string
	}{
		{func() error { _, err := u.Fit(C7, 27); return err }, "farads"},
		{func() error { _, err := u.Fit(C7, math.NaN()); return err }, "positive"},
		{func() error { _, err := u.Fit(C8, -1e-12); return err }, "positive"},
		{func() error { _, err := u.Fit(Y1, 7e6); return err }, "one value only"},
		{func() error { _, err := u.Fit("C9", 0); return err }, "C7"},
		{func() error { _, err := u.Lift(J1); return err }, "C7, C8, R3 and Y1"},
		{func() error { _, err := NewUnit("broken"); return err }, "wet-flux"},
	} {
		if err := c.err(); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("error %v does not say %q", err, c.says)
		}
	}
}
