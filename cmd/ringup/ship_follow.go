package main

import (
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"ringup/runner"
	"ringup/runner/logbook"
	"ringup/runner/logbook/ship"
)

// shipGrace is how long a program that ends still tries to ship what is left.
const shipGrace = 10 * time.Second

func (f *shipFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.to, "ship-to", "", "PostgreSQL `database` to copy the logbook into meanwhile; see ringup ship --help")
	c.Flags().BoolVar(&f.waveforms, "ship-waveforms", false, "with --ship-to: the stored waveforms, too")
}

// shipping copies the logbook into a database while runs go on; nil where that was not asked for.
type shipping struct {
	follower *ship.Follower
	to       ship.Target
	book     *logbook.Book
	io       streams
	quiet    bool
}

// follow begins to ship, if --ship-to says where.
func (f shipFlags) follow(io streams, book *logbook.Book, print *progressPrinter) (*shipping, error) {
	if f.to == "" {
		if f.waveforms {
			return nil, usage{fmt.Errorf("--ship-waveforms: say where to, with --ship-to")}
		}
		return nil, nil
	}
	to, err := f.target(io, "--ship-to")
	if err != nil {
		return nil, err
	}
	say := func(text string) { print.Observe(runner.Event{Kind: runner.Logged, Reason: text}) }
	return &shipping{ship.Follow(book, to, ship.Options{Waveforms: f.waveforms}, say), to, book, io, print.quiet}, nil
}

// Observe implements runner.Observer.
func (s *shipping) Observe(e runner.Event) {
	if s != nil && e.Kind != runner.Exchanged {
		s.follower.Changed()
	}
}

// close ships what is left. That it could not is no failure of the run, which is in the logbook.
func (s *shipping) close() {
	if s == nil {
		return
	}
	slow := time.AfterFunc(time.Second, func() {
		fmt.Fprintf(s.io.err, "shipping what is left to %s, for at most %s\n", s.to, shipGrace)
	})
	defer slow.Stop()
	switch err := s.follower.Close(shipGrace); {
	case err != nil:
		fmt.Fprintf(s.io.err, "%v\nwhat is not there yet is in the logbook; ship it with: ringup ship --to %s --logbook %s\n", err, s.to, s.book.Path())
	case !s.quiet:
		fmt.Fprintf(s.io.err, "%s has all of this logbook\n", s.to)
	}
}
