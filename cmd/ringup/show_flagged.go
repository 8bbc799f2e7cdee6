package main

import (
	"fmt"
	"io"

	"ringup/runner"
)

// mostFlagged is how many flagged cycles are shown; the export has them all.
const mostFlagged = 10

// printFlagged prints what is not so sure: cycles whose witnesses disagree, and what the records warn of.
func printFlagged(w io.Writer, s runner.Summary) {
	if n := len(s.Flagged); n > 0 {
		fmt.Fprintf(w, "\nwitnesses disagree in %d of %d cycles; look at each with: ringup export %d --waveform CYCLE | ringup judge -\n", n, s.Cycles, s.Run)
		for _, f := range s.Flagged[:min(n, mostFlagged)] {
			fmt.Fprintf(w, "  cycle %d, %s: %s\n", f.Cycle, f.Verdict, f.Reason)
		}
		if n > mostFlagged {
			fmt.Fprintf(w, "  and %d more: ringup export %d, column disagree\n", n-mostFlagged, s.Run)
		}
	}
	if len(s.Warned) == 0 {
		return
	}
	fmt.Fprintln(w, "\nwarnings of the records")
	for _, of := range s.Warned {
		fmt.Fprintf(w, "  %d of %d cycles, first in cycle %d: %s\n", of.Cycles, s.Cycles, of.First, of.Text)
	}
}
