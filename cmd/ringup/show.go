package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"ringup/runner"
	"ringup/runner/logbook"
)

func newShow(io streams, o *options) *cobra.Command {
	c := &cobra.Command{
		Use: "show [RUN]", Short: "show what a run found", Args: cobra.MaximumNArgs(1),
		Example: "  ringup show\n  ringup show 12 --json",
		RunE: func(_ *cobra.Command, args []string) error {
			return withLogbook(*o, func(book *logbook.Book) error {
				run, err := runNumber(book, args)
				if err != nil {
					return err
				}
				s, err := runner.Summarise(book, run, 0)
				if err != nil {
					return err
				}
				if o.json {
					return printJSON(io.out, s)
				}
				return showRun(io, book, s)
			})
		},
	}
	jsonFlag(c, o)
	return c
}

// showRun prints a run's conditions, how the treatments compare, and its marks.
func showRun(io streams, book *logbook.Book, s runner.Summary) error {
	if err := printSummary(io.out, s); err != nil {
		return err
	}
	if err := printSuspects(io.out, runner.Suspects(s.Conditions)); err != nil {
		return err
	}
	marks, err := book.Marks(s.Run)
	if err != nil || len(marks) == 0 {
		return err
	}
	run, err := book.Run(s.Run)
	if err != nil {
		return err
	}
	fmt.Fprintln(io.out, "\nmarks")
	for _, m := range marks {
		fmt.Fprintf(io.out, "  %s  after cycle %d  %s: %s\n", m.At.In(run.Location()).Format("2006-01-02 15:04:05"), m.AfterCycle, m.Kind, m.Text)
	}
	return nil
}
