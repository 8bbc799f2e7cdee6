package plot

import (
	"math"
	"strings"
	"testing"
)

func sampleStarts() StartTimes {
	times := func(from, ratio float64, n int) (seconds []float64) {
		for range n {
			seconds = append(seconds, from)
			from *= ratio
		}
		return seconds
	}
	return StartTimes{Title: "Start times", AllowedSeconds: 64e-3, Rows: []StartRow{
		{"3.6 V", times(4e-3, 1.001, 200), 0, 4.4e-3},
		{"2.4 V", times(8e-3, 1.01, 190), 10, 20e-3},
		{"2.2 V", times(16e-3, 2, 4), 16, math.NaN()}, // 16, 32, 64 and 128 ms
	}}
}

// Bars are read off again against the axis' own labels: where they stand, how high they are, and on which side of the
// allowed time.
func TestStartBars(t *testing.T) {
	root := parse(t, sampleStarts().SVG())
	ticks := map[string]float64{}
	for _, e := range root.all("text", "") {
		if e.attr["text-anchor"] == "middle" {
			ticks[e.text] = e.number(t, "x")
		}
	}
	if ticks["10"] == 0 || ticks["100"] == 0 {
		t.Fatalf("no ticks of 10 and 100 ms: %v", ticks)
	}
	at := func(ms float64) float64 { return ticks["10"] + (ticks["100"]-ticks["10"])*math.Log10(ms/10) }
	rows := map[string][]*element{}
	for _, g := range root.all("g", "") {
		if title := g.children[0]; title.name == "title" {
			for _, label := range []string{"3.6 V", "2.4 V", "2.2 V"} {
				if strings.HasPrefix(title.text, label) {
					rows[label] = append(rows[label], g.children[1:]...)
				}
			}
		}
	}
	limit := root.all("line", "plot-limit")[0].number(t, "x1")
	if math.Abs(limit-at(64)) > 0.1 {
		t.Errorf("the allowed time is drawn at %.1f, 64 ms is at %.1f", limit, at(64))
	}
	// One start in 20 each at 16, 32, 64 (in time) and 128 ms (late).
	bars := rows["2.2 V"]
	if len(bars) != 4 {
		t.Fatalf("%d bars for four starts", len(bars))
	}
	for i, ms := range []float64{16, 32, 64, 128} {
		bar := bars[i].all("rect", "plot-bar")[0]
		left, late := bar.number(t, "x"), bars[i].attr["class"] == "plot-late"
		if x := at(ms); x < left-0.1 || x > left+startBin+0.1 || late != (ms > 64) || late != (left >= limit-0.1) {
			t.Errorf("%g ms is at %.1f, its bar at %.1f, late %v, the limit at %.1f", ms, x, left, late, limit)
		}
	}
	// The bars of a row add up to its starts, in shares of its cycles, unless they are too low to be seen.
	unit := 0.0 // pixels for all of a row's cycles
	for _, bar := range rows["3.6 V"] {
		for _, r := range bar.all("rect", "plot-bar") {
			unit += r.number(t, "height")
		}
	}
	sum := 0.0
	for _, bar := range bars {
		sum += bar.all("rect", "plot-bar")[0].number(t, "height")
	}
	if math.Abs(sum/unit-4.0/20) > 0.01 {
		t.Errorf("4 of 20 starts are %.3f of the area of 200 of 200", sum/unit)
	}
	if n := len(root.all("path", "plot-median")); n != 2+1 { // and the legend's
		t.Errorf("%d medians, want those of the rows in which half have started", n)
	}
}
