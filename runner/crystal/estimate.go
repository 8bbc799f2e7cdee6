package crystal

import "math"

// Estimate is a value drawn from a measurement, with its standard uncertainty
// and a 95 % interval. What could not be estimated is NaN throughout.
type Estimate struct{ Value, Sigma, Low, High float64 }

// normal95 is the half width of a normal distribution's 95 % interval in
// standard deviations.
const normal95 = 1.959963984540054

func estimate(value, sigma float64) Estimate {
	return Estimate{Value: value, Sigma: sigma, Low: value - normal95*sigma, High: value + normal95*sigma}
}

func unknown() Estimate {
	nan := math.NaN()
	return Estimate{Value: nan, Sigma: nan, Low: nan, High: nan}
}
