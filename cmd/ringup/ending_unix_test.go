//go:build unix

package main

import (
	"os"
	"strings"
	"syscall"
	"testing"

	"ringup/runner"
)

// TestLeftByASignal ends runs by signals that are nobody's decision on the run: it must go on afterwards, to the same
// night as one that was left alone. A signal for standing still must not be obeyed.
func TestLeftByASignal(t *testing.T) {
	t.Parallel()
	whole := newFolder(t, twoSoaks)
	whole.must(t, "run", "night.lua", "--listen", "none")
	want := whole.must(t, "export")

	f := newFolder(t, twoSoaks)
	for _, ending := range []syscall.Signal{syscall.SIGHUP, syscall.SIGTERM} {
		p := f.start(t, nil, "run", "night.lua", "--listen", "none", "--pace", "200")
		p.await("of 10 cycles")
		if err := p.cmd.Process.Signal(syscall.SIGTSTP); err != nil {
			t.Fatal(err)
		}
		p.await("Ctrl-Z does nothing here")
		if err := p.cmd.Process.Signal(ending); err != nil {
			t.Fatal(err)
		}
		if status := p.wait(); status != exitStopped {
			t.Errorf("%v: exit status %d, want %d", ending, status, exitStopped)
		}
		p.await("the supply is off, read back")
		p.await("give the same command again")
		s := decode[runner.Summary](t, f.must(t, "show", "--json"))
		if listed := f.must(t, "runs"); s.State != runner.CutShort || !strings.Contains(listed, runner.CutShort) {
			t.Errorf("%v: the run is %q, listed as\n%s", ending, s.State, listed)
		}
	}
	f.must(t, "run", "night.lua", "--listen", "none")
	if got := f.must(t, "export"); got != want {
		t.Errorf("the night differs from one that was left alone: %s", firstDifference(got, want))
	}
	f.wantSound(t)
}

// TestNobodyListens closes the other end of all that a run prints, as head does. It must come to its end all the same.
func TestNobodyListens(t *testing.T) {
	t.Parallel()
	f := newFolder(t, twoSoaks)
	from, to, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	c := f.command(t, "run", "night.lua", "--listen", "none")
	c.Stdout, c.Stderr = to, to
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	to.Close()
	from.Close()
	_ = c.Wait() // its table could not be printed
	if s := decode[runner.Summary](t, f.must(t, "show", "--json")); s.State != "done" || s.Cycles != 30 {
		t.Errorf("the run is %s after %d cycles (%s; %v)", s.State, s.Cycles, s.Reason, c.ProcessState)
	}
}
