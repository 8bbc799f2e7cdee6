package main

import (
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"ringup/runner/logbook"
)

func newExport(s streams, o *options) *cobra.Command {
	var format, path string
	var cycle int
	c := &cobra.Command{
		Use: "export [RUN]", Short: "export every cycle of a run, or the waveforms of one", Args: cobra.MaximumNArgs(1),
		Example: "  ringup export 12 > run12.csv\n  ringup export last --format jsonl -o night.jsonl\n  ringup export 12 --waveform 412 | ringup judge -",
		RunE: func(_ *cobra.Command, args []string) error {
			return withLogbook(*o, func(book *logbook.Book) error {
				run, err := runNumber(book, args)
				if err != nil {
					return err
				}
				write := map[string]func(io.Writer, int64) error{"csv": book.ExportCSV, "jsonl": book.ExportJSONLines}[format]
				if cycle != 0 {
					write = func(w io.Writer, run int64) error { return exportWaveform(w, book, run, cycle) }
				}
				if write == nil {
					return usage{fmt.Errorf("format %q; allowed are csv and jsonl", format)}
				}
				if path == "" {
					return write(s.out, run)
				}
				f, err := os.Create(path)
				if err != nil {
					return err
				}
				if err := write(f, run); err != nil {
					f.Close()
					return err
				}
				return f.Close()
			})
		},
	}
	c.Flags().StringVar(&format, "format", "csv", "csv or jsonl (JSON lines)")
	c.Flags().StringVarP(&path, "output", "o", "", "`file` to write; standard output if left out")
	c.Flags().IntVar(&cycle, "waveform", 0, "write the waveforms of this `cycle` instead, for ringup judge")
	return c
}
