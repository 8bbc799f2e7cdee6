package plot

import (
	"math"
	"strings"
)

// Curves is a chart of one or more panels, one above the other, over a common
// horizontal axis: what follows from a value that can be chosen.
type Curves struct {
	Title, Description string
	Width              float64
	XLabel             string
	XLogarithmic       bool
	Spans              []Span // the values that are good, shaded through all panels
	At                 []Mark // dashed lines through all panels
	Panels             []CurvePanel
	Note               string // a line at the foot
	// Alone paints title and ground: for a file that is looked at by itself.
	Alone bool
}

// Span is a stretch of the horizontal axis, in the colour of the line it is about.
type Span struct {
	From, To float64
	Text     string
	Line     int // index of the line
}

// Mark is a place on an axis with its name.
type Mark struct {
	At   float64
	Text string
}

// CurvePanel is one quantity on a vertical axis of its own.
type CurvePanel struct {
	Label     string
	Low, High float64 // range shown; both 0: as the lines need
	Height    float64
	Lines     []Line // the first panel's names make the legend
	Limits    []Mark // dashed lines across
}

// Line is one curve. NaN breaks it, and it ends at the edge of the panel.
type Line struct {
	Name string
	X, Y []float64
	Dots []int // indices at which the series' marker stands

	Apart bool // the dots alone, not joined
}

// The room round a panel in pixels.
const (
	curvesRight  = 18.0
	curvesBottom = 44.0
	panelGap     = 40.0
	panelHeight  = 190.0
)

// SVG draws the chart.
func (g Curves) SVG() string {
	width := orElse(g.Width, 720)
	height := 4 + curvesBottom
	if g.Note != "" {
		height += 22
	}
	for _, p := range g.Panels {
		height += orElse(p.Height, panelHeight) + panelGap
	}
	heading := 0.0
	if g.Alone {
		heading = 26
	}
	// The legend's height is known once it is drawn, so the picture is drawn on two canvases.
	probe := &canvas{}
	legendHeight := probe.legend(8, 0, width-16, g.legend(probe))
	height += heading + legendHeight + 14
	c := newCanvas(width, height, g.Title, g.Description)
	if g.Alone {
		c.printf(`<rect class="plot-ground" width="%s" height="%s" fill="#fff"/>`+"\n", px(width), px(height))
		c.bold(start, 8, 20, clip(g.Title, width-16))
	}
	c.legend(8, heading+6, width-16, g.legend(c))
	left := 0.0
	for _, p := range g.Panels {
		y, tick := p.scale(0, 1)
		for _, v := range ticks(y.fromValue, y.toValue, tick) {
			left = max(left, 16+textWidth(label(v, tick)))
		}
	}
	x := g.xScale(left, width-curvesRight)
	top := heading + legendHeight + 40
	for i, p := range g.Panels {
		bottom := top + orElse(p.Height, panelHeight)
		c.curvePanel(g, p, x, top, bottom, i == 0)
		top = bottom + panelGap
	}
	bottom := top - panelGap
	used := math.Inf(-1) // no label stands on the one before it
	for _, v := range x.ticks() {
		c.line("plot-axis", x.at(v), bottom, x.at(v), bottom+5)
		if half := textWidth(x.word(v)) / 2; x.at(v)-half > used+6 {
			c.text(middle, x.at(v), bottom+19, x.word(v))
			used = x.at(v) + half
		}
	}
	c.text(middle, (left+width-curvesRight)/2, bottom+38, g.XLabel)
	if g.Note != "" {
		c.text(start, 8, bottom+64, clip(g.Note, width-16))
	}
	return c.close()
}

func (g Curves) legend(c *canvas) []entry {
	var entries []entry
	if len(g.Panels) == 0 {
		return nil
	}
	for i, l := range g.Panels[0].Lines {
		entries = append(entries, entry{l.Name, func(x, y float64) {
			c.group(colourOf(i), "")
			if !l.Apart {
				c.printf(`<line x1="%s" y1="%s" x2="%s" y2="%[2]s" stroke="currentColor" stroke-width="2"/>`+"\n", px(x-9), px(y), px(x+9))
			}
			if len(l.Dots) > 0 {
				c.marker(i, x, y)
			}
			c.ungroup()
		}})
	}
	for _, span := range g.Spans {
		entries = append(entries, entry{span.Text, func(x, y float64) {
			c.group(colourOf(span.Line), "")
			c.printf(`<rect x="%s" y="%s" width="18" height="11" fill="currentColor" fill-opacity=".2"/>`+"\n", px(x-9), px(y-5.5))
			c.ungroup()
		}})
	}
	return entries
}

// curvePanel draws one panel between top and bottom.
func (c *canvas) curvePanel(g Curves, p CurvePanel, x axis, top, bottom float64, first bool) {
	y, tick := p.scale(bottom, top)
	from, to := x.pixels.fromPixel, x.pixels.toPixel
	for _, span := range g.Spans {
		a, b := x.inside(span.From), x.inside(span.To)
		c.group(colourOf(span.Line), span.Text)
		c.printf(`<rect class="plot-span" x="%s" y="%s" width="%s" height="%s" fill="currentColor" fill-opacity=".13"/>`+"\n", px(a), px(top), px(b-a), px(bottom-top))
		c.ungroup()
	}
	for _, v := range ticks(y.fromValue, y.toValue, tick) {
		c.grid(from, y.at(v), to, y.at(v))
		c.text(end, from-6, y.at(v)+4, label(v, tick))
	}
	for _, v := range x.ticks() {
		c.grid(x.at(v), top, x.at(v), bottom)
	}
	c.line("plot-axis", from, bottom, to, bottom)
	c.bold(start, 8, top-10, p.Label)
	for _, m := range g.At {
		if at := x.at(m.At); at >= from && at <= to {
			c.limit(at, top, at, bottom)
			if first {
				half := textWidth(m.Text) / 2
				c.strip(middle, min(max(at, 24+1.1*textWidth(p.Label)+half), to-half), top-8, m.Text)
			}
		}
	}
	for _, m := range p.Limits {
		if y.holds(m.At) {
			c.limit(from, y.at(m.At), to, y.at(m.At))
		}
	}
	for i, l := range p.Lines {
		c.group(colourOf(i), l.Name)
		if !l.Apart {
			c.printf(`<path class="plot-curve" d="%s" fill="none" stroke="currentColor" stroke-width="2" stroke-linejoin="round"/>`+"\n", curvePath(l, x, y))
		}
		for _, d := range l.Dots {
			if d < len(l.X) && d < len(l.Y) && y.holds(l.Y[d]) {
				c.marker(i, x.at(l.X[d]), y.at(l.Y[d]))
			}
		}
		c.ungroup()
	}
	for _, m := range p.Limits { // on top of the curves, or these cross them out
		if y.holds(m.At) {
			c.strip(end, to-4, y.at(m.At)-5, m.Text)
		}
	}
}

// strip is a text on a strip of ground, readable on top of lines.
func (c *canvas) strip(anchor string, x, y float64, text string) {
	if text == "" {
		return
	}
	width := textWidth(text)
	from := x - width
	if anchor == middle {
		from = x - width/2
	}
	c.printf(`<rect class="plot-ground" x="%s" y="%s" width="%s" height="15" fill="#fff" fill-opacity=".85"/>`+"\n", px(from-2), px(y-11.5), px(width+4))
	c.text(anchor, x, y, text)
}

// holds says whether a value lies in the range of the scale.
func (s scale) holds(v float64) bool {
	return v >= min(s.fromValue, s.toValue) && v <= max(s.fromValue, s.toValue)
}

// curvePath is the line within the panel: where it leaves, it is cut at the edge.
func curvePath(l Line, x axis, y scale) string {
	low, high := min(y.fromValue, y.toValue), max(y.fromValue, y.toValue)
	var path strings.Builder
	pen := "M"
	put := func(vx, vy float64) {
		path.WriteString(pen + px(x.at(vx)) + " " + px(y.at(vy)))
		pen = "L"
	}
	// edge is where the line from an inner to an outer point crosses the edge.
	edge := func(xi, yi, xo, yo float64) {
		limit := min(max(yo, low), high)
		put(xi+(xo-xi)*(limit-yi)/(yo-yi), limit)
	}
	for i := range min(len(l.X), len(l.Y)) {
		vx, vy := l.X[i], l.Y[i]
		inside := y.holds(vy)
		if i > 0 && !math.IsNaN(vy) && !math.IsNaN(l.Y[i-1]) && inside != y.holds(l.Y[i-1]) {
			if inside {
				edge(vx, vy, l.X[i-1], l.Y[i-1])
			} else {
				edge(l.X[i-1], l.Y[i-1], vx, vy)
			}
		}
		if !inside {
			pen = "M"
			continue
		}
		put(vx, vy)
	}
	return path.String()
}
