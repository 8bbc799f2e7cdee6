package plot

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// StartTimes is the chart of how long starts take: a histogram for each row, all
// over one time axis, which is logarithmic where the times differ much. A bar's
// height is the share of the row's cycles; a single one still shows.
type StartTimes struct {
	Title          string
	Width          float64
	AllowedSeconds float64 // by when the clock must have started; 0: no limit is known
	Rows           []StartRow
}

// StartRow is one histogram, e.g. of one condition.
type StartRow struct {
	Label         string
	Seconds       []float64 // of the cycles that started
	NoStart       int       // cycles that did not
	MedianSeconds float64   // within which half of all cycles have started; NaN if they have not
}

// Pixels: the height of a row, that of all rows so that they fit on a page, the room above a row's tallest bar, and
// the width of a bar.
const (
	startPitch = 42.0
	startRows  = 860.0
	startRoom  = 10.0
	startBin   = 6.0
)

// SVG draws the chart.
func (s StartTimes) SVG() string {
	width := orElse(s.Width, 720)
	labels, noStart, late, median := 0.0, false, false, false
	var said []string
	for _, r := range s.Rows {
		labels = max(labels, textWidth(r.Label))
		noStart = noStart || r.NoStart > 0
		late = late || slices.ContainsFunc(r.Seconds, s.late)
		median = median || r.MedianSeconds > 0
		said = append(said, r.say())
	}
	labels = min(labels, width/3)
	legend := func(c *canvas) []entry { return s.legend(c, late, median) }
	legendHeight := newCanvas(width, 0, "", "").legend(8, 4, width-16, legend(&canvas{}))
	top := 4 + legendHeight + 24
	pitch := max(min(startPitch, startRows/float64(max(1, len(s.Rows)))), 16)
	bottom := top + pitch*float64(len(s.Rows))
	c := newCanvas(width, bottom+44, s.Title, strings.Join(said, " "))
	c.legend(8, 4, width-16, legend(c))

	left, right := 8+labels+10, width-18
	if noStart {
		right = width - 12 - textWidth("no start")
		c.text(end, width-4, top-8, "no start")
	}
	x, unit := s.axis(left, right)
	used := math.Inf(-1) // no label stands on the one before it
	for _, v := range x.ticks() {
		c.grid(x.at(v), top, x.at(v), bottom)
		c.line("plot-axis", x.at(v), bottom, x.at(v), bottom+5)
		if half := textWidth(x.word(v)) / 2; x.at(v)-half > used+6 {
			c.text(middle, x.at(v), bottom+19, x.word(v))
			used = x.at(v) + half
		}
	}
	c.text(middle, (left+right)/2, bottom+37, "time since the rail rose, "+unit)

	factor, _ := secondsUnit(s.longest())
	histograms, tallest := s.histograms(x, factor)
	for i, r := range s.Rows {
		base := top + pitch*float64(i+1)
		c.line("plot-axis", left, base, right, base)
		c.text(end, left-10, base-4, clip(r.Label, labels))
		c.printf("<g><title>%s</title>\n", escape(r.say()))
		for _, b := range histograms[i] {
			colour := "started"
			if b.late {
				colour = "late"
			}
			height := max(2, (pitch-startRoom)*b.share/tallest)
			c.group(colour, "")
			c.printf(`<rect class="plot-bar" x="%s" y="%s" width="%s" height="%s" fill="currentColor"/>`+"\n", px(b.left), px(base-height), px(startBin-1), px(height))
			c.ungroup()
		}
		if m := r.MedianSeconds; m > 0 {
			c.median(x.at(m*factor), base)
		}
		c.ungroup()
		if r.NoStart > 0 {
			c.text(end, width-4, base-4, fmt.Sprint(r.NoStart))
		}
	}
	if s.AllowedSeconds > 0 {
		at, text := x.at(s.AllowedSeconds*factor), "allowed "+duration(s.AllowedSeconds)
		c.limit(at, top-18, at, bottom)
		if at-textWidth(text)-5 > 0 {
			c.text(end, at-5, top-8, text)
		} else {
			c.text(start, at+5, top-8, text)
		}
	}
	return c.close()
}

func (s StartTimes) late(seconds float64) bool {
	return s.AllowedSeconds > 0 && seconds > s.AllowedSeconds
}

func (r StartRow) say() string {
	text := fmt.Sprintf("%s: %d started", r.Label, len(r.Seconds))
	if r.MedianSeconds > 0 {
		text += ", half of all cycles within " + duration(r.MedianSeconds)
	}
	if len(r.Seconds) > 0 {
		text += ", the slowest after " + duration(slices.Max(r.Seconds))
	}
	if r.NoStart > 0 {
		text += fmt.Sprintf("; %d did not start", r.NoStart)
	}
	return text + "."
}

// times are all that the axis must reach.
func (s StartTimes) times() (all []float64) {
	for _, r := range s.Rows {
		all = append(all, r.Seconds...)
	}
	if s.AllowedSeconds > 0 {
		all = append(all, s.AllowedSeconds)
	}
	return all
}

func (s StartTimes) longest() float64 {
	if all := s.times(); len(all) > 0 {
		return slices.Max(all)
	}
	return 0
}

// axis reaches a little over all times, in the unit that suits the longest.
func (s StartTimes) axis(left, right float64) (axis, string) {
	factor, unit := secondsUnit(s.longest())
	low, high := 1.0, 10.0
	if all := s.times(); len(all) > 0 {
		low, high = factor*slices.Min(all), factor*slices.Max(all)
	}
	a := axis{logarithmic: low > 0 && high > 4*low}
	from, to := a.value(low), a.value(high)
	margin := 0.04 * (to - from)
	if margin == 0 {
		margin = max(0.5*to, 0.1)
	}
	a.pixels = scale{from - margin, to + margin, left, right}
	return a, unit
}

type startBinned struct {
	left  float64 // pixels
	share float64 // of the row's cycles
	late  bool
}

// histograms counts the starts of each row by bars of one width on the axis, one
// edge of which is the allowed time, so that no bar lies on both sides of it.
func (s StartTimes) histograms(x axis, factor float64) (rows [][]startBinned, tallest float64) {
	anchor := x.pixels.fromPixel
	if s.AllowedSeconds > 0 {
		anchor = x.at(factor * s.AllowedSeconds)
	}
	for _, r := range s.Rows {
		counts := map[int]int{}
		for _, seconds := range r.Seconds {
			bin := int(math.Floor((x.at(factor*seconds) - anchor) / startBin))
			if s.AllowedSeconds > 0 && !s.late(seconds) {
				bin = min(bin, -1) // what takes exactly as long as allowed is in time
			}
			counts[bin]++
		}
		var row []startBinned
		for bin, n := range counts {
			share := float64(n) / float64(len(r.Seconds)+r.NoStart)
			row = append(row, startBinned{anchor + startBin*float64(bin), share, s.AllowedSeconds > 0 && bin >= 0})
			tallest = max(tallest, share)
		}
		slices.SortFunc(row, func(a, b startBinned) int { return int(a.left - b.left) })
		rows = append(rows, row)
	}
	return rows, tallest
}

// median is a wedge below the line, its tip at the time.
func (c *canvas) median(x, base float64) {
	c.printf(`<path class="plot-median" d="M%s %sL%s %sL%s %sZ" fill="currentColor"/>`+"\n", px(x), px(base+0.5), px(x+4), px(base+7.5), px(x-4), px(base+7.5))
}

func (s StartTimes) legend(c *canvas, late, median bool) []entry {
	bar := func(colour string) func(x, y float64) {
		return func(x, y float64) {
			c.group(colour, "")
			c.swatch(x-7, y-6, 13, 12)
			c.ungroup()
		}
	}
	entries := []entry{{"started", bar("started")}}
	if late {
		entries = append(entries, entry{"started after the allowed time", bar("late")})
	}
	if median {
		entries = append(entries, entry{"half of all cycles have started", func(x, y float64) { c.median(x, y-4) }})
	}
	return entries
}
