package plot

import (
	"fmt"
	"math"
	"strings"
)

// shapes are the markers of the series, each a path about the origin.
var shapes = []string{
	"M-4.5 0A4.5 4.5 0 1 0 4.5 0A4.5 4.5 0 1 0 -4.5 0Z",    // disc
	"M0 -5.6L5.6 0L0 5.6L-5.6 0Z",                          // lozenge
	"M-4.2 -4.2H4.2V4.2H-4.2Z",                             // square
	"M0 -5.4L5.2 3.9H-5.2Z",                                // triangle
	"M-1.7 -5H1.7V-1.7H5V1.7H1.7V5H-1.7V1.7H-5V-1.7H-1.7Z", // cross
	"M0 -5.2L5 -1.2L3.1 4.6H-3.1L-5 -1.2Z",                 // pentagon
}

// colourOf and shapeOf give a series its looks; they repeat out of step, so that
// many series still differ.
func colourOf(series int) string { return fmt.Sprint(series%6 + 1) }
func shapeOf(series int) string  { return shapes[(series+series/6)%len(shapes)] }

func (c *canvas) marker(series int, x, y float64) {
	c.printf(`<path class="plot-marker" transform="translate(%s %s)" d="%s" fill="currentColor"/>`+"\n", px(x), px(y), shapeOf(series))
}

// interval draws estimate and interval of a rate in the colour of the group. A
// one-sided bound is a bar at the bound with an arrow towards where the rate may
// lie: down from the upper bound when nothing failed, up when everything did.
func (c *canvas) interval(series int, x float64, y scale, estimate, low, high float64, oneSided bool) {
	const cap = 5.0
	top, bottom := y.inside(high), y.inside(low)
	c.printf(`<line class="plot-whisker" x1="%s" y1="%s" x2="%[1]s" y2="%[3]s" stroke="currentColor" stroke-width="1.6"/>`+"\n", px(x), px(top), px(bottom))
	bar := func(at float64) {
		c.printf(`<line class="plot-cap" x1="%s" y1="%s" x2="%s" y2="%[2]s" stroke="currentColor" stroke-width="1.6"/>`+"\n", px(x-cap), px(at), px(x+cap))
	}
	if !oneSided {
		bar(top)
		bar(bottom)
		c.marker(series, x, y.inside(estimate))
		return
	}
	bound, tip, direction := top, bottom, 1.0
	if estimate > 0.5 {
		bound, tip, direction = bottom, top, -1.0
	}
	bar(bound)
	head := min(7, math.Abs(tip-bound)) * direction
	c.printf(`<path class="plot-bound" d="M%s %sL%s %sL%s %s" fill="none" stroke="currentColor" stroke-width="1.6"/>`+"\n",
		px(x-cap), px(tip-head), px(x), px(tip), px(x+cap), px(tip-head))
}

// entry is one line of a legend.
type entry struct {
	text string
	draw func(x, y float64) // a sign of 16 px about the point
}

// legend sets entries in rows from the left and gives the height used.
func (c *canvas) legend(x, y, width float64, entries []entry) (height float64) {
	const sign, gap, row = 22.0, 18.0, 18.0
	at, line := x, 0
	for _, e := range entries {
		text := clip(e.text, width-sign)
		needed := sign + textWidth(text)
		if at > x && at+needed > x+width {
			at, line = x, line+1
		}
		baseline := y + row*float64(line) + 12
		e.draw(at+8, baseline-4)
		c.text(start, at+sign, baseline, text)
		at += needed + gap
	}
	if len(entries) == 0 {
		return 0
	}
	return row*float64(line+1) + 4
}

// percent words a rate for a person.
func percent(rate float64) string {
	text := fmt.Sprintf("%.3g", 100*rate)
	if strings.Contains(text, "e") {
		text = fmt.Sprintf("%.4f", 100*rate)
	}
	return text + " %"
}
