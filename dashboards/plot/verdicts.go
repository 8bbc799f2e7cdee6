package plot

import (
	"fmt"
	"strings"

	"ringup/runner/verdict"
)

// VerdictCounts is a stacked horizontal bar of verdicts for each row.
type VerdictCounts struct {
	Title string
	Width float64
	Rows  []VerdictRow
}

// VerdictRow is one bar, e.g. of one condition.
type VerdictRow struct {
	Label  string
	Counts map[string]int // by verdict
}

func (r VerdictRow) total() (n int) {
	for _, v := range verdict.Verdicts {
		n += r.Counts[string(v)]
	}
	return n
}

// SVG draws the chart. Bars have the width of the row with the most cycles.
func (v VerdictCounts) SVG() string {
	const bar, pitch = 20.0, 28.0
	width := orElse(v.Width, 720)
	most, labels, totals := 1, 0.0, 0.0
	seen := map[string]int{}
	var description strings.Builder
	for _, r := range v.Rows {
		most = max(most, r.total())
		labels = max(labels, textWidth(r.Label))
		totals = max(totals, textWidth(fmt.Sprint(r.total())))
		var said []string
		for _, kind := range verdict.Verdicts {
			if n := r.Counts[string(kind)]; n > 0 {
				seen[string(kind)] += n
				said = append(said, fmt.Sprintf("%d %s", n, kind))
			}
		}
		fmt.Fprintf(&description, "%s: %s. ", r.Label, strings.Join(said, ", "))
	}
	labels = min(labels, width/3)

	// The height follows from the legend, which is laid out on a canvas of its own first.
	legendHeight := newCanvas(width, 0, "", "").legend(8, 8, width-16, verdictLegend(&canvas{}, seen))
	height := 8 + legendHeight + pitch*float64(len(v.Rows)) + 4
	c := newCanvas(width, height, v.Title, strings.TrimSpace(description.String()))
	c.legend(8, 8, width-16, verdictLegend(c, seen))
	left := 8 + labels + 8
	x := scale{0, float64(most), left, width - 16 - totals}
	for i, r := range v.Rows {
		top := 8 + legendHeight + pitch*float64(i)
		c.text(end, left-8, top+bar/2+4, clip(r.Label, labels))
		done := 0
		for _, kind := range verdict.Verdicts {
			n := r.Counts[string(kind)]
			if n == 0 {
				continue
			}
			from, to := x.at(float64(done)), x.at(float64(done+n))
			done += n
			c.group(string(kind), fmt.Sprintf("%s: %d of %d %s", r.Label, n, r.total(), kind))
			c.swatch(from, top, to-from, bar)
			c.ungroup()
			if text := fmt.Sprint(n); textWidth(text)+6 <= to-from {
				c.printf(`<text x="%s" y="%s" text-anchor="middle" fill="%s">%s</text>`+"\n", px((from+to)/2), px(top+bar/2+4), inkOn[kind], text)
			}
		}
		c.text(start, x.at(float64(done))+6, top+bar/2+4, fmt.Sprint(r.total()))
	}
	return c.close()
}

// inkOn is the colour of a number on a verdict's colour; both stay the same on
// light and dark grounds.
var inkOn = map[verdict.Verdict]string{
	verdict.Started: "#0b1a2a", verdict.Late: "#241a00", verdict.Silent: "#ffffff", verdict.Weak: "#2a1200",
	verdict.OffFrequency: "#ffffff", verdict.DroppedOut: "#2a0a16", verdict.Unpowered: "#0d0f11", verdict.Unread: "#16191c",
}

// swatch is a bar with a seam, so that neighbours part without their colours.
func (c *canvas) swatch(x, y, width, height float64) {
	c.printf(`<rect class="plot-bar" x="%s" y="%s" width="%s" height="%s" fill="currentColor"/>`+"\n", px(x), px(y), px(max(width-1, 0.5)), px(height))
}

func verdictLegend(c *canvas, seen map[string]int) []entry {
	var entries []entry
	for _, kind := range verdict.Verdicts {
		n := seen[string(kind)]
		if n == 0 {
			continue
		}
		text := fmt.Sprintf("%s %d", kind, n)
		if !kind.Counted() {
			text += " (not counted)"
		}
		entries = append(entries, entry{text, func(x, y float64) {
			c.group(string(kind), "")
			c.swatch(x-7, y-6, 13, 12)
			c.ungroup()
		}})
	}
	return entries
}
