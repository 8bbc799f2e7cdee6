package plot

import (
	"math"
	"strings"
	"testing"

	"ringup/runner/verdict"
)

// sampleJudged is the second panel of sampleWaveforms, judged one way or another.
func sampleJudged(v verdict.Verdict) Judged {
	p := sampleWaveforms().Panels[1]
	j := Judged{
		Title: "a/long/path/to/a record of the <clock>.csv", Verdict: v, Reason: "The clock reached 90 % of 900 mV after 11.0 ms, allowed 65.0 ms",
		Facts: []string{"start time 11.04 ± 0.12 ms", "frequency 7.372801 ± 0.000012 MHz", "amplitude 901 ± 3 mV", "growth 1.20 ± 0.03 ms", "rail 2.400 ± 0.004 V"},
		Rail:  p.Rail, Clock: p.Clock, ThresholdVolts: 1.2, StartSeconds: 11e-3, AllowedSeconds: 65e-3,
		DropoutSeconds: math.NaN(), AmplitudeVolts: 0.9, RequiredVolts: 0.5,
	}
	switch v {
	case verdict.Late: // close together
		j.AllowedSeconds = 10.5e-3
	case verdict.Unpowered:
		j.Rail, j.Clock = verdict.Trace{}, verdict.Trace{}
		for _, t := range []*verdict.Trace{&j.Rail, &j.Clock} {
			*t = p.Rail
			t.Min = make([]float64, len(p.Rail.Min))
			t.Max = t.Min
		}
		j.StartSeconds, j.AmplitudeVolts = math.NaN(), math.NaN()
	case verdict.DroppedOut:
		j.DropoutSeconds = 62e-3
		j.Lamp = p.Rail
	}
	return j
}

func TestJudged(t *testing.T) {
	j := sampleJudged(verdict.Started)
	root := parse(t, j.SVG())
	var texts []string
	for _, e := range root.all("text", "") {
		texts = append(texts, e.text)
	}
	said := strings.Join(texts, "\n")
	for _, want := range []string{"started", "started 11 ms", "allowed 65 ms", "threshold 1.2 V", "required ±0.5 V", "90 %", "frequency 7.372801 ± 0.000012 MHz", "time since the rail rose, ms"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q is not in the chart, which says\n%s", want, said)
		}
	}
	if n := len(root.all("path", "plot-band")); n != 2 {
		t.Errorf("%d bands, want rail and clock", n)
	}
	// The crossing stands on the line of the start, one on each side of the envelope.
	circles := root.all("circle", "plot-crossing")
	if len(circles) != 2 || circles[0].attr["cx"] != circles[1].attr["cx"] || circles[0].attr["cy"] == circles[1].attr["cy"] {
		t.Fatalf("crossings %v", circles)
	}
	line := false
	for _, l := range root.all("line", "plot-limit") {
		line = line || l.attr["x1"] == circles[0].attr["cx"] && l.attr["x2"] == l.attr["x1"]
	}
	if !line {
		t.Error("no line where the clock had started")
	}

	j.Rail = verdict.Trace{}
	if svg := j.SVG(); !strings.Contains(svg, "time since the trigger, ms") || len(parse(t, svg).all("path", "plot-band")) != 1 {
		t.Error("a record without a rail is not timed from its trigger")
	}
}
