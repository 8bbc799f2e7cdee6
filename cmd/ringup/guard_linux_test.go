package main

import (
	"io"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
)

// guarded is a run on a simulated bench of another process, with its supply's output on.
type guarded struct {
	folder folder
	run    *exec.Cmd
	said   *os.File // the other end of its standard error
	supply *wire
}

// startGuarded begins a cycle of 30 s, so that nothing but a guard switches off within the test.
func startGuarded(t *testing.T) *guarded {
	t.Helper()
	f := newFolder(t, `cycle { volts = 3.6, rest = "100 ms", watch = "30 s" }`)
	serveBench(t, f, "bench.toml", "--transport", "tcp")
	g := &guarded{folder: f, supply: dial(t, strings.TrimPrefix(f.addressOf(t, "bench.toml", "supply"), "tcp:"))}
	var to *os.File
	var err error
	if g.said, to, err = os.Pipe(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { g.said.Close() })
	g.run = f.command(t, "run", "night.lua", "--listen", "none")
	g.run.Stderr = to
	err = g.run.Start()
	to.Close()
	if err != nil {
		t.Fatal(err)
	}
	for !g.supply.on() {
		if t.Context().Err() != nil {
			t.Fatal("the supply never came on")
		}
	}
	return g
}

// kill ends the run, and waits until its guard has switched off.
func (g *guarded) kill(t *testing.T) {
	t.Helper()
	if err := g.run.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = g.run.Wait()
	for g.supply.on() {
		if t.Context().Err() != nil {
			t.Fatal("THE SUPPLY IS ON: the guard did not switch it off")
		}
	}
}

// TestGuardWithNobodyListening: what a guard has to say must not keep it from its work.
func TestGuardWithNobodyListening(t *testing.T) {
	t.Parallel()
	g := startGuarded(t)
	g.said.Close()
	g.kill(t)
}

// TestGuardIsDeaf signals the guard as the end of a session does, before it kills the run: it must still be there.
func TestGuardIsDeaf(t *testing.T) {
	t.Parallel()
	g := startGuarded(t)
	pid := g.guard(t, 0)
	for _, s := range []syscall.Signal{syscall.SIGHUP, syscall.SIGINT, syscall.SIGTERM} {
		if err := syscall.Kill(pid, s); err != nil {
			t.Fatalf("%v: %v", s, err)
		}
	}
	g.kill(t)
	if said, err := io.ReadAll(g.said); err != nil || strings.Contains(string(said), "another takes its place") {
		t.Errorf("the guard ended (%v); what was said:\n%s", err, said)
	}
}

// TestGuardReplaced kills the guard: another one takes its place.
func TestGuardReplaced(t *testing.T) {
	t.Parallel()
	g := startGuarded(t)
	first := g.guard(t, 0)
	if err := syscall.Kill(first, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	g.guard(t, first)
	g.kill(t)
}

// guard finds the process of the run's guard, another one than not.
func (g *guarded) guard(t *testing.T, not int) int {
	t.Helper()
	for t.Context().Err() == nil {
		if pid, err := childOf(g.run.Process.Pid, "\x00guard\x00"); err == nil && pid != not {
			return pid
		}
	}
	t.Fatal("no guard")
	return 0
}
