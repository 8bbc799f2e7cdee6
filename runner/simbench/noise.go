package simbench

import (
	"math"
	"math/rand/v2"
)

// The scope's own noise, standard deviation of one sample: a part that goes with the range, in codes, and a part at
// the connector, in volts.
const (
	noiseCodes = 0.4
	noiseVolts = 0.15e-3
)

// quantiles is how finely the normal distribution is cut for the scope's noise. A look-up by twelve random bits costs a
// nanosecond, and five fit into one 64-bit draw.
const (
	quantileBits = 12
	quantiles    = 1 << quantileBits
)

// normalTable holds standard normal quantiles at the middle of each of the equal slices.
var normalTable = func() (t [quantiles]float64) {
	for i := range t {
		t[i] = normalQuantile((float64(i)+0.5)/quantiles, 1)
	}
	return t
}()

// normalQuantile is the quantile u of the largest of n standard normal numbers, Φ⁻¹(u^(1/n)).
func normalQuantile(u float64, n float64) float64 {
	tail := -math.Expm1(math.Log(u) / n)
	return math.Sqrt2 * math.Erfcinv(2*tail)
}

// extremes is the distribution of the largest of n noise samples, as a table kept for as long as n stays the same.
type extremes struct {
	n     float64
	table [quantiles]float64
}

// of returns the table for n samples.
func (e *extremes) of(n float64) *[quantiles]float64 {
	if n = max(n, 1); n != e.n {
		e.n = n
		for i := range e.table {
			e.table[i] = normalQuantile((float64(i)+0.5)/quantiles, n)
		}
	}
	return &e.table
}

// dice hands out table indices, several from each draw.
type dice struct {
	source *rand.PCG
	bits   uint64
	left   int
}

func (d *dice) next() uint64 {
	if d.left == 0 {
		d.bits, d.left = d.source.Uint64(), 64/quantileBits
	}
	index := d.bits & (quantiles - 1)
	d.bits >>= quantileBits
	d.left--
	return index
}
