package crystal

import (
	"math"
	"testing"
)

// startsBy reports whether a unit with these parts has a usable clock within
// the firmware's time-out when it starts from the typical noise amplitude.
func startsBy(u Unit, volts float64) bool {
	x, n, _, omega, z := small(u, volts, 25)
	rn := -real(z)
	sigma := noiseAmps(x.L1, 298.15, rn, x.R1)
	g := newGrowth(x, rn, railAmps(&n, x.C0, volts, omega), sigma*math.Sqrt2, 0, 0)
	return g.seconds() < u.Firmware.TimeoutSeconds
}

// edge finds by bisection of the logarithm where starts changes from true (low
// side) to false, or back, between two values of a fault.
func edge(low, high float64, starts func(float64) bool) float64 {
	first := starts(low)
	for range 60 {
		mid := math.Sqrt(low * high)
		if starts(mid) == first {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

// singleFaults is how bad each single fault may be before the otherwise healthy
// unit does not start inside 65.5 ms, 25 °C: independent model of checks.json.
var singleFaults = []struct {
	volts, rn, maxR1, minFilmK, crackA1, crackA2, crackB1, crackB2, contact float64
}{
	{3.6, 267.0, 252, 5.0, 651, 4510, 587, 6751, 188},
	{3.3, 230.5, 216, 5.9, 524, 5511, 480, 7907, 152},
	{3.0, 192.5, 177, 7.2, 405, 6939, 375, 9595, 117},
	{2.8, 166.1, 151, 8.6, 328, 8325, 306, 11259, 94},
	{2.6, 138.6, 124, 10.9, 252, 10379, 235, 13750, 70},
	{2.4, 109.7, 95, 15.5, 174, 13824, 163, 17967, 47},
	{2.2, 78.6, 64, 28.8, 92, 21150, 87, 27029, 23},
}

func TestSingleFaultLimits(t *testing.T) {
	for _, row := range singleFaults {
		_, _, _, _, z := small(healthy(), row.volts, 25)
		within(t, "|Rn|", -real(z), row.rn, 0.06)
		with := func(change func(*Unit, float64)) func(float64) bool {
			return func(value float64) bool {
				u := healthy()
				change(&u, value)
				return startsBy(u, row.volts)
			}
		}
		// By the rule |Rn| > R1 + TimeoutOhms; a crystal this poor would also limit
		// below the clock level.
		within(t, "largest R1", -real(z)-soundCrystal().TimeoutOhms(0.6e-9, 1.7e-3, 65.536e-3), row.maxR1, 1.1)
		near(t, "least film kΩ", 1e-3*edge(1e3, 1e6, with(func(u *Unit, r float64) { u.Net.Rleak = r })), row.minFilmK, 0.03)
		crackA := with(func(u *Unit, r float64) { u.Net.RA = r })
		crackB := with(func(u *Unit, r float64) { u.Net.RB = r })
		near(t, "crack in CA kills from", edge(1, 1200, crackA), row.crackA1, 0.03)
		near(t, "crack in CA kills up to", edge(1200, 1e6, crackA), row.crackA2, 0.03)
		near(t, "crack in CB kills from", edge(1, 1200, crackB), row.crackB1, 0.03)
		near(t, "crack in CB kills up to", edge(1200, 1e6, crackB), row.crackB2, 0.03)
		contact := edge(1, 1e3, func(ohms float64) bool {
			return startsBy(healthy(), row.volts-8.5e-3*ohms)
		})
		within(t, "largest contact", contact, row.contact, 1.3)
	}
}

// The crack is not monotonic: half open it stops the clock, fully open the
// clock starts, some 400 ppm fast. At 3.0 V, independent model of checks.json.
func TestCrackIsNotMonotonic(t *testing.T) {
	for _, row := range []struct{ ohms, rn, margin, ppm float64 }{
		{0.3, 192, 6.10, 10}, {30, 180, 4.50, 12}, {100, 153, 2.79, 16}, {300, 79, 1.36, 29},
		{1e3, -109, 0.60, 91}, {3e3, -174, 0.58, 249}, {10e3, 145, 1.42, 370}, {30e3, 338, 3.48, 388},
		{math.Inf(1), 444, 13.9, 379},
	} {
		u := healthy()
		u.Net.RA = row.ohms
		if math.IsInf(row.ohms, 1) {
			u.Net.CA, u.Net.RA = openFarads, esrOhms
		}
		x, n, gm, omega, z := small(u, 3.0, 25)
		within(t, "|Rn|", -real(z), row.rn, 0.6)
		within(t, "gain margin", x.GainMargin(&n, gm), row.margin, 0.006+0.005*row.margin)
		within(t, "ppm", 1e6*(omega/(2*math.Pi*nominalHertz)-1), row.ppm, 0.6)
	}
}

// Lowest supply that starts at all, and inside the time-out: independent model
// of checks.json. That model's second value is the supply's setting, 1.7 mV of
// path drop included, by the rule that the time-out costs 15 Ω; the growth itself,
// whose noise rises near the limit, is in time some 5 mV sooner, about as much as
// the first amplitude's luck moves it from one power-up to the next.
func TestStartLimitAgainstTemperature(t *testing.T) {
	path := soundSupply()
	drop := path.BootAmps * (path.LeadOhms + path.ContactOhms)
	for celsius, want := range map[float64][2]float64{
		-20: {2.033, 2.091}, -10: {2.010, 2.071}, 0: {1.986, 2.052}, 25: {1.927, 2.004}, 60: {1.851, 1.944},
	} {
		c := Healthy().At(3.6, celsius)
		surplus := func(ohms float64) float64 {
			return c.lowest(func(d *Circuit) bool { o := d.operate(); return o.negative() > o.x.R1+ohms })
		}
		within(t, "grows from", surplus(0), want[0], 0.0011)
		within(t, "in time by the rule of 15 Ω", surplus(15)+drop, want[1], 0.0016)
		inTime, err := c.LowestStart()
		if err != nil {
			t.Fatal(err)
		}
		within(t, "starts in time from", inTime+drop, want[1], 0.0065)
	}
}

// What a probe does to the healthy unit at 3.6 V (ppm and gain margin):
// independent model of checks.json.
func TestProbeLoadsTheHealthyUnit(t *testing.T) {
	_, _, _, bareOmega, _ := small(healthy(), 3.6, 25)
	for _, row := range []struct {
		probe       Probe
		ppm, margin float64
	}{
		{Probe{"A", 12e-12, 10e6}, -37, 6.0},
		{Probe{"B", 12e-12, 10e6}, -39, 6.6},
		{Probe{"B", 100e-12, 1e6}, -114, 2.8},
	} {
		u := healthy()
		u.Net = u.Net.Loaded(row.probe)
		x, n, gm, omega, _ := small(u, 3.6, 25)
		within(t, "ppm", 1e6*(omega/bareOmega-1), row.ppm, 1)
		within(t, "gain margin", x.GainMargin(&n, gm), row.margin, 0.06)
	}
	for volts := 2.0; volts < 3.95; volts += 0.1 {
		u := healthy()
		u.Net = u.Net.Loaded(Probe{"A", 100e-12, 1e6})
		if startsBy(u, volts) {
			t.Errorf("1x probe at A: starts at %.1f V", volts)
		}
	}
	stops := edge(2, 3.6, func(volts float64) bool {
		u := healthy()
		u.Net = u.Net.Loaded(Probe{"B", 100e-12, 1e6})
		return startsBy(u, volts)
	})
	within(t, "1x probe at B stops it below", stops, 2.65, 0.03)
}

// What a time-out costs the healthy unit at 3.6 V, in ohms: independent model
// of checks.json.
func TestTimeoutAsResistance(t *testing.T) {
	x, n, _, omega, z := small(healthy(), 3.6, 25)
	level := clockLevel * railAmps(&n, x.C0, 3.6, omega)
	first := noiseAmps(x.L1, 298.15, -real(z), x.R1) * math.Sqrt2
	for milliseconds, want := range map[float64]float64{65.536: 15, 40: 24, 10: 98} {
		near(t, "TimeoutOhms", x.TimeoutOhms(first, level, milliseconds/1e3), want, 0.04)
	}
}
