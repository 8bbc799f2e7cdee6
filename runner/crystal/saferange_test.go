package crystal

import (
	"math"
	"strings"
	"testing"
)

// Continuous limits of the load capacitors, gain margin 5 and ±50 ppm:
// independent model of checks.json (pF; 0 = none).
func TestSafeRange(t *testing.T) {
	for _, row := range []struct{ volts, margin, low, high, safeLow, safeHigh, starts, margin60 float64 }{
		{3.6, 39.9, 23.2, 36.6, 23.2, 36.6, 90.9, 22.3},
		{3.3, 36.3, 22.9, 36.4, 22.9, 36.3, 83.2, 19.9},
		{3.0, 32.1, 22.6, 36.2, 22.6, 32.1, 74.6, 17.0},
		{2.8, 28.8, 22.4, 36.1, 22.4, 28.8, 68.1, 14.8},
		{2.6, 25.1, 22.3, 36.0, 22.3, 25.1, 60.8, 12.2},
		{2.4, 20.7, 22.2, 36.0, 0, 0, 52.4, 9.1},
		{2.2, 15.0, 22.0, 35.9, 0, 0, 41.9, 5.3},
	} {
		c := Healthy().At(row.volts, 25)
		r := c.SafeRange(5, 50)
		within(t, "gain margin up to", 1e12*r.MarginHighFarads, row.margin, 0.06)
		within(t, "pulling from", 1e12*r.PullingLowFarads, row.low, 0.06)
		within(t, "pulling to", 1e12*r.PullingHighFarads, row.high, 0.06)
		// That model's rule for the time-out is a fixed resistance; ours is the growth itself.
		near(t, "starts up to", 1e12*r.StartHighFarads, row.starts, 0.015)
		if r.OK != (row.safeLow > 0) {
			t.Errorf("%g V: safe range %t, %s", row.volts, r.OK, r.Reason)
		}
		if r.OK {
			within(t, "safe from", 1e12*r.LowFarads, row.safeLow, 0.06)
			within(t, "safe to", 1e12*r.HighFarads, row.safeHigh, 0.06)
		}
		c.Crystal.R1 = 60
		r = c.SafeRange(5, 50)
		within(t, "gain margin of a 60 Ω crystal up to", 1e12*r.MarginHighFarads, row.margin60, 0.06)
		if r.OK || !strings.Contains(r.Reason, "fit a crystal with less resistance") || !strings.Contains(r.Reason, "at least 2") {
			t.Errorf("%g V, 60 Ω: safe range %t, reason %q", row.volts, r.OK, r.Reason)
		}
	}
	within(t, "no pulling at", 1e12*Healthy().SafeRange(5, 50).ZeroFarads, 28.8, 0.06)
}

// Inside the range both rules hold, just outside one is broken.
func TestSafeRangeEdges(t *testing.T) {
	c := Healthy().At(2.8, 25)
	r := c.SafeRange(5, 50)
	good := func(farads float64) bool {
		a := c.WithLoad(farads, farads).Analyse()
		return a.GainMargin >= 5 && math.Abs(a.PullingPPM) <= 50
	}
	for _, f := range []float64{r.LowFarads * 1.001, (r.LowFarads + r.HighFarads) / 2, r.HighFarads * 0.999} {
		if !good(f) {
			t.Errorf("%g F is in the range and breaks a rule", f)
		}
	}
	for _, f := range []float64{r.LowFarads * 0.999, r.HighFarads * 1.001} {
		if good(f) {
			t.Errorf("%g F is outside the range and keeps both rules", f)
		}
	}
}

func TestNoSafeRangeSaysWhy(t *testing.T) {
	poor := Healthy()
	poor.Crystal.R1 = 1500
	if r := poor.SafeRange(5, 50); r.OK || !strings.Contains(r.Reason, "no load capacitor gives a gain margin of 5") {
		t.Errorf("1.5 kΩ crystal: %q", r.Reason)
	}
	series := Healthy()
	series.Hertz *= 0.999 // sold as slower than its own series resonance
	if r := series.SafeRange(5, 50); r.OK || !strings.Contains(r.Reason, "no load capacitor brings the frequency") {
		t.Errorf("crystal that is too fast: %q", r.Reason)
	}
}

// For a healthy 4 MHz microcontroller clock any value from 10 to 20 pF will do:
// common practice, no source.
func TestFourMegahertzTakesTenToTwentyPicofarads(t *testing.T) {
	c, err := Typical(4e6)
	if err != nil {
		t.Fatal(err)
	}
	r := c.SafeRange(5, 50)
	if !r.OK || r.LowFarads > 10e-12 || r.HighFarads < 20e-12 {
		t.Errorf("safe range %g to %g F %s", r.LowFarads, r.HighFarads, r.Reason)
	}
	if len(c.Assumed) != len(Symbols())-1 {
		t.Errorf("assumed: %v", c.Assumed)
	}
}

func TestTypicalIsUsual(t *testing.T) {
	for _, hertz := range []float64{32768, 1e6, 4e6, 8e6, 16e6, 25e6, 48e6} {
		c, err := Typical(hertz)
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Validate(); err != nil {
			t.Error(err)
		}
		for _, s := range Symbols() {
			if v := c.Value(s.Name); v < s.UsualLow*0.999 && s.Name != "CpA" && s.Name != "CpB" || v > s.UsualHigh*1.001 && !math.IsInf(v, 1) {
				t.Errorf("%g Hz: typical %s = %g is outside the usual %g to %g", hertz, s.Name, v, s.UsualLow, s.UsualHigh)
			}
		}
		a := c.Analyse()
		if !a.InTime || a.GainMargin < 5 {
			t.Errorf("%g Hz: gain margin %g, in time %t", hertz, a.GainMargin, a.InTime)
		}
	}
	for _, hertz := range []float64{0, -1, 500e3, 1e9, math.NaN()} {
		if _, err := Typical(hertz); len(Errors(err)) != 1 {
			t.Errorf("typical %g Hz: %v", hertz, err)
		}
	}
}
