package plot

import (
	"fmt"
	"math"
	"strings"

	"ringup/runner/verdict"
)

// Waveforms is the chart of one cycle's envelope, or of several side by side to
// one scale: a failure beside a start.
type Waveforms struct {
	Title         string
	Width, Height float64
	Panels        []Panel
}

// Panel is one cycle: the lowest and highest voltage of supply rail and clock
// against the time since the rail rose. NaN leaves a line out.
type Panel struct {
	Heading        string // e.g. "cycle 412: silent"
	Note           string // a sentence below the heading
	Rail, Clock    verdict.Trace
	ThresholdVolts float64 // of the rail, from which the start time counts
	StartSeconds   float64 // when the clock had started
	AllowedSeconds float64 // by when it must have
}

// SVG draws the chart.
func (w Waveforms) SVG() string {
	const gap, bottomMargin, heading = 22.0, 44.0, 88.0
	width, height := orElse(w.Width, 720), orElse(w.Height, 320)
	var said []string
	for _, p := range w.Panels {
		said = append(said, strings.TrimSuffix(p.Heading+". "+p.Note, ". "))
	}
	c := newCanvas(width, height, w.Title, strings.Join(said, " "))
	top := 8 + c.legend(8, 4, width-16, []entry{c.bandEntry("1", "clock, lowest to highest"), c.bandEntry("2", "supply rail")}) + heading
	low, high, from, to := w.ranges()
	tick := step(high-low, 5)
	y := scale{math.Floor(low/tick+1e-9) * tick, math.Ceil(high/tick-1e-9) * tick, height - bottomMargin, top}
	left := 14 + textWidth(label(y.fromValue, tick)+" V")
	each := (width - left - 18 - gap*float64(len(w.Panels)-1)) / float64(max(1, len(w.Panels)))
	for _, v := range ticks(y.fromValue, y.toValue, tick) {
		c.text(end, left-6, y.at(v)+4, label(v, tick)+" V")
	}
	for i, p := range w.Panels {
		begin := left + float64(i)*(each+gap)
		c.panel(p, scale{from, to, begin, begin + each}, y, tick)
	}
	return c.close()
}

// ranges are those of all panels together, so that they compare.
func (w Waveforms) ranges() (low, high, from, to float64) {
	low, high, from, to = 0, 0, math.Inf(1), math.Inf(-1)
	for _, p := range w.Panels {
		for _, t := range []verdict.Trace{p.Rail, p.Clock} {
			for i := range min(len(t.Min), len(t.Max)) {
				if !math.IsNaN(t.Min[i]) && !math.IsNaN(t.Max[i]) {
					low, high = min(low, t.Min[i]), max(high, t.Max[i])
				}
			}
			if n := len(t.Min); n > 0 && t.StepSeconds > 0 {
				from, to = min(from, t.StartSeconds), max(to, t.StartSeconds+float64(n)*t.StepSeconds)
			}
		}
	}
	if high == low {
		high = 1
	}
	if !(to > from) {
		from, to = 0, 1e-3
	}
	return low, high, from, to
}

func (c *canvas) panel(p Panel, x, y scale, yStep float64) {
	width := x.toPixel - x.fromPixel
	c.bold(start, x.fromPixel, y.toPixel-76, clip(p.Heading, width))
	for i, line := range wrap(p.Note, width, 2) {
		c.text(start, x.fromPixel, y.toPixel-60+14*float64(i), line)
	}
	for _, v := range ticks(y.fromValue, y.toValue, yStep) {
		c.grid(x.fromPixel, y.at(v), x.toPixel, y.at(v))
	}
	c.timeAxis(x, y.fromPixel)
	c.band("2", p.Rail, x, y)
	c.band("1", p.Clock, x, y)
	c.moment(p.AllowedSeconds, "allowed", x, y, 5)
	c.moment(p.StartSeconds, "started", x, y, 20)
	if v := p.ThresholdVolts; v > y.fromValue && v < y.toValue {
		c.limit(x.fromPixel, y.at(v), x.toPixel, y.at(v))
		c.labelled(end, x.toPixel-4, y.at(v)-4, fmt.Sprintf("rail threshold %.3g V", v))
	}
}

// labelled is a text on a strip of ground, readable on top of a band.
func (c *canvas) labelled(anchor string, x, y float64, text string) {
	width := textWidth(text)
	from := x
	if anchor == end {
		from = x - width
	}
	c.printf(`<rect class="plot-ground" x="%s" y="%s" width="%s" height="15" fill="#fff" fill-opacity=".88"/>`+"\n", px(from-2), px(y-11.5), px(width+4))
	c.text(anchor, x, y, text)
}

// moment draws a vertical line with its time above the panel, that many pixels up.
func (c *canvas) moment(seconds float64, what string, x, y scale, up float64) {
	if !(seconds > x.fromValue && seconds < x.toValue) {
		return
	}
	at := x.at(seconds)
	c.limit(at, y.fromPixel, at, y.toPixel-up+2)
	text := what + " " + duration(seconds)
	if at+textWidth(text)+6 < x.toPixel {
		c.text(start, at+5, y.toPixel-up, text)
	} else {
		c.text(end, at-5, y.toPixel-up, text)
	}
}

func (c *canvas) timeAxis(x scale, bottom float64) { c.timeAxisSince("the rail rose", x, bottom) }

func (c *canvas) timeAxisSince(what string, x scale, bottom float64) {
	factor, unit := secondsUnit(max(math.Abs(x.fromValue), math.Abs(x.toValue)))
	tick := step((x.toValue-x.fromValue)*factor, max(2, int((x.toPixel-x.fromPixel)/55)))
	c.line("plot-axis", x.fromPixel, bottom, x.toPixel, bottom)
	for _, v := range ticks(x.fromValue*factor, x.toValue*factor, tick) {
		at := x.at(v / factor)
		c.line("plot-axis", at, bottom, at, bottom+5)
		c.text(middle, at, bottom+19, label(v, tick))
	}
	c.text(middle, (x.fromPixel+x.toPixel)/2, bottom+36, "time since "+what+", "+unit)
}

func secondsUnit(largest float64) (factor float64, unit string) {
	switch {
	case largest >= 2:
		return 1, "s"
	case largest >= 2e-3:
		return 1e3, "ms"
	case largest >= 2e-6:
		return 1e6, "µs"
	}
	return 1e9, "ns"
}

func duration(seconds float64) string {
	factor, unit := secondsUnit(math.Abs(seconds))
	return fmt.Sprintf("%.3g %s", seconds*factor, unit)
}

func (c *canvas) bandEntry(colour, text string) entry {
	return entry{text, func(x, y float64) {
		c.group(colour, "")
		c.printf(`<rect x="%s" y="%s" width="16" height="8" fill="currentColor" fill-opacity=".45" stroke="currentColor"/>`+"\n", px(x-8), px(y-4))
		c.ungroup()
	}}
}

// column is what a trace does within one column of pixels.
type column struct{ x, low, high float64 }

// decimate reduces a trace to at most one column for each pixel, keeping every
// extreme: a spike of one sample stays as high as it is.
func decimate(t verdict.Trace, x scale) []column {
	var columns []column
	last := math.Inf(-1)
	for i := range min(len(t.Min), len(t.Max)) {
		seconds := t.StartSeconds + (float64(i)+0.5)*t.StepSeconds
		at := x.at(seconds)
		if at < x.fromPixel || at > x.toPixel {
			continue
		}
		pixel := math.Floor(at)
		if pixel > last {
			columns = append(columns, column{at, t.Min[i], t.Max[i]})
			last = pixel
			continue
		}
		// math.Min and math.Max would let one NaN hide its neighbours.
		c := &columns[len(columns)-1]
		if math.IsNaN(c.low) || t.Min[i] < c.low {
			c.low = t.Min[i]
		}
		if math.IsNaN(c.high) || t.Max[i] > c.high {
			c.high = t.Max[i]
		}
	}
	return columns
}

// band draws a trace as the area between its lowest and highest voltage, broken
// where samples are missing.
func (c *canvas) band(colour string, t verdict.Trace, x, y scale) {
	var piece []column
	flush := func() {
		if len(piece) > 0 {
			c.printf(`<path class="plot-band" d="%s" fill="currentColor" fill-opacity=".45" stroke="currentColor" stroke-linejoin="round"/>`+"\n", outline(piece, y))
		}
		piece = nil
	}
	c.group(colour, "")
	for _, col := range decimate(t, x) {
		if math.IsNaN(col.low) || math.IsNaN(col.high) {
			flush()
			continue
		}
		piece = append(piece, col)
	}
	flush()
	c.ungroup()
}

func outline(piece []column, y scale) string {
	var d strings.Builder
	for i, col := range piece {
		command := "L"
		if i == 0 {
			command = "M"
		}
		fmt.Fprintf(&d, "%s%s %s", command, px(col.x), px(y.inside(col.high)))
	}
	for i := len(piece) - 1; i >= 0; i-- {
		fmt.Fprintf(&d, "L%s %s", px(piece[i].x), px(y.inside(piece[i].low)))
	}
	return d.String() + "Z"
}
