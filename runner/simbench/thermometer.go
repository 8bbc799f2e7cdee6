package simbench

import (
	"fmt"
	"time"
)

// thermometerNoise is the standard deviation of one reading, kelvin.
const thermometerNoise = 0.02

// newThermometer makes the simulated thermometer, whose sensor hangs in the air beside the unit.
func newThermometer(w *world, seed uint64) *instrument {
	nothing := func(time.Time) {}
	return newInstrument(fmt.Sprintf("ringup,simulated thermometer,THM-%d,1", seed), nothing, nothing,
		command{pattern: "MEASure[:SCALar]:TEMPerature", query: func(c call) ([]byte, *scpiError) {
			return real(w.ambient(c.now) + thermometerNoise*w.luck.at("thermometer", c.now).NormFloat64()), nil
		}},
	)
}
