package simbench

import (
	"math"
	"time"
)

// Climate is the air round the bench: mean − swing·cos(2π(t − coldest)/24 h), and a slow random wander on top of it.
// The zero value is a laboratory's night: 20 °C mean, 3 °C swing, coldest at five in the morning, UTC.
type Climate struct {
	MeanCelsius  float64
	SwingCelsius float64        // half of what lies between the warmest and the coldest moment of the day
	ColdestAt    time.Duration  // after local midnight
	Zone         *time.Location // nil: UTC
	Still        bool           // no random wander
}

// The wander is first-order noise of this standard deviation and time constant.
const (
	wanderCelsius = 0.3
	wanderTau     = 15 * time.Minute
	wanderKnot    = time.Minute // spacing of the points it is computed at
)

// celsius is the ambient temperature at t. With the wander it is a function of the seed and t alone.
func (c Climate) celsius(t time.Time, luck chance) float64 {
	if c == (Climate{}) {
		c = Climate{MeanCelsius: 20, SwingCelsius: 3, ColdestAt: 5 * time.Hour}
	}
	if c.Zone == nil {
		c.Zone = time.UTC
	}
	hour, minute, second := t.In(c.Zone).Clock()
	ofDay := time.Duration(hour)*time.Hour + time.Duration(minute)*time.Minute + time.Duration(second)*time.Second +
		time.Duration(t.Nanosecond())
	v := c.MeanCelsius - c.SwingCelsius*math.Cos(2*math.Pi*(ofDay-c.ColdestAt).Hours()/24)
	if !c.Still {
		v += wander(t, luck)
	}
	return v
}

// wander is the random part of the ambient. Each knot of a one-minute grid has its own normal number; the exponential
// average of those before a knot is first-order noise, and between knots it is interpolated.
func wander(t time.Time, luck chance) float64 {
	grid := int64(wanderKnot)
	knot := t.UnixNano() / grid
	between := float64(t.UnixNano()-knot*grid) / float64(grid)

	keep := math.Exp(-wanderKnot.Seconds() / wanderTau.Seconds())
	gain := wanderCelsius * math.Sqrt(1-keep*keep)
	const reach = 180 // knots that still matter: twelve time constants
	var here float64
	for n := knot - reach; n <= knot; n++ {
		here = keep*here + gain*luck.knot("ambient", n).NormFloat64()
	}
	next := keep*here + gain*luck.knot("ambient", knot+1).NormFloat64()
	return here + between*(next-here)
}
