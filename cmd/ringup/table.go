package main

import (
	"fmt"
	"io"
	"math"
	"strconv"
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
	fmt.Fprintln(t, "treatment\tvolts\tcycles\tfailed\tfailure rate\t95 % interval\tnot counted\tmedian start\tverdicts")
	for _, c := range conditions {
		fmt.Fprintf(t, "%s\t%s\t%d\t%d\t%s\t%s\t%d\t%s\t%s\n", c.Treatment, setVolts(c.Volts), c.Cycles, c.Failures,
			percent(c.Estimate), interval(c), c.NotCounted, milliseconds(c.StartSecondsMedian), verdictCounts(c.Verdicts))
	}
	return t.Flush()
}

// setVolts writes a set voltage with two decimals, or more where it has more.
func setVolts(v float64) string {
	text := strconv.FormatFloat(math.Round(v*1e6)/1e6, 'f', -1, 64)
	if _, decimals, _ := strings.Cut(text, "."); len(decimals) < 2 {
		text = strconv.FormatFloat(v, 'f', 2, 64)
	}
	return text + " V"
}

// interval writes the bounds of a rate; with nothing failed there is only an upper one.
func interval(c failrate.Condition) string {
	if c.Cycles == 0 {
		return "no cycles counted"
	}
	return c.Bounds(percent)
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

// printAnalysis prints what the order of the cycles and the voltages say; nothing where they say nothing.
func printAnalysis(w io.Writer, a runner.Analysis) {
	if len(a.Anytime) > 0 {
		fmt.Fprintln(w, "\nall voltages together, allowing for a script that ends by what it has seen")
		for _, r := range a.Anytime {
			fmt.Fprintf(w, "  %s: %s\n", r.Treatment, r.Sentence)
		}
	}
	if len(a.Nights) > 0 {
		fmt.Fprintln(w, "\nthrough the run")
		for _, n := range a.Nights {
			fmt.Fprintf(w, "  %s, %s: %s\n", n.Treatment, setVolts(n.Volts), n.Sentence)
		}
	}
	if len(a.Rests) > 0 {
		fmt.Fprintln(w, "\nrest before the start")
		for _, e := range a.Rests {
			fmt.Fprintf(w, "  %s, %s: %s\n", e.Treatment, setVolts(e.Volts), e.Sentence)
		}
	}
	printStarts(w, a.Starts)
	for _, t := range a.Thresholds {
		curve := ""
		if t.Curve != "" {
			curve = fmt.Sprintf(" (%s fit, profile limits)", t.Curve)
		}
		fmt.Fprintf(w, "\nfailure rate against voltage, %s%s\n  %s\n", t.Treatment, curve, strings.ReplaceAll(t.Sentence(), "\n", "\n  "))
	}
}

// printHunt prints how each treatment compares with the unit as found before and after it.
func printHunt(w io.Writer, h runner.Hunt) error {
	fmt.Fprintln(w, "\neach treatment against the unit as found just before and after it, the surest change first")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "  treatment\tfailed\tas found\tmedian start\tas found\tp\t")
	start := func(seconds *float64) string {
		if seconds == nil {
			return "none"
		}
		return milliseconds(*seconds)
	}
	for _, s := range h.List() {
		shown := "no change shown"
		if s.Shown {
			shown = "changed"
		}
		fmt.Fprintf(t, "  %s\t%d of %d\t%d of %d\t%s\t%s\t%s\t%s\n", s.Treatment, s.Treated.Failures, s.Treated.Cycles,
			s.AsFound.Failures, s.AsFound.Cycles, start(s.Treated.MedianStart), start(s.AsFound.MedianStart), probability(s.Adjusted), shown)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(w, "  p is the smaller of that of the failure rate (exact) and that of the start time (ranks; moved by more than a factor of %.3g),\n  corrected by Holm for all %d comparisons.\n",
		runner.LeastStartRatio, h.Comparisons)
	if len(h.NotCompared) > 0 {
		fmt.Fprintf(w, "  Not compared, since there are no cycles as found before or after at the same voltage: %s.\n", strings.Join(h.NotCompared, ", "))
	}
	fmt.Fprintf(w, "\n%s.\n", h.Sentence())
	return nil
}

func probability(p float64) string {
	return fmt.Sprintf("%.2g", p)
}
