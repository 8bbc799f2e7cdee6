package main

import (
	"fmt"
	"io"
	"math"
	"strings"

	"ringup/runner/verdict"
)

const (
	drawColumns = 72
	drawRows    = 13
)

// draw writes a chart in characters: the clock's envelope as blocks, the rail as
// dots, the allowed time and the start as lines.
func (j *judged) draw(w io.Writer) {
	clock, rail, rise := withGaps(j.clock(), j.evidence.ClockRecord), withGaps(j.rail(), j.evidence.RailRecord), j.rise()
	if len(clock.Min) == 0 {
		fmt.Fprintln(w, "  (no record of the clock to draw)")
		return
	}
	from := clock.StartSeconds - rise
	to := from + float64(len(clock.Min))*clock.StepSeconds
	low, high := 0.0, 0.0
	for _, t := range []verdict.Trace{clock, rail} {
		for i := range t.Min {
			if t.Min[i] < low {
				low = t.Min[i]
			}
			if t.Max[i] > high {
				high = t.Max[i]
			}
		}
	}
	if !(high > low) {
		high = low + 1
	}
	grid := make([][]rune, drawRows)
	for i := range grid {
		grid[i] = []rune(strings.Repeat(" ", drawColumns))
	}
	row := func(v float64) int {
		return min(max(int((high-v)/(high-low)*drawRows), 0), drawRows-1)
	}
	column := func(seconds float64) (int, bool) {
		c := int(math.Floor((seconds - from) / (to - from) * drawColumns))
		return c, seconds >= from && c >= 0 && c < drawColumns
	}
	fill := func(t verdict.Trace, sign rune) {
		lows, highs := drawn(t, rise, from, to)
		for c := range drawColumns {
			if lows[c] > highs[c] {
				continue
			}
			for r := row(highs[c]); r <= row(lows[c]); r++ {
				grid[r][c] = sign
			}
		}
	}
	for _, moment := range []float64{j.expect.StartWithinSeconds, j.StartSeconds, j.DropoutSeconds} {
		if c, ok := column(moment); ok && moment > 0 {
			for r := range grid {
				grid[r][c] = '|'
			}
		}
	}
	fill(clock, '█')
	fill(rail, '·')
	for r, line := range grid {
		mark := "        "
		switch r {
		case 0:
			mark = fmt.Sprintf("%6.2f V", high)
		case drawRows - 1:
			mark = fmt.Sprintf("%6.2f V", low)
		}
		fmt.Fprintf(w, "%s ┤%s\n", mark, strings.TrimRight(string(line), " "))
	}
	fmt.Fprintf(w, "         └%s\n", strings.Repeat("─", drawColumns))
	var below [3][]rune
	for i := range below {
		below[i] = []rune(strings.Repeat(" ", drawColumns+20))
	}
	for _, m := range []struct {
		at   float64
		text string
	}{{j.StartSeconds, "| started"}, {j.expect.StartWithinSeconds, "| allowed"}, {j.DropoutSeconds, "| stopped"}} {
		if c, ok := column(m.at); ok && m.at > 0 {
			text := []rune(m.text + " " + quantity(m.at, math.NaN(), "s"))
			for i := range below { // the first line with room
				if strings.TrimSpace(string(below[i][max(0, c-1):min(len(below[i]), c+len(text)+1)])) == "" {
					copy(below[i][c:], text)
					break
				}
			}
		}
	}
	for _, line := range below {
		if text := strings.TrimRight(string(line), " "); text != "" {
			fmt.Fprintf(w, "          %s\n", text)
		}
	}
	left, right := quantity(from, math.NaN(), "s"), quantity(to, math.NaN(), "s")
	fmt.Fprintf(w, "          %s%*s\n", left, drawColumns-len([]rune(left)), right)
	legend := "█ clock"
	if len(rail.Min) > 0 {
		legend += "   · rail   time since the rail rose"
	} else {
		legend += "   time since the trigger"
	}
	fmt.Fprintf(w, "          %s\n", legend)
}

// drawn reduces a trace to columns of characters.
func drawn(t verdict.Trace, rise, from, to float64) (lows, highs [drawColumns]float64) {
	for c := range drawColumns {
		lows[c], highs[c] = math.Inf(1), math.Inf(-1)
	}
	for i := range t.Min {
		c := int(math.Floor((t.StartSeconds - rise + (float64(i)+0.5)*t.StepSeconds - from) / (to - from) * drawColumns))
		if c >= 0 && c < drawColumns && t.Min[i] <= t.Max[i] {
			lows[c], highs[c] = min(lows[c], t.Min[i]), max(highs[c], t.Max[i])
		}
	}
	return lows, highs
}
