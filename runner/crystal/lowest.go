package crystal

import (
	"errors"
	"math"
)

// ErrNoLaw is why a supply limit cannot be told of a circuit with a fixed gm.
var ErrNoLaw = errors.New("gm is given as a fixed number, so how it falls with the supply is not known; leave gm out to use the scenario's law")

// ErrNoLimiting is why the limited oscillation cannot be told of a circuit with a fixed ro.
var ErrNoLimiting = errors.New("ro is given as a fixed number, so how the stage limits is not known; leave ro out to use the scenario's law")

// Supplies between which a limit is looked for.
const (
	leastSupply, mostSupply = 0.5, 6.0 // V
	supplyStep              = 0.05     // V
)

// LowestSupply is the least supply in volts at which the gain margin is reached;
// NaN if it is not up to 6 V. ErrNoLaw where gm is fixed.
func (c Circuit) LowestSupply(gainMargin float64) (float64, error) {
	if c.Gm > 0 {
		return math.NaN(), ErrNoLaw
	}
	return c.lowest(func(d *Circuit) bool {
		o := d.operate()
		return o.margin() >= gainMargin
	}), nil
}

// LowestStart is the least supply in volts at which there is a usable clock
// within the time-out; NaN if there is none up to 6 V. ErrNoLaw where gm is
// fixed.
func (c Circuit) LowestStart() (float64, error) {
	if c.Gm > 0 {
		return math.NaN(), ErrNoLaw
	}
	return c.lowest((*Circuit).inTime), nil
}

// lowest scans the supply upwards and refines the first step that is good.
func (c Circuit) lowest(good func(*Circuit) bool) float64 {
	at := func(volts float64) bool {
		c.SupplyVolts = volts
		return good(&c)
	}
	for high := leastSupply; high <= mostSupply; high += supplyStep {
		if at(high) {
			return boundary(high-supplyStep, high, func(v float64) bool { return !at(v) })
		}
	}
	return math.NaN()
}
