package crystal

import (
	"fmt"
	"math"
)

// SafeRange is which load capacitors, the same at A and B, keep both the gain
// margin and the frequency. Edges that do not exist are NaN.
type SafeRange struct {
	OK                    bool
	LowFarads, HighFarads float64
	Reason                string // why there is none; "" where there is one

	MarginHighFarads                    float64 // the gain margin holds up to here
	PullingLowFarads, PullingHighFarads float64 // the frequency is within tolerance between these
	ZeroFarads                          float64 // no pulling at all
	StartHighFarads                     float64 // still a usable clock within the time-out up to here
}

// Capacitors between which the range is looked for: little more than an empty
// footprint, and far more than any crystal takes.
const (
	leastLoad, mostLoad = 0.5e-12, 400e-12
	loadSteps           = 120
)

// SafeRange finds the load capacitors that keep the gain margin at gainMargin
// or better and the frequency within withinPPM of nominal.
func (c Circuit) SafeRange(gainMargin, withinPPM float64) SafeRange {
	nan := math.NaN()
	r := SafeRange{LowFarads: nan, HighFarads: nan}
	at := func(farads float64) operating {
		d := c.WithLoad(farads, farads)
		return d.operate()
	}
	ppm := func(farads float64) float64 {
		o := at(farads)
		return 1e6 * (o.omega/(2*math.Pi*c.Hertz) - 1)
	}
	// Frequency falls with every farad, so each bound is one crossing.
	crossing := func(limit float64) float64 {
		if ppm(leastLoad) <= limit {
			return leastLoad
		}
		if ppm(mostLoad) > limit {
			return nan
		}
		return boundary(leastLoad, mostLoad, func(f float64) bool { return ppm(f) > limit })
	}
	r.PullingLowFarads, r.ZeroFarads, r.PullingHighFarads = crossing(withinPPM), crossing(0), crossing(-withinPPM)
	if math.IsNaN(r.PullingLowFarads) || ppm(leastLoad) < -withinPPM {
		r.PullingLowFarads, r.PullingHighFarads = nan, nan
	} else if math.IsNaN(r.PullingHighFarads) {
		r.PullingHighFarads = mostLoad
	}
	if r.ZeroFarads == leastLoad && ppm(leastLoad) < 0 {
		r.ZeroFarads = nan
	}
	margin := func(f float64) bool { o := at(f); return o.margin() >= gainMargin }
	r.MarginHighFarads = highest(margin)
	r.StartHighFarads = highest(func(f float64) bool {
		d := c.WithLoad(f, f)
		return d.inTime()
	})
	r.decide(gainMargin, withinPPM, margin)
	return r
}

// highest is the largest load capacitor that is good; NaN if none is.
func highest(good func(float64) bool) float64 {
	ratio := math.Pow(mostLoad/leastLoad, 1.0/loadSteps)
	for f, above := mostLoad, 0.0; f >= leastLoad*0.999; f, above = f/ratio, f {
		if good(f) {
			if above == 0 {
				return f
			}
			return boundary(f, above, good)
		}
	}
	return math.NaN()
}

// decide puts the two rules together. The gain margin's range is walked down
// from its upper edge: very small capacitors may fail it again.
func (r *SafeRange) decide(gainMargin, withinPPM float64, margin func(float64) bool) {
	const crystalHint = "fit a crystal with less resistance or for a smaller load; other capacitors alone do not help"
	switch {
	case math.IsNaN(r.MarginHighFarads):
		r.Reason = fmt.Sprintf("no load capacitor gives a gain margin of %g: look for a leak, a film or a crack, or fit a crystal with less resistance", gainMargin)
		return
	case math.IsNaN(r.PullingLowFarads):
		r.Reason = fmt.Sprintf("no load capacitor brings the frequency within %g ppm: check the crystal's nominal load and its C1 and C0", withinPPM)
		return
	case r.MarginHighFarads < r.PullingLowFarads:
		r.Reason = fmt.Sprintf("a gain margin of %g needs at most %s, a frequency within %g ppm at least %s: %s",
			gainMargin, FormatSI(tenth(r.MarginHighFarads), "F"), withinPPM, FormatSI(tenth(r.PullingLowFarads), "F"), crystalHint)
		return
	}
	high := min(r.MarginHighFarads, r.PullingHighFarads)
	low := r.PullingLowFarads
	ratio := math.Pow(mostLoad/leastLoad, 1.0/loadSteps)
	for f := high * (1 - 1e-6); f > low; f /= ratio {
		if !margin(f) {
			low = boundary(f, min(f*ratio, high), func(f float64) bool { return !margin(f) })
			break
		}
	}
	r.OK, r.LowFarads, r.HighFarads = true, low, high
}

// tenth rounds to a tenth of a picofarad.
func tenth(farads float64) float64 { return math.Round(farads*1e13) / 1e13 }
