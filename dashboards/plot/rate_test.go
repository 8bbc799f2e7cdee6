package plot

import (
	"fmt"
	"testing"

	"ringup/runner/failrate"
)

// However many treatments there are, and however long their names, each is drawn between the axes.
func TestManyTreatmentsStayInsideTheChart(t *testing.T) {
	f := FailureRate{Title: "a long hunt"}
	for i := range 25 {
		for _, volts := range []float64{2.2, 2.4} {
			f.Conditions = append(f.Conditions, condition(volts, fmt.Sprintf("treatment %d of a part with a name that fills a line of the legend all by itself", i), i, 40))
		}
	}
	root := parse(t, f.SVG())
	axis := root.all("line", "plot-axis")[0]
	left, right, bottom := axis.number(t, "x1"), axis.number(t, "x2"), axis.number(t, "y1")
	grid := root.all("line", "plot-grid")
	if height := bottom - grid[len(grid)-1].number(t, "y1"); height < 200 {
		t.Errorf("the legend leaves %g pixels for the chart", height)
	}
	var last float64
	whiskers := root.all("line", "plot-whisker")
	whiskers = whiskers[len(whiskers)-len(f.Conditions):] // the first is the legend's
	for i, w := range whiskers {
		x := w.number(t, "x1")
		if x < left || x > right {
			t.Errorf("%v is drawn at %g, the axis is from %g to %g", f.Conditions[i].Treatment, x, left, right)
		}
		if f.Conditions[i].Volts == 2.2 {
			if i > 0 && x <= last {
				t.Errorf("treatment %d stands at %g, the one before it at %g", i/2, x, last)
			}
			last = x
		}
	}
	if n := treatmentsApart([]string{"a", "b"}, []failrate.Condition{{Volts: 3}}, 600); n != 13 {
		t.Errorf("two treatments are %g pixels apart, want 13", n)
	}
}
