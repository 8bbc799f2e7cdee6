package plot

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

func sampleCurves() Curves {
	x := []float64{10, 20, 30, 40, 50}
	return Curves{
		Title: "margin & load", XLabel: "C, pF", Alone: true, Note: "only <calculated>",
		Spans: []Span{{From: 20, To: 35, Text: "safe"}}, At: []Mark{{At: 30, Text: "fitted"}},
		Panels: []CurvePanel{
			{Label: "margin", Low: 0, High: 10, Lines: []Line{
				{Name: "3.6 V", X: x, Y: []float64{9, 8, 6, 5, 4}, Dots: []int{0, 2, 4}},
				{Name: "2.6 V", X: x, Y: []float64{20, 10, math.NaN(), 3, math.Inf(-1)}, Dots: []int{0, 1, 3, 9}},
			}, Limits: []Mark{{At: 5, Text: "wanted"}, {At: 50, Text: "out of sight"}}},
			{Label: "ppm", Lines: []Line{{X: x, Y: []float64{100, 50, 0, -20, -30}}}},
		},
	}
}

var pathPoint = regexp.MustCompile(`([ML])(-?[\d.]+) (-?[\d.]+)`)

func TestCurves(t *testing.T) {
	svg := sampleCurves().SVG()
	if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
		t.Error("a number that is none in the picture")
	}
	root := parse(t, svg)
	curves := root.all("path", "plot-curve")
	if len(curves) != 3 {
		t.Fatalf("%d curves, want 3", len(curves))
	}
	points := func(i int) [][]string { return pathPoint.FindAllStringSubmatch(curves[i].attr["d"], -1) }
	if n := len(points(0)); n != 5 {
		t.Errorf("the first curve has %d points, want 5", n)
	}
	// The second comes in over the upper edge, is broken where there is no value, and leaves over the lower edge.
	second := points(1)
	if len(second) != 4 || second[0][1] != "M" || second[2][1] != "M" || second[3][1] != "L" {
		t.Errorf("the second curve is %v: want two strokes, each from or to the edge", second)
	}
	number := func(s string) float64 { v, _ := strconv.ParseFloat(s, 64); return v }
	var spans, height = root.all("rect", "plot-span"), 0.0
	if len(spans) != 2 {
		t.Fatalf("%d spans, want one in each panel", len(spans))
	}
	top := spans[0].number(t, "y")
	height = spans[0].number(t, "height")
	for _, p := range second {
		if y := number(p[3]); y < top-0.01 || y > top+height+0.01 {
			t.Errorf("a point at %g is outside the panel from %g to %g", y, top, top+height)
		}
	}
	// 20 and 35 of 10 to 50 are a quarter and five eighths of the way.
	left, right := number(points(0)[0][2]), number(points(0)[4][2])
	if got, want := spans[0].number(t, "x"), left+0.25*(right-left); math.Abs(got-want) > 0.02 {
		t.Errorf("the span begins at %g, want %g", got, want)
	}
	if got, want := spans[0].number(t, "width"), 0.375*(right-left); math.Abs(got-want) > 0.02 {
		t.Errorf("the span is %g wide, want %g", got, want)
	}
	// Half of the panel is 5.
	var limits []float64
	for _, l := range root.all("line", "plot-limit") {
		if l.attr["y1"] == l.attr["y2"] {
			limits = append(limits, l.number(t, "y1"))
		}
	}
	if len(limits) != 1 || math.Abs(limits[0]-(top+height/2)) > 0.02 {
		t.Errorf("limits at %v, want one at %g", limits, top+height/2)
	}
	// Three dots of the first curve and two of the second (the others lie outside), and two in the legend.
	if n := len(root.all("path", "plot-marker")); n != 3+2+2 {
		t.Errorf("%d markers, want 7", n)
	}
	for _, text := range []string{"margin &amp; load", "safe", "fitted", "wanted", "only &lt;calculated&gt;", "C, pF"} {
		if !strings.Contains(svg, text) {
			t.Errorf("no %q", text)
		}
	}
	if strings.Contains(svg, "out of sight") {
		t.Error("a limit outside the panel was drawn")
	}
}

func TestCurvesLogarithmic(t *testing.T) {
	g := Curves{XLogarithmic: true, Panels: []CurvePanel{{Lines: []Line{{Name: "a", X: []float64{2, 20, 2000}, Y: []float64{1, 2, 3}}}}}}
	svg := g.SVG()
	p := pathPoint.FindAllStringSubmatch(parse(t, svg).all("path", "plot-curve")[0].attr["d"], -1)
	at := func(i int) float64 { v, _ := strconv.ParseFloat(p[i][2], 64); return v }
	if got, want := at(1), at(0)+(at(2)-at(0))/3; math.Abs(got-want) > 0.02 {
		t.Errorf("20 of 2 to 2000 is at %g, want a third of the way, %g", got, want)
	}
	for _, tick := range []string{">2<", ">5<", ">10<", ">500<", ">2000<"} {
		if !strings.Contains(svg, tick) {
			t.Errorf("no tick %s", tick)
		}
	}
	// Nothing to draw is still a picture.
	for _, empty := range []Curves{{}, {Panels: []CurvePanel{{}}}, {Panels: []CurvePanel{{Lines: []Line{{X: []float64{1}, Y: []float64{math.NaN()}}}}}}} {
		if s := empty.SVG(); strings.Contains(s, "NaN") || strings.Contains(s, "Inf") {
			t.Errorf("%+v draws\n%s", empty, s)
		}
	}
}
