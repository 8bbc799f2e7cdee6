package plot

import (
	"fmt"
	"math"
	"strings"

	"ringup/runner/verdict"
)

// Judged is the chart of one record with the verdict on it: the supply rail above,
// the clock below, against the time since the rail rose.
type Judged struct {
	Title   string
	Width   float64
	Verdict verdict.Verdict
	Reason  string
	Facts   []string // measures with their uncertainty, set below the chart

	Rail, Clock, Lamp verdict.Trace // those without samples are left out

	ThresholdVolts float64 // of the rail, from which the start time counts
	StartSeconds   float64 // when the clock had started
	AllowedSeconds float64 // by when it must have
	DropoutSeconds float64 // when it stopped
	AmplitudeVolts float64 // peak; 90 % of it is where a start ends
	RequiredVolts  float64 // peak, the least good amplitude
}

// SVG draws the chart; it has a ground of its own, for a file looked at by itself.
func (j Judged) SVG() string {
	const railHeight, lampHeight, clockHeight, gap, bottomMargin = 74.0, 50.0, 170.0, 26.0, 44.0
	width := orElse(j.Width, 720)
	reason := wrap(j.Reason, width-24, 3)
	facts := flow(j.Facts, width-24)
	const row = 13.0 // of the times above the panels
	startRow := 5 + row
	if !math.IsNaN(j.DropoutSeconds) {
		startRow += row
	}
	top := 46 + 15*float64(len(reason)) + startRow + 14
	height := top + clockHeight + bottomMargin + 16*float64(len(facts))
	if len(j.Rail.Min) > 0 {
		height += railHeight + gap
	}
	if len(j.Lamp.Min) > 0 {
		height += lampHeight + gap
	}
	c := newCanvas(width, height, j.Title, fmt.Sprintf("%s. %s. %s", j.Verdict, j.Reason, strings.Join(j.Facts, ", ")))
	c.printf(`<rect class="plot-ground" width="%s" height="%s" fill="#fff"/>`+"\n", px(width), px(height))
	c.badge(j.Verdict, 12, 10)
	badge := 12 + 1.1*textWidth(string(j.Verdict)) + 30
	c.bold(start, badge, 25, clip(j.Title, width-badge-12))
	for i, line := range reason {
		c.text(start, 12, 50+15*float64(i), line)
	}

	from, to := j.times()
	left := 14 + textWidth("−0.00 V")
	x := scale{from, to, left, width - 18}
	y := top
	if len(j.Rail.Min) > 0 {
		c.trace("2", "supply rail", j.Rail, x, y, y+railHeight, 3, j.ThresholdVolts)
		y += railHeight + gap
	}
	c.clock(j, x, y, y+clockHeight)
	y += clockHeight
	if len(j.Lamp.Min) > 0 {
		c.trace("5", "lamp", j.Lamp, x, y+gap, y+gap+lampHeight, 2, math.NaN())
		y += gap + lampHeight
	}
	since := "the rail rose"
	if len(j.Rail.Min) == 0 {
		since = "the trigger"
	}
	c.timeAxisSince(since, x, y)
	// Through all panels, labelled above the first.
	through := scale{0, 1, y, top}
	c.moment(j.AllowedSeconds, "allowed", x, through, 5)
	c.moment(j.DropoutSeconds, "stopped", x, through, 5+row)
	c.moment(j.StartSeconds, "started", x, through, startRow)
	for i, line := range facts {
		c.text(start, 12, y+bottomMargin+10+16*float64(i), line)
	}
	return c.close()
}

// times is the range of time of all traces, and of what is allowed.
func (j Judged) times() (from, to float64) {
	from, to = math.Inf(1), math.Inf(-1)
	for _, t := range []verdict.Trace{j.Rail, j.Clock} {
		if n := len(t.Min); n > 0 && t.StepSeconds > 0 {
			from, to = min(from, t.StartSeconds), max(to, t.StartSeconds+float64(n)*t.StepSeconds)
		}
	}
	if !(to > from) {
		return 0, 1e-3
	}
	return from, to
}

// badge is a verdict in its colour.
func (c *canvas) badge(v verdict.Verdict, x, y float64) {
	width := 1.1*textWidth(string(v)) + 18 // bold
	c.group(string(v), "")
	c.printf(`<rect class="plot-badge" x="%s" y="%s" width="%s" height="22" rx="4" fill="currentColor"/>`+"\n", px(x), px(y), px(width))
	c.ungroup()
	c.printf(`<text x="%s" y="%s" text-anchor="middle" font-weight="600" fill="%s">%s</text>`+"\n", px(x+width/2), px(y+15), inkOn[v], escape(string(v)))
}

// trace draws one channel in a strip of its own with a voltage scale.
func (c *canvas) trace(colour, name string, t verdict.Trace, x scale, top, bottom float64, most int, threshold float64) {
	low, high := extent(t)
	if threshold > high {
		high = threshold
	}
	y, tick := voltsBetween(low, high, bottom, top, most)
	for _, v := range ticks(y.fromValue, y.toValue, tick) {
		c.grid(x.fromPixel, y.at(v), x.toPixel, y.at(v))
		c.text(end, x.fromPixel-6, y.at(v)+4, label(v, tick)+" V")
	}
	c.band(colour, t, x, y)
	if threshold > y.fromValue && threshold < y.toValue {
		c.limit(x.fromPixel, y.at(threshold), x.toPixel, y.at(threshold))
		at := y.at(threshold) - 4
		if at < top+14 { // above it stand the times
			at += 17
		}
		c.labelled(end, x.toPixel-4, at, fmt.Sprintf("%s, threshold %.3g V", name, threshold))
	} else {
		c.text(start, x.fromPixel, top-7, name)
	}
}

// clock draws the clock with its envelope, the amplitude it must have, and where it
// reached 90 % of the one it has.
func (c *canvas) clock(j Judged, x scale, top, bottom float64) {
	if len(j.Clock.Min) == 0 {
		c.line("plot-axis", x.fromPixel, bottom, x.toPixel, bottom)
		c.text(middle, (x.fromPixel+x.toPixel)/2, (top+bottom)/2, "no record of the clock")
		return
	}
	low, high := extent(j.Clock)
	zero := j.middle()
	level := 0.9 * j.AmplitudeVolts
	if need := j.RequiredVolts; need > 0 && zero+need < high+2*(high-low) { // a limit far off would flatten the record
		low, high = min(low, zero-need), max(high, zero+need)
	}
	y, tick := voltsBetween(low, high, bottom, top, 6)
	for _, v := range ticks(y.fromValue, y.toValue, tick) {
		c.grid(x.fromPixel, y.at(v), x.toPixel, y.at(v))
		c.text(end, x.fromPixel-6, y.at(v)+4, label(v, tick)+" V")
	}
	c.band("1", j.Clock, x, y)
	c.text(start, x.fromPixel, top-7, "clock")
	if v := zero + j.RequiredVolts; j.RequiredVolts > 0 && v < y.toValue {
		c.limit(x.fromPixel, y.at(v), x.toPixel, y.at(v))
		c.limit(x.fromPixel, y.at(zero-j.RequiredVolts), x.toPixel, y.at(zero-j.RequiredVolts))
		c.labelled(end, x.toPixel-4, y.at(v)-4, fmt.Sprintf("required ±%.3g V", j.RequiredVolts))
	}
	if at := j.StartSeconds; at > x.fromValue && at < x.toValue && level > 0 {
		c.group("3", "90 % of the steady amplitude")
		for _, v := range []float64{zero + level, zero - level} {
			c.printf(`<circle class="plot-crossing" cx="%s" cy="%s" r="4" fill="none" stroke="currentColor" stroke-width="2.2"/>`+"\n", px(x.at(at)), px(y.inside(v)))
		}
		c.ungroup()
		if x.at(at) > x.fromPixel+60 {
			c.labelled(end, x.at(at)-9, y.inside(zero+level)+4, "90 %")
		} else {
			c.labelled(start, x.at(at)+9, y.inside(zero+level)+4, "90 %")
		}
	}
}

// middle is the voltage the clock swings about when it has settled.
func (j Judged) middle() float64 {
	n := len(j.Clock.Min)
	from := n - max(1, n/10)
	sum, count := 0.0, 0.0
	for i := from; i < n; i++ {
		if m := j.Clock.Min[i]/2 + j.Clock.Max[i]/2; !math.IsNaN(m) {
			sum += m
			count++
		}
	}
	return sum / max(count, 1)
}

// extent is the lowest and highest voltage of a trace.
func extent(t verdict.Trace) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for i := range min(len(t.Min), len(t.Max)) {
		if !math.IsNaN(t.Min[i]) && !math.IsNaN(t.Max[i]) {
			low, high = min(low, t.Min[i]), max(high, t.Max[i])
		}
	}
	if !(low <= high) {
		return 0, 1
	}
	return min(low, 0), high
}

// voltsBetween fits a range of voltages between two heights, with some room.
func voltsBetween(low, high, bottom, top float64, most int) (y scale, tick float64) {
	if high-low < 1e-3 {
		high = low + 1e-3
	}
	room := 0.06 * (high - low)
	return scale{low - room, high + room, bottom, top}, step(high-low, most)
}

// flow sets facts in lines of a width, parted by blanks.
func flow(facts []string, width float64) []string {
	var lines []string
	for _, f := range facts {
		if n := len(lines); n > 0 && textWidth(lines[n-1]+"  ·  "+f) <= width {
			lines[n-1] += "  ·  " + f
		} else {
			lines = append(lines, clip(f, width))
		}
	}
	return lines
}
