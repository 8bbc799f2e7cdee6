package main

import (
	"strings"
	"testing"
)

// twoSoaks has a pause in its middle; 30 cycles.
const twoSoaks = `soak { volts = { 2.4, 2.2 }, cycles = 5, rest = "35 s" }
log("pause")
wait("2 min")
log("go on")
soak { volts = { 2.4, 2.2 }, cycles = 10, rest = "35 s" }
`

// TestResume kills a run and gives the same command again: the night must be the same as an uninterrupted one.
func TestResume(t *testing.T) {
	t.Parallel()
	whole := newFolder(t, twoSoaks)
	whole.must(t, "run", "night.lua", "--listen", "none")
	want := whole.must(t, "export", "--format", "csv")
	if n := strings.Count(want, "\n"); n != 31 {
		t.Fatalf("the uninterrupted run exports %d lines, want a header and 30 cycles", n)
	}
	for name, kill := range map[string]struct{ after, in string }{
		"in the second cycle":   {"1 of 10 cycles", "cycle"},
		"in a pause":            {"pause", "wait"},
		"in the eleventh cycle": {"go on", "cycle"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := newFolder(t, twoSoaks)
			p := f.start(t, nil, "run", "night.lua", "--listen", "none", "--pace", "200")
			p.await(kill.after)
			f.awaitStep(t, kill.in)
			p.kill()
			cut, err := f.book(t).CutOff(1)
			if err != nil || cut == nil || cut.Call != kill.in {
				t.Fatalf("the run was killed in step %+v (%v), not in a %s", cut, err, kill.in)
			}

			f.must(t, "run", "night.lua", "--listen", "none")
			f.wantSound(t)
			if got := f.must(t, "export", "--format", "csv"); got != want {
				t.Errorf("the resumed run differs from the uninterrupted one: %s", firstDifference(got, want))
			}
			steps, err := f.book(t).Steps(1)
			if err != nil {
				t.Fatal(err)
			}
			if again := steps[cut.Ordinal-1]; again.Attempts != 2 {
				t.Errorf("the step that was cut off has %d attempts, want 2", again.Attempts)
			}
			if runs := decode[[]any](t, f.must(t, "runs", "--json")); len(runs) != 1 {
				t.Errorf("%d runs in the logbook, want the one that went on", len(runs))
			}
		})
	}
}

// awaitStep waits until the logbook has a step of this call begun and not ended.
func (f folder) awaitStep(t *testing.T, call string) {
	t.Helper()
	book := f.book(t)
	for t.Context().Err() == nil {
		cut, err := book.CutOff(1)
		if err != nil {
			t.Fatal(err)
		}
		if cut != nil && cut.Call == call {
			return
		}
	}
}

// firstDifference names the first line in which two texts differ.
func firstDifference(got, want string) string {
	a, b := strings.Split(got, "\n"), strings.Split(want, "\n")
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return "\n" + a[i] + "\nwant\n" + b[i]
		}
	}
	return "one is longer than the other"
}
