package crystal

import "math"

// noiseAmps is σ0, one quadrature of the motional current from which growth
// effectively starts: equipartition kT/L1 before the stage is on, and what R1
// and the stage add while it grows.
func noiseAmps(l1, kelvin, rn, r1 float64) float64 {
	net := max(rn-r1, leastNetOhms)
	return math.Sqrt(boltzmann * kelvin / l1 * (1 + (r1+excessNoise*max(rn, 0))/net))
}

// kickAmps is what the corner of a supply ramp of the given slope excites.
func kickAmps(l1, omega, voltsPerSecond float64) float64 {
	return supplyKick * voltsPerSecond / (omega * omega * l1)
}

// firstAmps is the first amplitude for the standard normal quadratures g1, g2:
// the kick on top of Gaussian noise, so Rician; noise alone gives Gumbel start
// times. Noise is isotropic, so the kick's random phase may be taken as zero.
func firstAmps(kick, sigma, g1, g2 float64) float64 {
	return math.Hypot(kick+sigma*g1, sigma*g2)
}
