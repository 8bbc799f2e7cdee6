package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/verdict"
	"ringup/runner/verdict/recording"
)

// overrides are the expectations among the flags; NaN is not given.
type overrides struct {
	volts, clock, startWithin, amplitudeMin, amplitudeFraction, frequencyWithin, railFraction float64

	interval float64 // 0: not given
}

// flags reads the quantities among the flags.
func (g *judging) flags() (overrides, error) {
	nan := math.NaN()
	v := overrides{nan, nan, nan, nan, nan, nan, nan, 0}
	var problems []error
	read := func(flag, text string, d bench.Dimension, low, high float64, into *float64) {
		if text == "" {
			return
		}
		n, err := d.Parse(text)
		if err == nil && !(n >= low && n <= high) {
			err = fmt.Errorf("%q, which is out of range", text)
		}
		if err != nil {
			problems = append(problems, fmt.Errorf("--%s: found %w; allowed: %s", flag, err, d.Allowed(low, high)))
			return
		}
		*into = n
	}
	read("volts", g.volts, bench.Voltage, 0.3, 60, &v.volts)
	read("clock", g.clock, bench.Frequency, 1, 10e9, &v.clock)
	read("start-within", g.startWithin, bench.Duration, 1e-9, 3600, &v.startWithin)
	read("frequency-within", g.frequencyWithin, bench.Relative, 1e-9, 1, &v.frequencyWithin)
	read("rail-fraction", g.railFraction, bench.Relative, 0.01, 0.99, &v.railFraction)
	read("interval", g.interval, bench.Duration, 1e-12, 3600, &v.interval)
	if strings.HasSuffix(strings.TrimSpace(g.amplitudeMin), "%") {
		read("amplitude-min", g.amplitudeMin, bench.Relative, 1e-4, 10, &v.amplitudeFraction)
	} else {
		read("amplitude-min", g.amplitudeMin, bench.Voltage, 1e-6, 60, &v.amplitudeMin)
	}
	return v, errors.Join(problems...)
}

// expectations puts together what a good start of a file looks like, and notes
// where it came from.
func (g *judging) expectations(j *judged, flags overrides) (recording.Supply, error) {
	x := &j.expect
	*x = verdict.Expect{RailFraction: 0.5, FrequencyWithin: 0.01}
	supply, said, err := j.file.Expect(x)
	if err != nil {
		return supply, err
	}
	if len(said) > 0 {
		j.sources = append(j.sources, "the file")
	}
	set := func(into *float64, v float64) {
		if !math.IsNaN(v) {
			*into = v
		}
	}
	set(&x.SetVolts, flags.volts)
	if x.SetVolts == 0 && slices.ContainsFunc(j.choices, func(c recording.Choice) bool { return c.Role == "rail" }) {
		if len(j.rail().Max) == 0 {
			return supply, fmt.Errorf("%s:2:1: found no rows of numbers below the names; expected a row for each sample", j.file.Name)
		}
		level := settled(j.rail())
		if !(level > 0.3) {
			return supply, fmt.Errorf("%s: found a rail that settles at %.3g V and no set voltage; expected the set voltage with --volts, like --volts 3.3V", j.file.Name, level)
		}
		x.SetVolts = level
		j.notes = append(j.notes, fmt.Sprintf("the set voltage is not said; the rail's own %.3g V is taken for it", level))
	}
	if b := g.bench; b != nil {
		j.sources = append(j.sources, b.Path)
		*x = runner.Expect(b, x.SetVolts, x.WatchSeconds)
		if b.Expect.AmplitudeMinFraction > 0 && x.SetVolts == 0 && math.IsNaN(flags.amplitudeMin) {
			j.notes = append(j.notes, "the amplitude is not checked: the bench file asks for a part of the set voltage, which is not known (--volts)")
		}
	}
	set(&x.ClockHertz, flags.clock)
	set(&x.StartWithinSeconds, flags.startWithin)
	set(&x.FrequencyWithin, flags.frequencyWithin)
	set(&x.RailFraction, flags.railFraction)
	set(&x.AmplitudeMinVolts, flags.amplitudeMin)
	x.UseAlias = x.UseAlias || g.alias
	if !math.IsNaN(flags.amplitudeFraction) {
		if x.SetVolts == 0 {
			return supply, fmt.Errorf("%s: found an amplitude in %% of the set volts, which are not known; expected --volts, or an amplitude in volts", j.file.Name)
		}
		x.AmplitudeMinVolts = flags.amplitudeFraction * x.SetVolts
	}
	if flags.given() {
		j.sources = append(j.sources, "the flags")
	}
	if x.WatchSeconds == 0 {
		x.WatchSeconds = j.end()
	}
	return supply, nil
}

// given says whether any flag states an expectation.
func (v overrides) given() bool {
	return slices.ContainsFunc([]float64{v.volts, v.clock, v.startWithin, v.amplitudeMin, v.amplitudeFraction, v.frequencyWithin, v.railFraction},
		func(v float64) bool { return !math.IsNaN(v) })
}

// settled is the mean of the last tenth of a trace.
func settled(t verdict.Trace) float64 {
	n := len(t.Min)
	from := n - max(1, n/10)
	sum := 0.0
	for i := max(0, from); i < n; i++ {
		sum += t.Min[i]/2 + t.Max[i]/2
	}
	return sum / float64(n-from)
}

// conclude judges a file that has been read.
func (g *judging) conclude(f *recording.File, flags overrides) (*judged, error) {
	j := &judged{file: f}
	var err error
	if j.evidence, j.choices, err = f.Evidence(g.rolesFor(f)); err != nil {
		return nil, err
	}
	for i, c := range j.choices {
		asked := map[string]string{"rail": g.roles.Rail, "clock": g.roles.Clock, "steady": g.roles.Steady, "lamp": g.roles.Lamp}[c.Role]
		if c.Why == recording.Asked && asked == "" {
			j.choices[i].Why = "by its number in the bench file"
		}
	}
	supply, err := g.expectations(j, flags)
	if err != nil {
		return nil, err
	}
	j.evidence.SupplyVolts, j.evidence.SupplyAmps = supply.Volts, supply.Amps
	j.Judgement = verdict.Judge(j.evidence, j.expect)
	j.notes = slices.Concat(f.Warnings, j.notes, j.Judgement.Warnings)
	return j, nil
}

// chartBins is as fine as any chart shows.
const chartBins = 1500

// rail, clock and lamp are the evidence for a chart.
func (j *judged) rail() verdict.Trace  { return either(j.evidence.RailRecord, j.evidence.Rail) }
func (j *judged) clock() verdict.Trace { return either(j.evidence.ClockRecord, j.evidence.Clock) }

func either(r verdict.Record, t verdict.Trace) verdict.Trace {
	if r.Len() > 0 {
		return r.Peaks(chartBins)
	}
	return t
}

// withGaps leaves out of a chart's trace what the record behind it never took.
func withGaps(t verdict.Trace, r verdict.Record) verdict.Trace {
	if len(r.Gaps) == 0 {
		return t
	}
	t.Min, t.Max = slices.Clone(t.Min), slices.Clone(t.Max)
	per := t.StepSeconds / r.StepSeconds
	for _, g := range r.Gaps {
		from, to := int(float64(g.From)/per), int(math.Ceil(float64(g.To)/per))
		for i := from; i < min(to, len(t.Min)); i++ {
			t.Min[i], t.Max[i] = math.NaN(), math.NaN()
		}
	}
	return t
}

// end is when the record of the clock ends, counted from its trigger.
func (j *judged) end() float64 {
	t := j.clock()
	return t.StartSeconds + float64(len(t.Min))*t.StepSeconds
}

// rise is when the rail crossed its threshold, in the time of the record; 0
// without a rail, or if it never did.
func (j *judged) rise() float64 {
	level := j.expect.RailFraction * j.expect.SetVolts
	t := j.rail()
	if r := j.evidence.RailRecord; r.Len() > 0 {
		for i := 1; i < r.Len(); i++ {
			if a, b := r.At(i-1), r.At(i); a < level && b >= level {
				return r.StartSeconds + (float64(i-1)+(level-a)/(b-a))*r.StepSeconds
			}
		}
		return 0
	}
	for i := 1; i < len(t.Max); i++ {
		if a, b := t.Max[i-1], t.Max[i]; a < level && b >= level {
			return t.StartSeconds + (float64(i)+(level-a)/(b-a))*t.StepSeconds
		}
	}
	return 0
}
