package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"ringup/dashboards/report"
	"ringup/runner/bench"
	"ringup/runner/logbook"
)

func newReport(s streams, o *options) *cobra.Command {
	var path string
	c := &cobra.Command{
		Use: "report [RUN]", Short: "write the printable report of a run", Args: cobra.MaximumNArgs(1),
		Long:    "Writes one HTML file that needs nothing else: open it in a browser, print it, keep it.",
		Example: "  ringup report last -o night.html\n  ringup report 12 > run12.html",
		RunE: func(_ *cobra.Command, args []string) error {
			return withLogbook(*o, func(book *logbook.Book) error {
				run, err := runNumber(book, args)
				if err != nil {
					return err
				}
				if path == "" {
					return printable(s.out, book, run, report.Options{})
				}
				if err := writeReport(path, book, run, report.Options{}); err != nil {
					return err
				}
				fmt.Fprintln(s.err, "wrote", path)
				return nil
			})
		},
	}
	c.Flags().StringVarP(&path, "output", "o", "", "`file` to write; standard output if left out")
	return c
}

func writeReport(path string, book *logbook.Book, run int64, o report.Options) error {
	return writeWhole(path, func(w io.Writer) error { return printable(w, book, run, o) })
}

// printable writes a run's report, with the limits that its bench file set.
func printable(w io.Writer, book *logbook.Book, run int64, o report.Options) error {
	r, err := book.Run(run)
	if err != nil {
		return err
	}
	o.Version = version()
	if b, err := bench.Parse(r.Bench, []byte(r.BenchText)); err == nil { // an older bench file may no longer parse
		o.AllowedSeconds, o.RailFraction = b.Expect.StartWithinSeconds, b.Expect.RailFraction
	}
	return report.Write(w, book, run, o)
}
