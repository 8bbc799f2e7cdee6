package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strconv"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"ringup/runner"
	"ringup/runner/logbook"
)

func newRuns(io streams, o *options) *cobra.Command {
	c := &cobra.Command{
		Use: "runs", Short: "list the runs in the logbook", Args: cobra.NoArgs,
		Example: "  ringup runs\n  ringup runs --json --logbook night.db",
		RunE: func(*cobra.Command, []string) error {
			return withLogbook(*o, func(book *logbook.Book) error { return listRuns(io, *o, book) })
		},
	}
	jsonFlag(c, o)
	return c
}

func listRuns(io streams, o options, book *logbook.Book) error {
	runs, err := book.Runs()
	if err != nil {
		return err
	}
	if o.json {
		summaries := []runner.Summary{}
		for _, r := range runs {
			s, err := runner.Summarise(book, r.ID, 0)
			if err != nil {
				return err
			}
			summaries = append(summaries, s)
		}
		return printJSON(io.out, summaries)
	}
	if len(runs) == 0 {
		fmt.Fprintf(io.out, "no runs in %s yet; begin one with: ringup run soak.lua -b bench.toml\n", book.Path())
		return nil
	}
	t := tabwriter.NewWriter(io.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "run\tstarted\tscript\tunit\tstate\tcycles\tfailed")
	for _, r := range runs {
		s, err := runner.Summarise(book, r.ID, 0)
		if err != nil {
			return err
		}
		failed := 0
		for _, c := range s.Conditions {
			failed += c.Failures
		}
		fmt.Fprintf(t, "%d\t%s\t%s\t%s\t%s\t%d\t%d\n", r.ID, r.Started.In(r.Location()).Format("2006-01-02 15:04"), r.Script, r.Unit, s.State, s.Cycles, failed)
	}
	return t.Flush()
}

// withLogbook opens the logbook for reading, which works beside a running daemon.
func withLogbook(o options, do func(*logbook.Book) error) error {
	if _, err := os.Stat(o.logbook); errors.Is(err, fs.ErrNotExist) {
		return usage{fmt.Errorf("there is no logbook %s; name one with --logbook, or begin a run", o.logbook)}
	}
	book, err := logbook.OpenReadOnly(o.logbook)
	if errors.Is(err, logbook.ErrOlder) {
		if err = bringForward(o.logbook); err == nil {
			book, err = logbook.OpenReadOnly(o.logbook)
		}
	}
	if err != nil {
		return err
	}
	defer book.Close()
	return do(book)
}

// bringForward gives a logbook of an older version the present schema.
func bringForward(path string) error {
	book, err := logbook.Open(path)
	if err != nil {
		return err
	}
	return book.Close()
}

// runNumber reads the RUN argument: a number, or "last".
func runNumber(book *logbook.Book, args []string) (int64, error) {
	if len(args) == 0 || args[0] == "last" {
		r, err := book.LastRun()
		if errors.Is(err, logbook.ErrNoRun) {
			err = usage{fmt.Errorf("no runs in %s yet; begin one with: ringup run soak.lua -b bench.toml", book.Path())}
		}
		return r.ID, err
	}
	n, err := strconv.ParseInt(args[0], 10, 64)
	if err != nil || n < 1 {
		return 0, usage{fmt.Errorf("%q is no run; give its number from ringup runs, or last", args[0])}
	}
	_, err = book.Run(n)
	if errors.Is(err, logbook.ErrNoRun) {
		err = usage{fmt.Errorf("there is no run %d in %s; ringup runs lists those there are", n, book.Path())}
	}
	if err != nil {
		return 0, err
	}
	return n, nil
}
