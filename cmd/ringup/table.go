package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"
	"time"

	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/verdict"
)

var cautions = "Cautions\n  " + strings.Join(runner.Cautions, "\n  ")

// printConditions prints one line a condition; nothing if no cycle was done.
func printConditions(w io.Writer, conditions []failrate.Condition) error {
	if len(conditions) == 0 {
		return nil
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "treatment\tvolts\tcycles\tfailed\tfailure rate\t95 % interval\tmedian start\tverdicts")
	for _, c := range conditions {
		fmt.Fprintf(t, "%s\t%.2f V\t%d\t%d\t%s\t%s\t%s\t%s\n", c.Treatment, c.Volts, c.Cycles, c.Failures,
			percent(c.Estimate), interval(c), milliseconds(c.StartSecondsMedian), verdictCounts(c.Verdicts))
	}
	return t.Flush()
}

// interval writes the bounds of a rate; with nothing failed there is only an upper one.
func interval(c failrate.Condition) string {
	switch {
	case c.Cycles == 0:
		return "no cycles counted"
	case c.Failures == 0:
		return "below " + percent(c.High)
	case c.Failures == c.Cycles:
		return "above " + percent(c.Low)
	default:
		return percent(c.Low) + " to " + percent(c.High)
	}
}

// percent writes a ratio with two significant digits, or more where they mean something.
func percent(ratio float64) string {
	p := 100 * ratio
	switch {
	case math.IsNaN(p):
		return "unknown"
	case p == 0 || p >= 99.95:
		return fmt.Sprintf("%.0f %%", p)
	case p < 1:
		return fmt.Sprintf("%.2f %%", p)
	default:
		return fmt.Sprintf("%.1f %%", p)
	}
}

func milliseconds(s float64) string {
	if math.IsNaN(s) || math.IsInf(s, 0) {
		return "none"
	}
	return fmt.Sprintf("%.1f ms", 1e3*s)
}

// verdictCounts lists verdicts in the order of the table in the manual, leaving out those that did not occur.
func verdictCounts(counts map[string]int) string {
	var parts []string
	for _, v := range verdict.Verdicts {
		if n := counts[string(v)]; n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, v))
		}
	}
	return strings.Join(parts, ", ")
}

// spell writes a number of seconds as a person would.
func spell(seconds float64) string {
	d := time.Duration(seconds * float64(time.Second)).Round(time.Second)
	switch {
	case d >= time.Hour:
		return fmt.Sprintf("%d h %02d min", int(d.Hours()), int(d.Minutes())%60)
	case d >= time.Minute:
		return fmt.Sprintf("%d min %02d s", int(d.Minutes()), int(d.Seconds())%60)
	default:
		return fmt.Sprintf("%d s", int(d.Seconds()))
	}
}

// printSuspects prints how each treatment compares with the unit as found; nothing if there is none.
func printSuspects(w io.Writer, suspects []runner.Suspect) error {
	if len(suspects) == 0 {
		return nil
	}
	fmt.Fprintln(w, "\nagainst the unit as found, the surest change first (Fisher's exact test; p corrected by Holm for all of these)")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, s := range suspects {
		fmt.Fprintf(t, "  %s\t%.2f V\t%d of %d failed\tas found %d of %d\tp = %s\t%s\n", s.Treatment, s.Volts,
			s.Treated.Failures, s.Treated.Cycles, s.AsFound.Failures, s.AsFound.Cycles, probability(s.Adjusted), change(s))
	}
	return t.Flush()
}

// change says in a word what a treatment did.
func change(s runner.Suspect) string {
	switch {
	case !(s.Adjusted < 0.05):
		return "no sure change"
	case s.Treated.Estimate > s.AsFound.Estimate:
		return "worse"
	default:
		return "better"
	}
}

func probability(p float64) string {
	if p < 1e-4 {
		return fmt.Sprintf("%.0e", p)
	}
	return fmt.Sprintf("%.2g", p)
}
