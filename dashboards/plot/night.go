package plot

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"ringup/runner/failrate"
)

// Night is the chart of the failure rate through a run, in windows of time, with
// the ambient temperature below it.
type Night struct {
	Title         string
	Width, Height float64
	Windows       []Window
	Ambient       []Reading // in order of time; no panel without a measured one
	Marks         []Moment  // numbered on the chart from 1
	Zone          *time.Location
}

// Window is the failure rate of the counted cycles begun in a stretch of time.
type Window struct {
	From, To         time.Time
	Failures, Cycles int
	Rate             failrate.Interval
}

// Reading is one ambient temperature.
type Reading struct {
	At      time.Time
	Celsius float64
}

// Moment is one mark.
type Moment struct {
	At   time.Time
	Text string
}

// SVG draws the chart.
func (n Night) SVG() string {
	const bottomMargin, right, ambientHeight = 40.0, 16.0, 92.0
	zone := n.Zone
	if zone == nil {
		zone = time.UTC
	}
	ambient := n.measured()
	width, height := orElse(n.Width, 720), orElse(n.Height, 340)
	if len(ambient) == 0 && n.Height == 0 {
		height -= ambientHeight
	}
	c := newCanvas(width, height, n.Title, n.describe(zone, ambient))

	var windows []failrate.Condition
	for _, w := range n.Windows {
		if w.Cycles > 0 {
			windows = append(windows, failrate.Condition{High: w.Rate.High})
		}
	}
	bottom := height - bottomMargin
	rateBottom := bottom
	if len(ambient) > 0 {
		rateBottom = bottom - ambientHeight
	}
	top := 30.0
	if len(n.Marks) > 0 {
		top += 16
	}
	y, yStep := rateScale(windows, top, rateBottom)
	celsius, celsiusStep := ambientScale(ambient, rateBottom+32, bottom)
	left := 14 + max(textWidth(label(100*y.toValue, 100*yStep)+" %"), textWidth("−00.0 °C"))
	c.text(start, 8, 18, "failure rate, "+n.windowText())
	c.percentAxis(y, yStep, left, width-right)
	from, to, ok := n.span()
	if !ok {
		c.text(middle, (left+width-right)/2, (top+rateBottom)/2, "no counted cycle yet")
		return c.close()
	}
	x := scale{0, to.Sub(from).Seconds(), left, width - right}
	at := func(t time.Time) float64 { return x.at(t.Sub(from).Seconds()) }
	c.moments(n.Marks, at, x, top, bottom)
	c.group("1", "")
	for _, w := range n.Windows {
		if w.Cycles == 0 {
			continue
		}
		c.printf("<g><title>%s</title>\n", escape(w.say(zone)))
		c.interval(0, (at(w.From)+at(w.To))/2, y, w.Rate.Estimate, w.Rate.Low, w.Rate.High, w.Rate.OneSided)
		c.ungroup()
	}
	c.ungroup()
	if len(ambient) > 0 {
		c.text(start, 8, rateBottom+22, "ambient")
		for _, v := range ticks(celsius.fromValue, celsius.toValue, celsiusStep) {
			c.grid(left, celsius.at(v), width-right, celsius.at(v))
			c.text(end, left-6, celsius.at(v)+4, label(v, celsiusStep)+" °C")
		}
		c.line("plot-axis", left, bottom, width-right, bottom)
		c.ambient(ambient, at, celsius)
	}
	c.clockAxis(from.In(zone), to.In(zone), at, x, bottom)
	return c.close()
}

func (n Night) measured() []Reading {
	var measured []Reading
	for _, r := range n.Ambient {
		if !math.IsNaN(r.Celsius) && !math.IsInf(r.Celsius, 0) {
			measured = append(measured, r)
		}
	}
	return measured
}

// span is from the first window's begin to the last one's end.
func (n Night) span() (from, to time.Time, ok bool) {
	for _, w := range n.Windows {
		if from.IsZero() || w.From.Before(from) {
			from = w.From
		}
		if w.To.After(to) {
			to = w.To
		}
	}
	return from, to, to.After(from)
}

func (n Night) windowText() string {
	if len(n.Windows) == 0 {
		return "all conditions together"
	}
	w := n.Windows[0]
	return "all conditions together, each " + spell(w.To.Sub(w.From))
}

// spell words a duration without its empty parts: 1h0m0s is 1 h.
func spell(d time.Duration) string {
	switch {
	case d >= time.Hour && d%time.Hour == 0:
		return strconv.Itoa(int(d/time.Hour)) + " h"
	case d >= time.Minute && d%time.Minute == 0:
		return strconv.Itoa(int(d/time.Minute)) + " min"
	}
	return fmt.Sprintf("%.3g s", d.Seconds())
}

func (w Window) say(zone *time.Location) string {
	return fmt.Sprintf("%s to %s: %s", w.From.In(zone).Format("15:04"), w.To.In(zone).Format("15:04"),
		sayRate(w.Failures, w.Cycles, w.Rate.Estimate, w.Rate.Low, w.Rate.High, w.Rate.Confidence, w.Rate.OneSided))
}

func (n Night) describe(zone *time.Location, ambient []Reading) string {
	var said []string
	for _, w := range n.Windows {
		if w.Cycles > 0 {
			said = append(said, w.say(zone)+".")
		}
	}
	if len(ambient) > 0 {
		low, high := math.Inf(1), math.Inf(-1)
		for _, r := range ambient {
			low, high = min(low, r.Celsius), max(high, r.Celsius)
		}
		said = append(said, fmt.Sprintf("Ambient %.1f to %.1f °C.", low, high))
	}
	return strings.Join(said, " ")
}

func ambientScale(ambient []Reading, top, bottom float64) (y scale, tick float64) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, r := range ambient {
		low, high = min(low, r.Celsius), max(high, r.Celsius)
	}
	if !(high > low) {
		low, high = low-0.5, high+0.5
	}
	tick = step(high-low, 3)
	return scale{math.Floor(low/tick+1e-9) * tick, math.Ceil(high/tick-1e-9) * tick, bottom, top}, tick
}

// ambient draws the readings as a line, at most one lowest and one highest for
// each column of pixels.
func (c *canvas) ambient(readings []Reading, at func(time.Time) float64, y scale) {
	var d strings.Builder
	point := func(x, celsius float64) {
		command := "L"
		if d.Len() == 0 {
			command = "M"
		}
		fmt.Fprintf(&d, "%s%s %s", command, px(x), px(y.inside(celsius)))
	}
	var here column
	flush := func() {
		point(here.x, here.low)
		if here.high > here.low {
			point(here.x, here.high)
		}
	}
	for i, r := range readings {
		x := at(r.At)
		if i > 0 && math.Floor(x) == math.Floor(here.x) {
			here.low, here.high = min(here.low, r.Celsius), max(here.high, r.Celsius)
			continue
		}
		if i > 0 {
			flush()
		}
		here = column{x, r.Celsius, r.Celsius}
	}
	flush()
	c.group("3", "")
	c.printf(`<path class="plot-line" d="%s" fill="none" stroke="currentColor" stroke-width="1.6" stroke-linejoin="round"/>`+"\n", d.String())
	c.ungroup()
}

// moments draws the marks as numbered lines. A number that would touch the one
// before it is left out; its line stays.
func (c *canvas) moments(marks []Moment, at func(time.Time) float64, x scale, top, bottom float64) {
	free := math.Inf(-1)
	for i, m := range marks {
		here := at(m.At)
		if here < x.fromPixel || here > x.toPixel {
			continue
		}
		number := strconv.Itoa(i + 1)
		c.printf("<g><title>%s</title>\n", escape(number+": "+m.Text))
		c.limit(here, top-6, here, bottom)
		if half := textWidth(number) / 2; here-half > free {
			c.text(middle, here, top-10, number)
			free = here + half + 3
		}
		c.ungroup()
	}
}

func (c *canvas) clockAxis(from, to time.Time, at func(time.Time) float64, x scale, bottom float64) {
	moments, step := clockTicks(from, to, max(2, int((x.toPixel-x.fromPixel)/62)))
	layout := "15:04"
	switch {
	case step >= 24*time.Hour:
		layout = "2 Jan"
	case step < time.Minute:
		layout = "15:04:05"
	}
	day, free := "", math.Inf(-1)
	for _, m := range moments {
		here := at(m)
		c.line("plot-axis", here, bottom, here, bottom+5)
		c.text(middle, here, bottom+18, m.Format(layout))
		// The date stands below the first moment of each day.
		if date := m.Format("2 Jan"); layout != "2 Jan" && date != day {
			day = date
			if half := textWidth(date) / 2; here-half > free {
				c.text(middle, here, bottom+33, date)
				free = here + half + 8
			}
		}
	}
	zone, _ := to.Zone()
	if free+textWidth(zone) < x.toPixel {
		c.text(end, x.toPixel, bottom+33, zone)
	}
}
