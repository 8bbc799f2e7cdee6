package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"ringup/runner"
	"ringup/runner/logbook"
)

func newShow(io streams, o *options) *cobra.Command {
	c := &cobra.Command{
		Use: "show [RUN]", Short: "show what a run found", Args: cobra.MaximumNArgs(1),
		Long: `Shows a run's failure rates with their intervals, whether they drifted through the run and go
with the rest, how long starts take, the voltage at which the unit starts to fail, how the
treatments compare, and the marks.

Every number follows from the cycles that ringup export writes. A rate's interval is
Clopper and Pearson's at 95 %; where nothing failed it is the one-sided bound.`,
		Example: "  ringup show\n  ringup show 12 --json",
		RunE: func(_ *cobra.Command, args []string) error {
			return withLogbook(*o, func(book *logbook.Book) error {
				run, err := runNumber(book, args)
				if err != nil {
					return err
				}
				a, err := runner.AnalyseRun(book, run)
				if err != nil {
					return err
				}
				if o.json {
					return printJSON(io.out, a)
				}
				return showRun(io, book, a)
			})
		},
	}
	jsonFlag(c, o)
	return c
}

// showRun prints what a run found, for a person.
func showRun(io streams, book *logbook.Book, a runner.Analysis) error {
	if err := printSummary(io.out, a.Summary); err != nil {
		return err
	}
	printAnalysis(io.out, a)
	printFlagged(io.out, a.Summary)
	if a.Hunt != nil {
		if err := printHunt(io.out, *a.Hunt); err != nil {
			return err
		}
	}
	run, err := book.Run(a.Run)
	if err != nil {
		return err
	}
	if n := run.WaveformsDropped; n > 0 {
		fmt.Fprintf(io.out, "\nthe waveforms of %d cycles were not kept, to stay within the logbook's %d MiB: samples of success go first, the oldest before the others\n",
			n, logbook.DefaultWaveformBudget>>20)
	}
	marks, err := book.Marks(a.Run)
	if err != nil || len(marks) == 0 {
		return err
	}
	fmt.Fprintln(io.out, "\nmarks")
	for _, m := range marks {
		fmt.Fprintf(io.out, "  %s  after cycle %d  %s: %s\n", m.At.In(run.Location()).Format("2006-01-02 15:04:05"), m.AfterCycle, m.Kind, strings.ReplaceAll(m.Text, "\n", " "))
	}
	return nil
}
