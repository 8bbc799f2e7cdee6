package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/mattn/go-isatty"
	"github.com/spf13/cobra"

	"ringup/runner/logbook"
)

func newExport(s streams, o *options) *cobra.Command {
	var format, path string
	var cycle int
	c := &cobra.Command{
		Use: "export [RUN]", Short: "export every cycle of a run, or the waveforms of one", Args: cobra.MaximumNArgs(1),
		Long: `Writes one row a cycle, with the same columns in each format. Quantities are in the SI units
their names say, times in UTC.

  csv      one header line; what was not measured is an empty field
  jsonl    one JSON object a line: the run, its marks, its cycles; not measured is null
  parquet  typed columns; not measured is NULL; run and marks are the file's metadata

A file given with -o appears whole or not at all.`,
		Example: "  ringup export 12 > run12.csv\n  ringup export last --format parquet -o night.parquet\n  ringup export 12 --waveform 412 | ringup judge -",
		RunE: func(c *cobra.Command, args []string) error {
			if cycle != 0 && c.Flags().Changed("format") {
				return usage{errors.New("--waveform writes the layout that ringup judge reads; leave out --format")}
			}
			return withLogbook(*o, func(book *logbook.Book) error {
				run, err := runNumber(book, args)
				if err != nil {
					return err
				}
				write, err := exporter(book, run, format, cycle)
				if err != nil {
					return err
				}
				if path != "" {
					return writeWhole(path, write)
				}
				if format == "parquet" && isTerminal(s.out) {
					return usage{errors.New("parquet is not for a terminal; write it to a file: -o night.parquet")}
				}
				return write(s.out)
			})
		},
	}
	c.Flags().StringVar(&format, "format", "csv", "csv, jsonl (JSON lines) or parquet")
	c.Flags().StringVarP(&path, "output", "o", "", "`file` to write; standard output if left out")
	c.Flags().IntVar(&cycle, "waveform", 0, "write the waveforms of this `cycle` instead, for ringup judge")
	return c
}

// exporter is what writes a run's cycles in a format, or the waveforms of one cycle.
func exporter(book *logbook.Book, run int64, format string, cycle int) (func(io.Writer) error, error) {
	if cycle != 0 {
		return func(w io.Writer) error { return exportWaveform(w, book, run, cycle) }, nil
	}
	export := map[string]func(io.Writer, int64) error{"csv": book.ExportCSV, "jsonl": book.ExportJSONLines, "parquet": book.ExportParquet}[format]
	if export == nil {
		return nil, usage{fmt.Errorf("format %q; allowed are csv, jsonl and parquet", format)}
	}
	return func(w io.Writer) error { return export(w, run) }, nil
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && isatty.IsTerminal(f.Fd())
}
