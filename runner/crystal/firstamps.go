package crystal

import "math"

// firstQuantile is the first amplitude that a share of power-ups falls below:
// the quantile of a Rician distribution, kick on top of Gaussian noise of sigma
// per quadrature. Without a kick that is Rayleigh, and start times are Gumbel.
func firstQuantile(kick, sigma, share float64) float64 {
	return boundary(0, kick+12*sigma, func(amps float64) bool { return firstShare(kick, sigma, amps) < share })
}

// firstShare is the probability of a first amplitude below amps. One quadrature
// is integrated over its density, the other has a closed form.
func firstShare(kick, sigma, amps float64) float64 {
	r, k := amps/sigma, kick/sigma
	low, high := max(-8, -r-k), min(8, r-k)
	if high <= low {
		return 0
	}
	// Substituting the sine takes the square root's steepness off the ends.
	const steps = 32
	middle, half := (low+high)/2, (high-low)/2
	sum := 0.0
	for i := range steps {
		phi := math.Pi * ((float64(i)+0.5)/steps - 0.5)
		g := middle + half*math.Sin(phi)
		other := math.Sqrt(max(0, r*r-(k+g)*(k+g)))
		sum += math.Exp(-g*g/2) * math.Erf(other/math.Sqrt2) * math.Cos(phi)
	}
	return sum * half * math.Pi / steps / math.Sqrt(2*math.Pi)
}
