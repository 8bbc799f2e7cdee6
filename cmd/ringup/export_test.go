package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/creack/pty"
)

func TestExportFormats(t *testing.T) {
	t.Parallel()
	f := newFolder(t, `soak { volts = { 3.0 }, cycles = 3, rest = "5 s" }`)
	f.must(t, "run", "night.lua", "--listen", "none", "-q")

	f.must(t, "export", "--format", "parquet", "-o", f.path("n.parquet"))
	file, err := os.ReadFile(f.path("n.parquet"))
	if err != nil {
		t.Fatal(err)
	}
	if piped := f.must(t, "export", "--format", "parquet"); piped != string(file) || !strings.HasPrefix(piped, "PAR1") || !strings.HasSuffix(piped, "PAR1") {
		t.Errorf("the file has %d bytes, the pipe %d, or they are no Parquet file", len(file), len(piped))
	}
	f.wantRefused(t, exitUsage, []string{"export", "--format", "xlsx"}, `format "xlsx"; allowed are csv, jsonl and parquet`)
	f.wantRefused(t, exitUsage, []string{"export", "--format", "parquet", "--waveform", "1"}, "leave out --format")
	f.wantRefused(t, exitFailed, []string{"export", "-o", f.path("none/n.csv")}, "n.csv is not written", "no such file or directory")

	terminal, behind, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	defer terminal.Close()
	defer behind.Close()
	var said bytes.Buffer
	arguments := []string{"export", "--format", "parquet", "--logbook", f.path("logbook.db")}
	if status := run(context.Background(), arguments, nil, behind, &said); status != exitUsage || !strings.Contains(said.String(), "not for a terminal") {
		t.Errorf("to a terminal: exit status %d, %s", status, said.String())
	}
	device, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer device.Close()
	if status := run(context.Background(), arguments, nil, device, &said); status != exitDone {
		t.Errorf("to %s: exit status %d, %s", os.DevNull, status, said.String())
	}
}

func TestFileIsWholeOrNotThere(t *testing.T) {
	path := filepath.Join(t.TempDir(), "night.csv")
	write := func(text string, err error) error {
		return writeWhole(path, func(w io.Writer) error {
			if _, err := io.WriteString(w, text); err != nil {
				return err
			}
			return err
		})
	}
	holds := func(want string) {
		t.Helper()
		files, err := filepath.Glob(filepath.Join(filepath.Dir(path), "*"))
		text, _ := os.ReadFile(path) // "" if there is none
		if err != nil || string(text) != want || len(files) > 1 {
			t.Errorf("the folder holds %v (%v), the file %q; want only the file with %q", files, err, text, want)
		}
	}
	full := errors.New("no space left on device")
	if err := write("half", full); !errors.Is(err, full) || !strings.Contains(err.Error(), "night.csv is not written") {
		t.Errorf("a disk that is full: %v", err)
	}
	holds("")
	if err := write("one", nil); err != nil {
		t.Error(err)
	}
	holds("one")
	if err := write("half of two", full); !errors.Is(err, full) {
		t.Errorf("a disk that is full: %v", err)
	}
	holds("one")
	if err := write("two", nil); err != nil {
		t.Error(err)
	}
	holds("two")
	if err := writeWhole(os.DevNull, func(w io.Writer) error { _, err := io.WriteString(w, "x"); return err }); err != nil {
		t.Errorf("to %s: %v", os.DevNull, err)
	}
}
