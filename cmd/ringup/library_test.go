package main

import (
	"context"
	"path/filepath"
	"testing"

	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/logbook"
)

// fromLibrary prepares a script of the library on the simulated bench of a bench file; heard is what it logs.
func fromLibrary(t *testing.T, text, script string) (e execution, heard *listener) {
	t.Helper()
	b, err := bench.Parse("bench.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	book, err := logbook.Open(filepath.Join(t.TempDir(), "logbook.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { book.Close() })
	heard = &listener{}
	s, err := stand(t.Context(), b, options{}, past{}, 0, heard)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.close() })
	program, err := readLibrary(script)
	if err != nil {
		t.Fatal(err)
	}
	return execution{standing: s, book: book, program: program, watch: runner.Observers{heard}, seed: 1}, heard
}

// doWith executes it with somebody there who answers.
func doWith(t *testing.T, e execution, person answerer) (logbook.Run, error) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	e.watch = runner.Observers{e.watch, person}
	e.started = func(session *runner.Session) {
		go func() {
			if err := person.serve(ctx, session.Answer); err != nil {
				t.Error(err)
				cancel()
			}
		}()
	}
	return e.do(ctx)
}
