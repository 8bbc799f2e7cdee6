// Command generate writes the Grafana board "Soak tonight" as JSON.
//
// It is a module of its own, so that the board's builder library is no dependency of ringup. The JSON it writes is
// committed, and a test of the folder above checks that the two agree.
package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
)

func main() {
	out := flag.String("out", "", "file to write; empty writes to standard output")
	flag.Parse()
	if err := run(*out); err != nil {
		fmt.Fprintln(os.Stderr, "generate:", err)
		os.Exit(1)
	}
}

func run(out string) error {
	board, err := soakTonight()
	if err != nil {
		return err
	}
	var text bytes.Buffer
	encoder := json.NewEncoder(&text)
	encoder.SetEscapeHTML(false) // keeps > and & readable in the queries
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(board); err != nil {
		return err
	}
	if out == "" {
		_, err = os.Stdout.Write(text.Bytes())
		return err
	}
	return os.WriteFile(out, text.Bytes(), 0o644)
}
