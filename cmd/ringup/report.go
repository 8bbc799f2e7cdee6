package main

import (
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"ringup/dashboards/report"
	"ringup/runner/logbook"
)

func newReport(io streams, o *options) *cobra.Command {
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
					return report.Write(io.out, book, run, report.Options{Version: version()})
				}
				if err := writeReport(path, book, run, report.Options{Version: version()}); err != nil {
					return err
				}
				fmt.Fprintln(io.err, "wrote", path)
				return nil
			})
		},
	}
	c.Flags().StringVarP(&path, "output", "o", "", "`file` to write; standard output if left out")
	return c
}

// writeReport writes the report file whole or not at all.
func writeReport(path string, book *logbook.Book, run int64, o report.Options) (err error) {
	f, err := os.Create(path + ".part")
	if err != nil {
		return err
	}
	defer func() {
		if closeErr := f.Close(); err == nil {
			err = closeErr
		}
		if err == nil {
			err = os.Rename(f.Name(), path)
		} else {
			os.Remove(f.Name())
		}
	}()
	return report.Write(f, book, run, o)
}
