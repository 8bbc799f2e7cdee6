// Command generate writes the corpus of waveforms into the folder it is given:
// the vectors in closed form, and those of circuits, whose decks it writes
// beside them and has ngspice run.
package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"ringup/runner/verdict/internal/vectors"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: generate FOLDER")
		os.Exit(2)
	}
	if err := run(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, "generate:", err)
		os.Exit(1)
	}
}

func run(folder string) error {
	decks := filepath.Join(folder, "decks")
	if err := os.MkdirAll(decks, 0o755); err != nil {
		return err
	}
	all := vectors.Corpus()
	var wrong []error
	for _, c := range circuits() {
		v, err := c.vectors(decks)
		if err != nil {
			wrong = append(wrong, fmt.Errorf("circuit %s: %w", c.name, err))
		}
		all = append(all, v...)
	}
	if err := errors.Join(wrong...); err != nil {
		return err
	}
	for _, v := range all {
		text := v.File.Bytes()
		if _, err := vectors.Read(bytes.NewReader(text)); err != nil {
			return fmt.Errorf("vector %s cannot be read back: %w", v.Name, err)
		}
		if err := os.WriteFile(filepath.Join(folder, v.Name+".csv"), text, 0o644); err != nil {
			return err
		}
	}
	fmt.Printf("%d vectors\n", len(all))
	return nil
}
