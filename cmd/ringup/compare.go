package main

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
)

// compareFlags are what is compared, as typed. Each may be given twice.
type compareFlags struct {
	treatments, units, volts []string
	confidence               string
}

func newCompare(s streams, o *options) *cobra.Command {
	var f compareFlags
	c := &cobra.Command{
		Use: "compare [RUN] [RUN]", Short: "are two runs, treatments, units or voltages different", Args: cobra.MaximumNArgs(2),
		Long: `Compares the counted cycles of two sides: how often they fail, how long they take to start
and how fast the clock grows. The first side is the base.

RUN, --treatment, --unit and --volts may each be given twice: first for the base, then for
what is compared with it. Given once, it holds for both sides. Without a RUN it is the last
run; with --unit, every run of that unit.

Only voltages that both sides have are compared, each with itself; where the two sides are
two voltages they are compared as they are.`,
		Example: "  ringup compare 1 3\n  ringup compare last --treatment \"as found\" --treatment \"C7 = 12 pF\"\n  ringup compare 1 --volts 2.4 --volts 2.2 --json",
		RunE: func(_ *cobra.Command, args []string) error {
			return withLogbook(*o, func(book *logbook.Book) error {
				confidence, err := failrate.ParseConfidence(f.confidence)
				if err != nil {
					return fmt.Errorf("--confidence: %w", err)
				}
				base, other, err := f.sides(book, args)
				if err != nil {
					return err
				}
				c, err := compareSides(base, other, confidence)
				if err != nil {
					return err
				}
				answer := comparisonJSON(c, other.notCounted)
				answer.Base.NotCounted = base.notCounted
				if o.json {
					return printJSON(s.out, answer)
				}
				for _, each := range []*side{base, other} {
					if len(each.treatments) > 1 {
						fmt.Fprintf(s.err, "%s is under several treatments taken together (%s); --treatment chooses one\n", each.name, strings.Join(each.treatments, ", "))
					}
				}
				if err := printComparison(s.out, c, answer); err != nil {
					return err
				}
				if base.run == other.run && base.treatment != other.treatment {
					fmt.Fprintln(s.out, "\nAll cycles of the run are taken here. ringup show holds each treatment against the cycles just before and after it.")
				}
				return nil
			})
		},
	}
	jsonFlag(c, o)
	c.Flags().StringArrayVar(&f.treatments, "treatment", nil, "`treatment` of both sides, or given twice: of each")
	c.Flags().StringArrayVar(&f.units, "unit", nil, "`unit` of both sides, or given twice: of each")
	c.Flags().StringArrayVar(&f.volts, "volts", nil, "`voltage` of both sides, or given twice: of each")
	c.Flags().StringVar(&f.confidence, "confidence", "95%", "`confidence` of the intervals")
	return c
}

// side is one of the two that are compared.
type side struct {
	run             int64 // 0: every run of the unit
	treatment, unit string
	volts           float64 // NaN: every voltage

	name       string
	cycles     []failrate.Cycle
	notCounted int
	treatments []string
}

// sides reads both sides from the logbook.
func (f *compareFlags) sides(book *logbook.Book, args []string) (base, other *side, err error) {
	all := [2]*side{{volts: math.NaN()}, {volts: math.NaN()}}
	twice := false
	each := func(what string, given []string, set func(*side, string) error) error {
		if len(given) > 2 {
			return usage{fmt.Errorf("%s is given %d times; two sides are compared", what, len(given))}
		}
		twice = twice || len(given) == 2 && given[0] != given[1]
		for i, s := range all {
			if len(given) > 0 {
				if err := set(s, given[min(i, len(given)-1)]); err != nil {
					return err
				}
			}
		}
		return nil
	}
	if len(args) == 0 && len(f.units) == 0 {
		args = []string{"last"}
	}
	err = cmp.Or(
		each("RUN", args, func(s *side, text string) (err error) { s.run, err = runNumber(book, []string{text}); return err }),
		each("--treatment", f.treatments, func(s *side, text string) error { s.treatment = text; return nil }),
		each("--unit", f.units, func(s *side, text string) error { s.unit = text; return nil }),
		each("--volts", f.volts, func(s *side, text string) (err error) { s.volts, err = parseVolts(text); return err }),
	)
	if err != nil {
		return nil, nil, err
	}
	if !twice {
		return nil, nil, usage{errors.New("both sides are the same; give a RUN, --treatment, --unit or --volts twice, first the base; see ringup compare --help")}
	}
	for _, s := range all {
		if err := s.read(book); err != nil {
			return nil, nil, err
		}
	}
	all[0].name, all[1].name = all[0].called(all[1]), all[1].called(all[0])
	for _, s := range all {
		if len(s.cycles) == 0 {
			return nil, nil, usage{fmt.Errorf("no counted cycle of %s (%d not counted); see ringup runs, and ringup show for the treatments and voltages of a run", s.asked(), s.notCounted)}
		}
	}
	return all[0], all[1], nil
}

// parseVolts reads "2.4", "2.4V" or "2.4 V".
func parseVolts(text string) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), "V")), 64)
	if err != nil || !(v > 0) || math.IsInf(v, 0) {
		return 0, usage{fmt.Errorf("--volts %q: it is a voltage above 0 V, as 2.4", text)}
	}
	return v, nil
}

// read gathers the side's cycles.
func (s *side) read(book *logbook.Book) error {
	runs, err := book.Runs()
	if err != nil {
		return err
	}
	slices.Reverse(runs) // the oldest first
	for _, r := range runs {
		if s.run != 0 && r.ID != s.run || s.unit != "" && r.Unit != s.unit {
			continue
		}
		err := book.EachCycle(r.ID, func(c logbook.Cycle) error {
			if s.treatment != "" && c.Treatment != s.treatment || !math.IsNaN(s.volts) && math.Abs(c.SetVolts-s.volts) > 1e-6 {
				return nil
			}
			counted, ok := runner.CountedCycle(c)
			if !ok {
				s.notCounted++
				return nil
			}
			s.cycles = append(s.cycles, counted)
			if !slices.Contains(s.treatments, c.Treatment) {
				s.treatments = append(s.treatments, c.Treatment)
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// called names the side by what tells it from the other.
func (s *side) called(other *side) string {
	var parts []string
	switch {
	case s.treatment != other.treatment:
		parts = append(parts, cmp.Or(s.treatment, "any treatment"))
	case s.run != other.run && len(s.treatments) == 1 && s.treatment == "" && !slices.Equal(s.treatments, other.treatments):
		parts = append(parts, s.treatments[0])
	}
	if s.unit != other.unit {
		parts = append(parts, cmp.Or(s.unit, "any unit"))
	}
	if s.run != other.run {
		parts = append(parts, fmt.Sprintf("run %d", s.run))
	}
	if s.volts != other.volts && !(math.IsNaN(s.volts) && math.IsNaN(other.volts)) {
		parts = append(parts, setVolts(s.volts))
	}
	return strings.Join(parts, ", ")
}

// asked says all that was asked of the side.
func (s *side) asked() string {
	var parts []string
	if s.run != 0 {
		parts = append(parts, fmt.Sprintf("run %d", s.run))
	}
	if s.unit != "" {
		parts = append(parts, fmt.Sprintf("unit %q", s.unit))
	}
	if s.treatment != "" {
		parts = append(parts, fmt.Sprintf("treatment %q", s.treatment))
	}
	if !math.IsNaN(s.volts) {
		parts = append(parts, setVolts(s.volts))
	}
	return strings.Join(parts, ", ")
}

// compareSides compares; the sides' own voltages, if they differ, are what is compared.
func compareSides(base, other *side, confidence float64) (failrate.Comparison, error) {
	if base.volts != other.volts && !math.IsNaN(base.volts) && !math.IsNaN(other.volts) {
		for _, s := range []*side{base, other} {
			for i := range s.cycles {
				s.cycles[i].Volts = math.NaN()
			}
		}
	}
	return failrate.Compare(failrate.Sample{Name: other.name, Cycles: other.cycles}, failrate.Sample{Name: base.name, Cycles: base.cycles}, confidence)
}

// printComparison prints both sides, the finding as a sentence, and the numbers behind it.
func printComparison(w io.Writer, c failrate.Comparison, a comparisonAnswer) error {
	fmt.Fprintf(w, "%s against %s%s\n\n", c.NameA, c.NameB, comparedAt(c))
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "\tcycles\tfailed\tfailure rate\t%s interval\tnot counted\tmedian start\n", failrate.Percent(c.Difference.Confidence))
	for _, s := range []comparisonSide{a.Other, a.Base} {
		start := "none"
		if s.MedianStart != nil {
			start = milliseconds(*s.MedianStart)
		}
		iv := failrate.Condition{Cycles: s.Cycles, Failures: s.Failures, Low: s.Low, High: s.High, OneSided: s.Failures == 0 || s.Failures == s.Cycles}
		fmt.Fprintf(t, "%s\t%d\t%d\t%s\t%s\t%d\t%s\n", s.Name, s.Cycles, s.Failures, percent(*s.Estimate), interval(iv), s.NotCounted, start)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(w, "\n%s.\n", c.Sentence())
	if a.VisibleRate != nil {
		fmt.Fprintf(w, "A failure rate of %s instead of %s would have been seen four times in five.\n", failrate.Percent(*a.VisibleRate), failrate.Percent(c.B.Rate()))
	}
	fmt.Fprintln(w, "\nin numbers")
	t = tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	d := c.Difference
	fmt.Fprintf(t, "  difference of the rates\t%+.3g, %+.3g to %+.3g points\tNewcombe\n", 100*d.Estimate, 100*d.Low, 100*d.High)
	if c.Comparable {
		fmt.Fprintf(t, "  odds ratio\t%s, %s to %s\tconditional, exact limits\n", ratio(c.OddsRatio.Estimate), ratio(c.OddsRatio.Low), ratio(c.OddsRatio.High))
	}
	within := "Fisher's exact test"
	if len(c.Volts) > 1 {
		within = "exact, within each voltage"
	}
	fmt.Fprintf(t, "  p of the failure rate\t%s\t%s\n", probability(c.P), within)
	if c.Boschloo != nil && c.Barnard != nil {
		fmt.Fprintf(t, "  \t%s, %s\tBoschloo's, Barnard's exact test\n", probability(c.Boschloo.TwoSided), probability(c.Barnard.TwoSided))
	}
	if h := c.Stratified.Homogeneity; c.Comparable && h.Degrees > 0 {
		fmt.Fprintf(t, "  p that voltages agree\t%s\tBreslow-Day-Tarone\n", probability(h.TaroneP))
	}
	for _, time := range []struct {
		name string
		t    failrate.TimeComparison
	}{{"start time", c.Start}, {"growth time constant", c.Growth}} {
		if !time.t.Known {
			continue
		}
		fmt.Fprintf(t, "  factor on the %s\t%s, %s to %s\tHodges-Lehmann; beyond the window counts as longest\n", time.name, ratio(time.t.Ratio.Estimate), ratio(time.t.Ratio.Low), ratio(time.t.Ratio.High))
		p, test := probability(time.t.P), "Mann-Whitney"
		if len(c.Volts) > 1 {
			test += ", within each voltage"
		}
		if time.t.LogRankSet {
			p, test = p+", "+probability(time.t.LogRank.P), test+"; log-rank"
		}
		fmt.Fprintf(t, "  p of the %s\t%s\t%s\n", time.name, p, test)
	}
	return t.Flush()
}

// comparedAt says at which voltages, and what is left out.
func comparedAt(c failrate.Comparison) string {
	var at []string
	for _, v := range c.Volts {
		if !math.IsNaN(v) {
			at = append(at, setVolts(v))
		}
	}
	text := ""
	if len(at) > 0 {
		text = ", at " + strings.Join(at, ", ")
	}
	if c.LeftOut > 0 {
		text += fmt.Sprintf("; %d cycles at voltages that only one side has are left out", c.LeftOut)
	}
	return text
}

// ratio writes a factor with three digits.
func ratio(v float64) string {
	switch {
	case math.IsNaN(v):
		return "unknown"
	case math.IsInf(v, 1):
		return "unbounded"
	}
	return strconv.FormatFloat(v, 'g', 3, 64)
}
