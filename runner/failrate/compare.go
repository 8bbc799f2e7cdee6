package failrate

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Cycle is one counted cycle as comparisons see it.
type Cycle struct {
	Treatment     string
	Volts         float64
	Failed        bool
	StartSeconds  float64 // NaN = did not start within the window
	GrowthSeconds float64 // time constant of the envelope; NaN = not measured
	WatchSeconds  float64 // the window; 0 = not known
	RestSeconds   float64 // off before the start; 0 = not known
}

// Sample is a set of counted cycles to be compared with another.
type Sample struct {
	Name   string
	Cycles []Cycle
}

// Comparison says how A differs from B, at the voltages at which both have
// counted cycles.
type Comparison struct {
	NameA, NameB string
	Volts        []float64 // compared, the highest first
	LeftOut      int       // counted cycles at other voltages

	A, B         Counts
	RateA, RateB Interval
	Difference   Interval // rate of A less rate of B, Newcombe

	// P is the p-value to read for the failure rate: exact, within each voltage.
	// At a single voltage it is Fisher's.
	P float64

	// Boschloo and Barnard are the unconditional tests of the pooled counts; nil
	// above 10,000 cycles a side, where they say what P says and take long.
	Boschloo, Barnard *Unconditional

	// OddsRatio is the conditional estimate with exact limits. It and Stratified
	// are empty, Comparable false, where no or every cycle failed.
	Comparable bool
	OddsRatio  Interval
	Stratified Stratified

	Start, Growth TimeComparison
}

// longUnconditional is the cycles a side above which [Compare] leaves out the
// unconditional tests.
const longUnconditional = 10_000

// Compare compares A with B, the base. It refuses when they have no voltage in
// common.
func Compare(a, b Sample, confidence float64) (Comparison, error) {
	if err := checkConfidence(confidence); err != nil {
		return Comparison{}, err
	}
	for _, s := range []Sample{a, b} {
		if len(s.Cycles) == 0 {
			return Comparison{}, refuse("cycles of "+s.Name, 0, "a comparison needs counted cycles on both sides; run some first")
		}
		if err := checkCycles(s.Cycles); err != nil {
			return Comparison{}, err
		}
	}
	levelsA, levelsB := byVolts(a.Cycles), byVolts(b.Cycles)
	c := Comparison{NameA: a.Name, NameB: b.Name, LeftOut: len(a.Cycles) + len(b.Cycles), P: 1}
	var common []sides
	for v, cyclesA := range levelsA {
		if cyclesB := levelsB[v]; len(cyclesB) > 0 {
			common = append(common, pairOf(v, cyclesA, cyclesB))
			c.LeftOut -= len(cyclesA) + len(cyclesB)
		}
	}
	if len(common) == 0 {
		return Comparison{}, refuse("voltages", fmt.Sprintf("%s of %s, %s of %s", voltList(levelsA), a.Name, voltList(levelsB), b.Name),
			"they have none in common; run both at the same voltages")
	}
	slices.SortFunc(common, sidesFromHighest)
	var strata []Stratum
	var starts, growths []timeStratum
	for _, s := range common {
		c.Volts = append(c.Volts, s.volts)
		strata = append(strata, s.stratum())
		starts, growths = append(starts, s.starts()), append(growths, s.growths())
		c.A, c.B = c.A.add(strata[len(strata)-1].A), c.B.add(strata[len(strata)-1].B)
	}
	c.RateA, c.RateB = ClopperPearson(c.A.Failures, c.A.Cycles, confidence), ClopperPearson(c.B.Failures, c.B.Cycles, confidence)
	var err error
	if c.Difference, err = Newcombe(c.A, c.B, confidence); err != nil {
		return Comparison{}, err
	}
	// Where nothing differs (none or all failed) the strata say nothing, P stays 1.
	if c.Stratified, err = StratifiedTest(strata, confidence); err == nil {
		c.Comparable, c.P, c.OddsRatio = true, c.Stratified.Exact, c.Stratified.ExactOddsRatio
	}
	if max(c.A.Cycles, c.B.Cycles) <= longUnconditional {
		boschloo, err := Boschloo(c.A, c.B)
		if err != nil {
			return Comparison{}, err
		}
		barnard, err := Barnard(c.A, c.B)
		if err != nil {
			return Comparison{}, err
		}
		c.Boschloo, c.Barnard = &boschloo, &barnard
	}
	c.Start, c.Growth = compareTimes(starts, confidence), compareTimes(growths, confidence)
	return c, nil
}

// checkCycles refuses times that none can be.
func checkCycles(cycles []Cycle) error {
	for i, c := range cycles {
		for _, v := range []float64{c.StartSeconds, c.GrowthSeconds} {
			if v <= 0 || math.IsInf(v, 0) {
				return refuse("time", fmt.Sprintf("%v s in cycle %d of %d", v, i+1, len(cycles)), "a start time or growth constant lies above 0 s; NaN is one not measured")
			}
		}
	}
	return nil
}

// sides holds the cycles of both at one voltage.
type sides struct {
	volts float64
	a, b  []Cycle
}

func pairOf(rounded float64, a, b []Cycle) sides {
	return sides{key{volts: rounded}.reported(), a, b}
}

func sidesFromHighest(x, y sides) int { return cmp.Compare(y.volts, x.volts) }

func byVolts(cycles []Cycle) map[float64][]Cycle {
	levels := map[float64][]Cycle{}
	for _, c := range cycles {
		v := roundVolts(c.Volts)
		levels[v] = append(levels[v], c)
	}
	return levels
}

func voltList(levels map[float64][]Cycle) string {
	var names []string
	for v := range levels {
		names = append(names, significant(key{volts: v}.reported(), 4)+" V")
	}
	slices.Sort(names)
	return List(names)
}

func countsOf(cycles []Cycle) (c Counts) {
	for _, cycle := range cycles {
		c.Cycles++
		if cycle.Failed {
			c.Failures++
		}
	}
	return c
}

func (s sides) stratum() Stratum {
	return Stratum{significant(s.volts, 4) + " V", countsOf(s.a), countsOf(s.b)}
}

func (s sides) starts() timeStratum { return timeStratum{startTimes(s.a), startTimes(s.b)} }

func (s sides) growths() timeStratum { return timeStratum{growthTimes(s.a), growthTimes(s.b)} }

// startTimes returns the start times, +Inf for cycles that did not start.
func startTimes(cycles []Cycle) []float64 {
	var times []float64
	for _, c := range cycles {
		if math.IsNaN(c.StartSeconds) {
			times = append(times, math.Inf(1))
		} else {
			times = append(times, c.StartSeconds)
		}
	}
	return times
}

// growthTimes returns the growth constants: +Inf where nothing grew, nothing
// where a clock started and its growth was not measured.
func growthTimes(cycles []Cycle) []float64 {
	var times []float64
	measured := false
	for _, c := range cycles {
		switch {
		case !math.IsNaN(c.GrowthSeconds):
			times = append(times, c.GrowthSeconds)
			measured = true
		case math.IsNaN(c.StartSeconds):
			times = append(times, math.Inf(1))
		}
	}
	if !measured { // perhaps nothing measures growth here
		return nil
	}
	return times
}

// Sentence says the comparison in words: effect size first, p-value second,
// conclusion last.
func (c Comparison) Sentence() string {
	alpha := 1 - c.Difference.Confidence
	text := fmt.Sprintf("%s: %s fail against %s (%s); %s, %s: %s", c.NameA, Percent(c.A.Rate()), Percent(c.B.Rate()), c.NameB,
		points(c.Difference), pValue(c.P), changeWords(c.P, alpha, c.A.Rate() > c.B.Rate(), "fails more often", "fails more seldom", "no change of the failure rate shown"))
	for _, t := range []struct {
		name string
		time TimeComparison
	}{{"start time", c.Start}, {"growth time constant", c.Growth}} {
		if t.time.Known {
			text += "; " + t.time.words(t.name, alpha)
		}
	}
	if c.Comparable && c.Stratified.Homogeneity.Degrees > 0 && c.Stratified.Homogeneity.TaroneP < alpha {
		text += fmt.Sprintf("; the difference is not the same at every voltage (%s): look at each", pValue(c.Stratified.Homogeneity.TaroneP))
	}
	return text
}

func changeWords(p, alpha float64, up bool, more, less, none string) string {
	switch {
	case p >= alpha:
		return none
	case up:
		return more
	}
	return less
}

// points words a difference of rates: "38 percentage points more, 24 to 53 with 95 %
// confidence".
func points(d Interval) string {
	sign := func(x float64) string { return significant(100*math.Abs(x), 2) }
	direction := "more"
	if d.Estimate < 0 {
		direction, d.Estimate, d.Low, d.High = "less", -d.Estimate, -d.High, -d.Low
	}
	if d.Estimate == 0 {
		return fmt.Sprintf("no difference, at most %s percentage points either way with %s confidence", sign(max(-d.Low, d.High)), Percent(d.Confidence))
	}
	low := sign(d.Low)
	if d.Low < 0 {
		low = "-" + low
	}
	return fmt.Sprintf("%s percentage points %s, %s to %s with %s confidence", sign(d.Estimate), direction, low, sign(d.High), Percent(d.Confidence))
}

// words words a comparison of times.
func (t TimeComparison) words(name string, alpha float64) string {
	size := fmt.Sprintf("%s against %s", milliseconds(t.MedianA), milliseconds(t.MedianB))
	if r := t.Ratio; r.Estimate > 0 && !math.IsInf(r.Estimate, 1) {
		high := significant(r.High, 3)
		if math.IsInf(r.High, 1) {
			high = "beyond the window"
		}
		sure := fmt.Sprintf("%s to %s", significant(r.Low, 3), high)
		if r.Low == 0 && math.IsInf(r.High, 1) {
			sure = "no limits can be given"
		}
		size += fmt.Sprintf(", %s times (%s)", significant(r.Estimate, 3), sure)
	}
	return fmt.Sprintf("%s %s, %s: %s", name, size, pValue(t.P), changeWords(t.P, alpha, t.later(), "longer", "shorter", "no change shown"))
}

// later reports whether A's times are the longer ones.
func (t TimeComparison) later() bool {
	if t.Ratio.Estimate != 1 {
		return t.Ratio.Estimate > 1
	}
	return t.MedianA > t.MedianB
}
