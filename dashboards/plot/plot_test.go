package plot

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"ringup/runner/failrate"
	"ringup/runner/verdict"
)

// element is a parsed SVG element.
type element struct {
	name     string
	attr     map[string]string
	text     string
	children []*element
}

// parse fails the test unless the text is well-formed XML.
func parse(t *testing.T, svg string) *element {
	t.Helper()
	decoder := xml.NewDecoder(strings.NewReader(svg))
	root := &element{}
	path := []*element{root}
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			return root.children[0]
		}
		if err != nil {
			t.Fatalf("not well-formed: %v in\n%s", err, svg)
		}
		here := path[len(path)-1]
		switch token := token.(type) {
		case xml.StartElement:
			e := &element{name: token.Name.Local, attr: map[string]string{}}
			for _, a := range token.Attr {
				e.attr[a.Name.Local] = a.Value
			}
			here.children = append(here.children, e)
			path = append(path, e)
		case xml.EndElement:
			path = path[:len(path)-1]
		case xml.CharData:
			here.text += string(token)
		}
	}
}

// all gives the elements of a name and class (or of any class for "").
func (e *element) all(name, class string) (found []*element) {
	if e.name == name && (class == "" || e.attr["class"] == class) {
		found = append(found, e)
	}
	for _, child := range e.children {
		found = append(found, child.all(name, class)...)
	}
	return found
}

func (e *element) number(t *testing.T, name string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(e.attr[name], 64)
	if err != nil {
		t.Fatalf("%s of <%s>: %v", name, e.name, err)
	}
	return v
}

func condition(volts float64, treatment string, failures, cycles int) failrate.Condition {
	i := failrate.ClopperPearson(failures, cycles, 0.95)
	return failrate.Condition{Volts: volts, Treatment: treatment, Cycles: cycles, Failures: failures,
		Estimate: i.Estimate, Low: i.Low, High: i.High, Confidence: i.Confidence, OneSided: i.OneSided}
}

func sampleRates() FailureRate {
	return FailureRate{Title: "Failure rate against voltage", Conditions: []failrate.Condition{
		condition(3.6, "as found", 0, 200), condition(3.3, "as found", 1, 200), condition(3.0, "as found", 6, 200),
		condition(2.7, "as found", 24, 200), condition(2.4, "as found", 88, 200), condition(2.2, "as found", 171, 200),
		condition(3.6, "C7 = 12 pF, new", 0, 200), condition(2.4, "C7 = 12 pF, new", 0, 200), condition(2.2, "C7 = 12 pF, new", 2, 200),
	}}
}

func sampleWaveforms() Waveforms {
	trace := func(shape func(seconds float64) (low, high float64)) verdict.Trace {
		tr := verdict.Trace{StartSeconds: -2e-3, StepSeconds: 2e-5, LowVolts: -4, HighVolts: 4, Codes: 256}
		rng := rand.New(rand.NewPCG(3, 3))
		for i := range 4100 {
			low, high := shape(tr.StartSeconds + float64(i)*tr.StepSeconds)
			tr.Min, tr.Max = append(tr.Min, low-0.03*rng.Float64()), append(tr.Max, high+0.03*rng.Float64())
		}
		return tr
	}
	rail := trace(func(s float64) (float64, float64) {
		v := 2.4 * (1 - math.Exp(-max(0, s)/2e-4))
		return v, v
	})
	clock := func(tau float64) verdict.Trace {
		return trace(func(s float64) (float64, float64) {
			bias := 1.1 * (1 - math.Exp(-max(0, s)/5e-4))
			a := min(0.9, 1e-4*math.Exp(s/tau))
			return bias - a, bias + a
		})
	}
	return Waveforms{Title: "A failure beside a start", Panels: []Panel{
		{Heading: "Cycle 412: silent", Note: "No oscillation in 80 ms: the envelope stayed below 0.05 V, the least that counts as one is 0.2 V.",
			Rail: rail, Clock: clock(math.Inf(1)), ThresholdVolts: 1.2, StartSeconds: math.NaN(), AllowedSeconds: 65e-3},
		{Heading: "Cycle 411: started", Note: "Reached 0.9 V after 12 ms.",
			Rail: rail, Clock: clock(1.2e-3), ThresholdVolts: 1.2, StartSeconds: 12e-3, AllowedSeconds: 65e-3},
	}}
}

func sampleVerdicts() VerdictCounts {
	return VerdictCounts{Title: "Verdicts", Rows: []VerdictRow{
		{"3.6 V", map[string]int{"started": 200}},
		{"2.4 V", map[string]int{"started": 112, "silent": 61, "late": 20, "weak": 4, "dropped-out": 2, "off-frequency": 1, "unread": 3}},
		{"2.2 V", map[string]int{"started": 29, "silent": 150, "late": 21, "unpowered": 7}},
	}}
}

func sampleNight() Night {
	n := Night{Title: "Through the night", Zone: time.FixedZone("CET", 3600)}
	begin := time.Date(2026, 1, 12, 21, 10, 0, 0, n.Zone)
	for h := range 10 {
		failures := 2 * h
		from := begin.Add(time.Duration(h) * time.Hour)
		n.Windows = append(n.Windows, Window{from, from.Add(time.Hour), failures, 120, failrate.ClopperPearson(failures, 120, 0.95)})
	}
	for m := range 600 {
		n.Ambient = append(n.Ambient, Reading{begin.Add(time.Duration(m) * time.Minute), 20 - 3*math.Sin(float64(m)/600*3)})
	}
	n.Marks = []Moment{{begin.Add(3 * time.Hour), "C7 chilled"}, {begin.Add(3*time.Hour + time.Minute), "C7 released"}}
	return n
}

func charts() map[string]string {
	nasty := sampleRates()
	nasty.Title = "a <b> & \"c\" \x00\xff ]]>"
	for i := range nasty.Conditions {
		nasty.Conditions[i].Treatment += "<script>&\x01" + strings.Repeat(" long words", i)
	}
	many := FailureRate{Title: "many voltages"}
	for i := range 40 {
		many.Conditions = append(many.Conditions, condition(2+0.013*float64(i), "as found", i%5, 50))
	}
	night := sampleNight()
	night.Ambient = nil
	return map[string]string{
		"rates": sampleRates().SVG(), "nasty": nasty.SVG(), "many": many.SVG(), "one": FailureRate{Conditions: many.Conditions[:1]}.SVG(),
		"no cycle": FailureRate{Title: "empty", Conditions: []failrate.Condition{condition(3.6, "as found", 0, 0)}}.SVG(),
		"all fail": FailureRate{Conditions: []failrate.Condition{condition(2.0, "as found", 30, 30)}}.SVG(),
		"unknown":  FailureRate{Conditions: []failrate.Condition{condition(math.NaN(), "as found", 3, 30)}}.SVG(),
		"waveform": sampleWaveforms().SVG(), "no waveform": Waveforms{Panels: []Panel{{Heading: "x"}}}.SVG(), "nothing": Waveforms{}.SVG(),
		"judged": sampleJudged(verdict.Started).SVG(), "judged late": sampleJudged(verdict.Late).SVG(), "judged dropped": sampleJudged(verdict.DroppedOut).SVG(), "judged unpowered": sampleJudged(verdict.Unpowered).SVG(),
		"judged without records": Judged{Title: "nothing", Verdict: verdict.Unread, Reason: "the clock record is missing"}.SVG(),
		"verdicts":               sampleVerdicts().SVG(), "no verdict": VerdictCounts{}.SVG(),
		"starts": sampleStarts().SVG(), "starts without limit": StartTimes{Rows: sampleStarts().Rows[:1]}.SVG(), "one start": StartTimes{Rows: []StartRow{{"2.2 V", []float64{0.05}, 0, math.NaN()}}}.SVG(),
		"no start": StartTimes{AllowedSeconds: 65e-3, Rows: []StartRow{{strings.Repeat("<long> ", 20), nil, 40, math.NaN()}}}.SVG(), "no row": StartTimes{}.SVG(),
		"night": sampleNight().SVG(), "night without ambient": night.SVG(), "no night": Night{}.SVG(),
	}
}

func TestChartsAreWellFormedAndDescribed(t *testing.T) {
	for name, svg := range charts() {
		t.Run(name, func(t *testing.T) {
			root := parse(t, svg)
			if root.name != "svg" || root.attr["role"] != "img" || root.children[0].name != "title" || root.children[1].name != "desc" {
				t.Error("no <svg role=img> that begins with title and desc")
			}
			if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
				t.Error("a coordinate is no number")
			}
			if strings.Contains(svg, "<script") || strings.Contains(svg, "style=") {
				t.Error("script or inline style")
			}
		})
	}
}

// No text may lie on another, and none outside the picture.
func TestTextsDoNotOverlap(t *testing.T) {
	type box struct {
		left, right, top, bottom float64
		text                     string
	}
	for name, svg := range charts() {
		root := parse(t, svg)
		var boxes []box
		for _, e := range root.all("text", "") {
			x, y, width := e.number(t, "x"), e.number(t, "y"), textWidth(e.text)
			switch e.attr["text-anchor"] {
			case "middle":
				x -= width / 2
			case "end":
				x -= width
			}
			b := box{x, x + width, y - 9, y + 2, e.text}
			if b.left < 0 || b.right > root.number(t, "width") || b.top < 0 || b.bottom > root.number(t, "height") {
				t.Errorf("%s: %q lies outside: %+v", name, e.text, b)
			}
			for _, o := range boxes {
				if b.left < o.right && o.left < b.right && b.top < o.bottom && o.top < b.bottom {
					t.Errorf("%s: %q lies on %q", name, b.text, o.text)
				}
			}
			boxes = append(boxes, b)
		}
		if len(boxes) == 0 && name != "no verdict" {
			t.Errorf("%s has no text", name)
		}
	}
}

// The ends of a whisker are the interval, measured against the axis' own labels.
func TestWhiskersEndAtTheInterval(t *testing.T) {
	f := sampleRates()
	root := parse(t, f.SVG())
	rateAt := percentAxis(t, root)
	whiskers := root.all("line", "plot-whisker")
	whiskers = whiskers[len(whiskers)-len(f.Conditions):] // the first is the legend's
	for i, c := range f.Conditions {
		top, bottom := rateAt(whiskers[i].number(t, "y1")), rateAt(whiskers[i].number(t, "y2"))
		tenth := math.Abs(rateAt(0) - rateAt(0.1))
		if math.Abs(top-c.High) > tenth || math.Abs(bottom-c.Low) > tenth {
			t.Errorf("%v V %s: whisker from %.5f to %.5f, interval %.5f to %.5f", c.Volts, c.Treatment, bottom, top, c.Low, c.High)
		}
	}
	// NIST/SEMATECH e-Handbook 7.2.4.1 has the exact limits of 4 in 20 as 0.071354
	// and 0.401029 (90 %): drawn, they must be read off again.
	iv := failrate.TwoSided(4, 20, 0.90)
	root = parse(t, FailureRate{Conditions: []failrate.Condition{{Volts: 3, Cycles: 20, Failures: 4, Estimate: 0.2, Low: iv.Low, High: iv.High}}}.SVG())
	rateAt = percentAxis(t, root)
	w := root.all("line", "plot-whisker")[0]
	if low, high := rateAt(w.number(t, "y2")), rateAt(w.number(t, "y1")); math.Abs(low-0.071354) > 2e-4 || math.Abs(high-0.401029) > 2e-4 {
		t.Errorf("4 of 20 is drawn from %.5f to %.5f", low, high)
	}
}

// percentAxis gives the rate at a height, from the chart's labels and grid.
func percentAxis(t *testing.T, root *element) func(y float64) float64 {
	t.Helper()
	var rates []float64
	for _, e := range root.all("text", "") {
		if text, ok := strings.CutSuffix(e.text, " %"); ok && e.attr["text-anchor"] == "end" {
			v, err := strconv.ParseFloat(text, 64)
			if err != nil {
				t.Fatal(err)
			}
			rates = append(rates, v/100)
		}
	}
	grid := root.all("line", "plot-grid")
	if len(rates) < 2 || len(grid) != len(rates) {
		t.Fatalf("%d labels, %d grid lines", len(rates), len(grid))
	}
	y0, y1 := grid[0].number(t, "y1"), grid[len(grid)-1].number(t, "y1")
	return func(y float64) float64 {
		return rates[0] + (y-y0)/(y1-y0)*(rates[len(rates)-1]-rates[0])
	}
}

func TestOneSidedBoundHasAnArrowAndNoMarker(t *testing.T) {
	for _, c := range []struct{ failures, markers, arrows int }{{0, 0, 1}, {5, 1, 0}, {50, 0, 1}} {
		root := parse(t, FailureRate{Conditions: []failrate.Condition{condition(3, "as found", c.failures, 50)}}.SVG())
		markers, arrows := len(root.all("path", "plot-marker")), len(root.all("path", "plot-bound"))
		if c.arrows == 1 {
			arrows-- // the legend's
		}
		if markers != c.markers || arrows != c.arrows {
			t.Errorf("%d of 50: %d markers and %d arrows, want %d and %d", c.failures, markers, arrows, c.markers, c.arrows)
		}
	}
}

func TestDecimationKeepsEveryExtreme(t *testing.T) {
	tr := verdict.Trace{StepSeconds: 1e-6}
	rng := rand.New(rand.NewPCG(1, 2))
	for range 100_000 {
		v := rng.Float64()
		tr.Min, tr.Max = append(tr.Min, -v), append(tr.Max, v)
	}
	tr.Max[54_321], tr.Min[12_345], tr.Max[500], tr.Min[500] = 7, -9, math.NaN(), math.NaN()
	columns := decimate(tr, scale{0, 0.1, 50, 350})
	if len(columns) > 300 {
		t.Errorf("%d columns for 300 pixels", len(columns))
	}
	low, high := 0.0, 0.0
	for _, c := range columns {
		if math.IsNaN(c.low) || math.IsNaN(c.high) {
			t.Fatal("one missing sample hides its neighbours")
		}
		low, high = min(low, c.low), max(high, c.high)
	}
	if low != -9 || high != 7 {
		t.Errorf("extremes %g and %g, want -9 and 7", low, high)
	}
}

func TestVerdictBarsAreToScale(t *testing.T) {
	v := sampleVerdicts()
	root := parse(t, v.SVG())
	bars := root.all("rect", "plot-bar")
	bars = bars[8:] // all eight verdicts are in the legend
	full := bars[0].number(t, "width") + 1
	// 200 of 207, the longest row, then the 112 of the second row.
	second := bars[1].number(t, "width") + 1
	if want := full * 112 / 200; math.Abs(second-want) > 0.1 {
		t.Errorf("112 cycles are %.2f px long, want %.2f", second, want)
	}
	if n := len(bars); n != 1+7+4 {
		t.Errorf("%d bars, want 12", n)
	}
}

func TestTicks(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		most      int
		want      string
	}{
		{0, 0.153, 5, "0 0.05 0.1 0.15"}, {0, 1, 5, "0 0.2 0.4 0.6 0.8 1"}, {-2.1, 3.9, 5, "-2 0 2"}, {0, 0.3, 3, "0 0.1 0.2 0.3"}, {0, 7e-9, 7, "0 1e-09 2e-09 3e-09 4e-09 5e-09 6e-09 7e-09"},
	} {
		var words []string
		for _, v := range ticks(c.low, c.high, step(c.high-c.low, c.most)) {
			words = append(words, strconv.FormatFloat(v, 'g', 4, 64))
		}
		if got := strings.Join(words, " "); got != c.want {
			t.Errorf("%g to %g: %s, want %s", c.low, c.high, got, c.want)
		}
	}
}

// In the night of 29 March 2026 clocks in Berlin go from 02:00 to 03:00.
func TestClockTicksWhenTheClocksChange(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	from := time.Date(2026, 3, 28, 22, 10, 0, 0, berlin)
	moments, step := clockTicks(from, from.Add(6*time.Hour), 6)
	var got []string
	for _, m := range moments {
		got = append(got, m.Format("15:04"))
	}
	if want := "23:00 00:00 01:00 03:00 04:00 05:00"; strings.Join(got, " ") != want || step != time.Hour {
		t.Errorf("%v, want %s", got, want)
	}
}

// RINGUP_PLOT_DIR=… writes the charts to look at.
func TestMain(m *testing.M) {
	if dir := os.Getenv("RINGUP_PLOT_DIR"); dir != "" {
		var page strings.Builder
		fmt.Fprintf(&page, "<!doctype html><meta charset=utf-8><meta name=color-scheme content='light dark'><style>%s</style>", CSS)
		for _, svg := range []string{sampleRates().SVG(), sampleWaveforms().SVG(), sampleVerdicts().SVG(), sampleNight().SVG(), sampleStarts().SVG()} {
			fmt.Fprintf(&page, "<p>%s</p>", svg)
		}
		if err := os.WriteFile(dir+"/plots.html", []byte(page.String()), 0o644); err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
	}
	os.Exit(m.Run())
}
