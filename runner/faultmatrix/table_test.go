package faultmatrix_test

import (
	"os"
	"path/filepath"
	"testing"

	"ringup/runner/faultmatrix"
	"ringup/runner/simbench"
)

// TestTableIsReadBack writes a table and reads it: each outcome is where it was, and another message is noticed.
func TestTableIsReadBack(t *testing.T) {
	instruments := []simbench.Instrument{simbench.Scope}
	r := faultmatrix.Reference{Messages: map[simbench.Instrument][]string{simbench.Scope: {"TRACe:POINts 8;:TRACe:POINts?", "TRACe:DATA? CH1"}}}
	written := faultmatrix.NewTable("# title\n", "", faultmatrix.Wire)
	blows := written.Expect("tcp", r, instruments)
	// Two commands in the first message, and no block; one and a block in the second.
	if want := 2*2 + 14 + 2 + 15; len(blows) != want {
		t.Errorf("%d blows, want %d", len(blows), want)
	}
	for k, b := range blows {
		written.Set(b, []rune{faultmatrix.Measured, faultmatrix.Unread, faultmatrix.HeldThen}[k%3])
	}
	path := filepath.Join(t.TempDir(), "table.txt")
	if err := os.WriteFile(path, []byte(written.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	read, err := faultmatrix.Read(path, faultmatrix.Wire)
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range blows {
		if got, want := read.Outcome(b), written.Outcome(b); got != want {
			t.Errorf("%s: %c is read, %c was written", b, got, want)
		}
	}
	if d := written.RowsUnlike(read); len(d) > 0 {
		t.Error(d)
	}
	r.Messages[simbench.Scope][1] = "TRACe:DATA? CH2"
	other := faultmatrix.NewTable("", "", faultmatrix.Wire)
	other.Expect("tcp", r, instruments)
	if d := other.RowsUnlike(read); len(d) != 1 {
		t.Errorf("one message is another; RowsUnlike says %q", d)
	}
	r.OneSpot = true
	if n := len(r.Blows("tcp", instruments, faultmatrix.Faults(faultmatrix.Wire))); n != 14+2+15+2 {
		t.Errorf("%d blows with one spot", n)
	}
}
