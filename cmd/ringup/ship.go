package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"ringup/runner/logbook"
	"ringup/runner/logbook/ship"
)

func newShip(io streams, o *options) *cobra.Command {
	var f shipFlags
	var name string
	var newIdentity bool
	c := &cobra.Command{
		Use: "ship --to DATABASE", Short: "copy what is new in the logbook into a PostgreSQL database of many benches", Args: cobra.NoArgs,
		Long: `Copies what is new in the logbook into a PostgreSQL database: runs, cycles, marks. Many benches
may ship to one database. Nothing gets there twice: after an interruption give the same command
again. The tables, in the schema ringup, are made at first use.

DATABASE is a URL or a list like "host=db dbname=ringup". What it leaves out comes from PGHOST,
PGUSER and so on; keep the password out of it, in PGPASSWORD or ~/.pgpass.

ringup run and ringup serve ship while they measure, with --ship-to.`,
		Example: "  ringup ship --to postgres://bench@db.example/ringup\n  ringup ship --to postgres://bench@db.example/ringup --logbook night.db --name \"bench at the window\"",
		RunE: func(cmd *cobra.Command, _ []string) error {
			ctx, stop := signal.NotifyContext(cmd.Context(), os.Interrupt, syscall.SIGTERM)
			defer stop()
			if !cmd.Flags().Changed("to") {
				return usage{fmt.Errorf("to which database? give it with --to; see %s --help", cmd.CommandPath())}
			}
			to, err := f.target(io, "--to")
			if err != nil {
				return err
			}
			if newIdentity {
				if err := renew(*o); err != nil {
					return err
				}
			}
			return withLogbook(*o, func(book *logbook.Book) error {
				return shipOnce(ctx, io, *o, book, to, ship.Options{Waveforms: f.waveforms, Name: strings.TrimSpace(name)})
			})
		},
	}
	jsonFlag(c, o)
	c.Flags().StringVar(&f.to, "to", "", "`database`: postgres://USER@HOST:PORT/NAME")
	c.Flags().BoolVar(&f.waveforms, "waveforms", false, "the stored waveforms, too")
	c.Flags().StringVar(&name, "name", "", "what people call this bench; at first the computer's name")
	c.Flags().BoolVar(&newIdentity, "new-identity", false, "make this copy of a logbook one of its own first, and ship all of it")
	return c
}

// shipFlags say where to ship to, and what.
type shipFlags struct {
	to        string
	waveforms bool
}

// target reads the address that was given with flag.
func (f shipFlags) target(io streams, flag string) (ship.Target, error) {
	to, err := ship.Parse(f.to)
	if err != nil {
		return to, usage{fmt.Errorf("%s: %w", flag, err)}
	}
	if ship.HasPassword(f.to) {
		fmt.Fprintf(io.err, "every user of this computer can read the password in %s while this runs: better put it in PGPASSWORD or ~/.pgpass\n", flag)
	}
	return to, nil
}

// renew makes a logbook one of its own.
func renew(o options) error {
	if err := withLogbook(o, func(*logbook.Book) error { return nil }); err != nil { // it must be there
		return err
	}
	book, err := openLogbook(o.logbook)
	if err != nil {
		return err
	}
	return errors.Join(book.NewIdentity(), book.Close())
}

// shipOnce is the ship command.
func shipOnce(ctx context.Context, io streams, o options, book *logbook.Book, to ship.Target, what ship.Options) error {
	done, err := ship.Once(ctx, book, to, what)
	if err != nil && ctx.Err() != nil {
		return fmt.Errorf("%w; %s are there already, and the same command goes on from there", errStopped, counts(done))
	}
	if err != nil {
		return err
	}
	if o.json {
		id, err := book.Identity()
		if err != nil {
			return err
		}
		return printJSON(io.out, struct {
			Logbook string `json:"logbook"`
			To      string `json:"to"`
			ship.Shipped
		}{id, to.String(), done})
	}
	if !done.Any() {
		fmt.Fprintf(io.out, "nothing new: %s has all of %s\n", to, book.Path())
		return nil
	}
	fmt.Fprintf(io.out, "%s shipped; %s has all of %s\n", counts(done), to, book.Path())
	return nil
}

func counts(s ship.Shipped) string {
	text := fmt.Sprintf("%s new or changed, %s, %s", count(s.Runs, "run"), count(s.Cycles, "cycle"), count(s.Marks, "mark"))
	if s.Waveforms > 0 {
		text += ", " + count(s.Waveforms, "waveform")
	}
	return text
}
