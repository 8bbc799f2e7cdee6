package main

import "ringup/runner/crystal"

// estimateObject is an estimate with its standard deviation and 95 % interval; null is what is not known.
type estimateObject struct {
	Value *float64 `json:"value"`
	Sigma *float64 `json:"sigma"`
	Low   *float64 `json:"low"`
	High  *float64 `json:"high"`
}

func estimated(e crystal.Estimate) estimateObject {
	return estimateObject{finite(e.Value), finite(e.Sigma), finite(e.Low), finite(e.High)}
}

func growthObject(points []crystal.GrowthPoint, a crystal.GrowthAnswer) any {
	type point struct {
		Volts    float64        `json:"volts"`
		Growth   float64        `json:"growth_seconds"`
		Negative estimateObject `json:"negative_resistance_ohms"`
	}
	var all []point
	for i, p := range points {
		all = append(all, point{p.Volts, p.Seconds, estimated(a.NegativeOhms[i])})
	}
	return struct {
		Points []point        `json:"points"`
		Loss   estimateObject `json:"loss_ohms"`
		Scale  estimateObject `json:"scale"`
		Stop   estimateObject `json:"stop_volts"`
	}{all, estimated(a.Loss), estimated(a.Scale), estimated(a.StopVolts)}
}

func frequencyObject(a crystal.LoadAnswer) any {
	type capacitor struct {
		Farads   estimateObject `json:"farads"`
		Change   *float64       `json:"change_farads"`
		Possible bool           `json:"possible"`
	}
	one := func(c crystal.CapacitorAnswer) capacitor {
		return capacitor{estimated(c.Farads), finite(c.ChangeFarads), c.Possible}
	}
	return struct {
		Load    estimateObject `json:"load_farads"`
		CA      capacitor      `json:"ca"`
		CB      capacitor      `json:"cb"`
		Suspect string         `json:"suspect"`
		Say     string         `json:"say"`
	}{estimated(a.Load), one(a.CA), one(a.CB), a.Suspect, a.Say}
}

func resistorObject(a crystal.MarginAnswer) any {
	return struct {
		Low      *float64       `json:"insert_low_ohms"`
		High     *float64       `json:"insert_high_ohms"`
		Loaded   *float64       `json:"crystal_ohms"`
		Terminal estimateObject `json:"negative_resistance_ohms"`
		Margin   estimateObject `json:"resistance_margin"`
		Decided  bool           `json:"decided"`
		Say      string         `json:"say"`
	}{finite(a.InsertLow), finite(a.InsertHigh), finite(a.LoadedOhms), estimated(a.Terminal), estimated(a.Margin), a.Decided, a.Say}
}
