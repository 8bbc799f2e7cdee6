package crystal

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// First amplitudes of the healthy unit: equipartition 0.352 nA, 0.525 nA with
// the noise added during growth; kicks of the supply edge (independent model of
// checks.json).
func TestFirstAmplitude(t *testing.T) {
	x := soundCrystal()
	_, _, _, omega, z := small(healthy(), 3.6, 25)
	near(t, "√(kT/L1)", math.Sqrt(boltzmann*298.15/x.L1), 0.352e-9, 5e-3)
	near(t, "σ0", noiseAmps(x.L1, 298.15, -real(z), x.R1), 0.525e-9, 5e-3)
	near(t, "kick of 3.6 V in 200 µs", kickAmps(x.L1, omega, 3.6/200e-6), 0.126e-9, 5e-3)
	near(t, "kick of 3.6 V in 10 µs", kickAmps(x.L1, omega, 3.6/10e-6), 2.5e-9, 1e-2)
}

// From noise alone the start times are Gumbel: mean t0+0.2886τ, standard
// deviation 0.6413τ (Gumbel's distribution; π/(2√6) and γ/2).
func TestNoiseStartsAreGumbel(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	const n, sigma, threshold = 20000, 0.5e-9, 1e-3
	var sum, squares float64
	for range n {
		at := math.Log(threshold / firstAmps(0, sigma, rng.NormFloat64(), rng.NormFloat64()))
		sum += at
		squares += at * at
	}
	mean := sum / n
	sd := math.Sqrt(squares/n - mean*mean)
	t0 := math.Log(threshold / (math.Sqrt2 * sigma))
	within(t, "mean/τ", mean, t0+0.2886, 4*0.6413/math.Sqrt(n))
	near(t, "s.d./τ", sd, 0.6413, 0.03)
}

// Start times of the healthy unit, 5, 50 and 95 %, in ms from the moment the
// stage is on to the usable clock: independent model of checks.json.
func TestHealthyStartTimes(t *testing.T) {
	const n = 4000
	for volts, want := range map[float64][3]float64{
		3.6: {4.11, 4.32, 4.68}, 3.0: {5.84, 6.14, 6.65}, 2.4: {11.4, 12.0, 13.1}, 2.2: {18.2, 19.2, 20.9},
	} {
		rng := rand.New(rand.NewPCG(3, 4))
		times := make([]float64, n)
		for i := range times {
			p := healthy().PowerUp(Surroundings{SupplyVolts: volts, AmbientCelsius: 25, RestSeconds: 5}, rng)
			times[i] = 1e3 * (p.ClockSeconds() - p.on)
		}
		slices.Sort(times)
		for i, q := range []float64{0.05, 0.5, 0.95} {
			near(t, "start time", times[int(q*n)], want[i], 0.015)
		}
	}
}
