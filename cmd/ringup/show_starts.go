package main

import (
	"fmt"
	"io"
	"text/tabwriter"

	"ringup/runner"
	"ringup/runner/failrate"
)

// printStarts prints within which time how many of the starts have come; nothing without start times.
func printStarts(w io.Writer, starts []runner.StartTimes) {
	if len(starts) == 0 {
		return
	}
	fmt.Fprintln(w, "\ntime within which the starts have come (Kaplan-Meier, 95 % log-log limits; a cycle without a start counts as longer than its window)")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprint(t, "  treatment\tvolts\twindow")
	for _, at := range starts[0].Within {
		fmt.Fprintf(t, "\t%s", failrate.Percent(at.Share))
	}
	fmt.Fprintln(t)
	for _, s := range starts {
		fmt.Fprintf(t, "  %s\t%s\t%s", s.Treatment, setVolts(s.Volts), milliseconds(s.WindowSeconds))
		for _, at := range s.Within {
			fmt.Fprintf(t, "\t%s", within(at))
		}
		fmt.Fprintln(t)
	}
	_ = t.Flush()
}

// within writes one such time with its limits.
func within(at runner.StartWithin) string {
	switch {
	case at.Seconds == nil || at.Low == nil:
		return "not reached within the window"
	case at.High == nil:
		return fmt.Sprintf("%s (%.1f or more)", milliseconds(*at.Seconds), 1e3**at.Low)
	}
	return fmt.Sprintf("%s (%.1f to %.1f)", milliseconds(*at.Seconds), 1e3**at.Low, 1e3**at.High)
}
