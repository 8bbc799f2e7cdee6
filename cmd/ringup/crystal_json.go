package main

import (
	"math"

	"ringup/runner/crystal"
)

// crystalObject is the calculator's answer for programs; null is what does not exist: a start time of a circuit that does not
// start, a range that is empty.
type crystalObject struct {
	NegativeResistance *float64    `json:"negative_resistance_ohms"` // positive when useful
	GainMargin         *float64    `json:"gain_margin"`
	ResistanceMargin   *float64    `json:"resistance_margin"`
	CriticalGm         *float64    `json:"critical_gm_siemens"`
	Load               *float64    `json:"load_farads"`
	Pulling            *float64    `json:"pulling_ppm"`
	Growth             *float64    `json:"growth_seconds"`
	Start              *float64    `json:"start_seconds"`
	Drive              *float64    `json:"drive_watts"`
	SafeRange          *[2]float64 `json:"safe_range_farads"`
	Assumed            []string    `json:"assumed"`

	Vary []variedObject `json:"vary,omitempty"` // only with --vary
}

// variedObject is one value of --vary.
type variedObject struct {
	Value float64 `json:"value"` // SI
	crystalObject
}

// object describes a circuit, and every value of v if that is not nil.
func (k *calculator) object(c crystal.Circuit, v *variation) crystalObject {
	o := describeCircuit(c, c.Analyse())
	if r := c.SafeRange(k.margin, k.withinPPM); r.OK {
		o.SafeRange = &[2]float64{r.LowFarads, r.HighFarads}
	}
	if v != nil {
		for _, x := range v.rows() {
			d, err := v.at(x)
			if err != nil {
				continue
			}
			o.Vary = append(o.Vary, variedObject{x, k.object(d, nil)})
		}
	}
	return o
}

func describeCircuit(c crystal.Circuit, a crystal.Analysis) crystalObject {
	o := crystalObject{
		NegativeResistance: finite(a.NegativeOhms), GainMargin: finite(a.GainMargin), ResistanceMargin: finite(a.ResistanceMargin),
		CriticalGm: finite(a.CriticalGm.Low), Load: finite(a.LoadFarads), Pulling: finite(a.PullingPPM), Assumed: c.Assumed,
	}
	if a.Starts {
		o.Growth, o.Start, o.Drive = finite(a.GrowthSeconds), finite(a.StartSeconds), finite(a.DriveWatts)
	}
	if o.Assumed == nil {
		o.Assumed = []string{}
	}
	return o
}

// finite is nil for what JSON has no number for.
func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
