package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"ringup/dashboards/plot"
	"ringup/runner/bench"
	"ringup/runner/verdict"
)

// print writes verdict, measures and warnings; alone, also how the file was read
// and a chart.
func (j *judged) print(w io.Writer, alone bool) {
	fmt.Fprintf(w, "%s: %s\n%s\n", j.file.Name, j.Verdict, j.Reason)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	if alone {
		fmt.Fprintln(t)
		fmt.Fprintf(t, "  read as\t%s\n", j.file.Layout)
		for _, c := range j.choices {
			fmt.Fprintf(t, "  %s\t%s, %s\n", c.Role, c.Channel, c.Why)
		}
		fmt.Fprintf(t, "  expected\t%s\n", j.expected())
		for _, m := range j.measures() {
			fmt.Fprintf(t, "  %s\t%s\n", m.name, m.text)
		}
	} else if facts := j.facts(); len(facts) > 0 {
		fmt.Fprintf(t, "  %s\n", strings.Join(facts, ", "))
	}
	t.Flush()
	for _, n := range j.notes {
		fmt.Fprintf(w, "  warning: %s\n", n)
	}
	if alone {
		fmt.Fprintln(w)
		j.draw(w)
	}
}

// expected says what was asked of the record, and who asked.
func (j *judged) expected() string {
	x := j.expect
	var parts []string
	add := func(format string, args ...any) { parts = append(parts, fmt.Sprintf(format, args...)) }
	if x.SetVolts > 0 {
		add("%.3g V", x.SetVolts)
	}
	switch {
	case x.ClockHertz > 0 && x.FrequencyWithin > 0:
		add("clock %s within %s", bench.Frequency.Format(x.ClockHertz), bench.Relative.Format(x.FrequencyWithin))
	default:
		add("clock at any frequency")
	}
	if x.AmplitudeMinVolts > 0 {
		add("amplitude at least %.3g V", x.AmplitudeMinVolts)
	}
	if x.StartWithinSeconds > 0 {
		add("start within %s", quantity(x.StartWithinSeconds, math.NaN(), "s"))
	} else {
		add("start any time in the record")
	}
	text := strings.Join(parts, ", ")
	if len(j.sources) > 0 {
		text += " (from " + strings.Join(j.sources, " and ") + ")"
	}
	return text
}

// measure is one line of what was measured.
type measure struct{ name, text string }

func (j *judged) measures() []measure {
	var all []measure
	add := func(name string, v, sd float64, unit string) {
		if !math.IsNaN(v) {
			all = append(all, measure{name, quantity(v, sd, unit)})
		}
	}
	nan := math.NaN()
	add("start time", j.StartSeconds, j.SD.StartSeconds, "s")
	add("frequency", j.FrequencyHertz, j.SD.FrequencyHertz, "Hz")
	add("amplitude", j.AmplitudeVolts, j.SD.AmplitudeVolts, "V")
	add("growth", j.GrowthSeconds, j.SD.GrowthSeconds, "s")
	add("stopped after", j.DropoutSeconds, j.SD.DropoutSeconds, "s")
	add("rail", j.RailVolts, j.SD.RailVolts, "V")
	add("rail rise", j.RailRiseSeconds, j.SD.RailRiseSeconds, "s")
	add("rail sag", j.RailSagVolts, j.SD.RailSagVolts, "V")
	add("noise", j.NoiseVolts, j.SD.NoiseVolts, "V")
	add("harmonics", 100*j.HarmonicRatio, 100*j.SD.HarmonicRatio, "%")
	add("overtone", 100*j.OvertoneRatio, 100*j.SD.OvertoneRatio, "%")
	if j.Lamp != "" {
		text := string(j.Lamp)
		if j.Lamp == verdict.Blinking && !math.IsNaN(j.LampHertz) {
			text += " at " + quantity(j.LampHertz, j.SD.LampHertz, "Hz")
		}
		all = append(all, measure{"lamp", text})
	}
	add("supply", j.SupplyVolts, nan, "V")
	add("current", j.SupplyAmps, nan, "A")
	return all
}

// facts are the measures that matter, for one line.
func (j *judged) facts() []string {
	var facts []string
	for _, m := range j.measures() {
		switch m.name {
		case "start time", "frequency", "amplitude", "growth", "stopped after", "rail", "lamp":
			facts = append(facts, m.name+" "+m.text)
		}
	}
	return facts
}

// quantity writes a measure with its standard uncertainty to two digits of that, or
// with four digits where none is known.
func quantity(v, sd float64, unit string) string {
	factor, prefix := 1.0, ""
	size := math.Abs(v)
	if sd > size && !math.IsInf(sd, 0) {
		size = sd
	}
	prefixes := []struct {
		factor float64
		prefix string
	}{{1e-9, "G"}, {1e-6, "M"}, {1e-3, "k"}, {1, ""}, {1e3, "m"}, {1e6, "µ"}, {1e9, "n"}}
	if unit == "%" {
		prefixes = prefixes[3:4]
	}
	for _, p := range prefixes {
		factor, prefix = p.factor, p.prefix
		if size*p.factor >= 0.9995 || size == 0 && p.prefix == "" {
			break
		}
	}
	v *= factor
	sd *= factor
	if !(sd > 1e-12*math.Abs(v)) || math.IsInf(sd, 0) { // none, or none worth writing
		decimals := 0
		if v != 0 {
			decimals = min(max(0, 3-int(math.Floor(math.Log10(math.Abs(v))))), 9)
		}
		return fmt.Sprintf("%.*f %s%s", decimals, v, prefix, unit)
	}
	decimals := min(max(0, 1-int(math.Floor(math.Log10(sd)))), 12)
	if math.Abs(v) < 0.5*math.Pow10(-decimals) {
		v = 0 // never a negative zero
	}
	return fmt.Sprintf("%.*f ± %.*f %s%s", decimals, v, decimals, sd, prefix, unit)
}

// chart is the record as a picture.
func (j *judged) chart(width float64) plot.Judged {
	rise := j.rise()
	moved := func(t verdict.Trace) verdict.Trace {
		t.StartSeconds -= rise
		return t
	}
	c := plot.Judged{
		Title: j.file.Name, Width: width, Verdict: j.Verdict, Reason: sentence(j.Reason), Facts: j.facts(),
		Rail: moved(withGaps(j.rail(), j.evidence.RailRecord)), Clock: moved(withGaps(j.clock(), j.evidence.ClockRecord)),
		ThresholdVolts: j.expect.RailFraction * j.expect.SetVolts, StartSeconds: j.StartSeconds, DropoutSeconds: j.DropoutSeconds,
		AllowedSeconds: j.expect.StartWithinSeconds, AmplitudeVolts: j.AmplitudeVolts, RequiredVolts: j.expect.AmplitudeMinVolts,
	}
	// A lamp recorded later, over seconds, does not belong on the same axis.
	if lamp := j.evidence.Lamp; len(lamp.Min) > 0 && lamp.StartSeconds == j.clock().StartSeconds {
		c.Lamp = moved(lamp)
	}
	if j.expect.StartWithinSeconds == 0 {
		c.AllowedSeconds = math.NaN()
	}
	return c
}
