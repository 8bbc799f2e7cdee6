package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"ringup/runner/logbook"
	"ringup/scripts"
)

// asProgram in the environment makes the test binary the program itself.
const asProgram = "RINGUP_TEST_MAIN=1"

// TestMain lets the test binary be the program, its script child and its guard, as the program is all three.
func TestMain(m *testing.M) {
	child := len(os.Args) > 1 && (os.Args[1] == scripts.ChildCommand || os.Args[1] == "guard")
	if child || os.Getenv("RINGUP_TEST_MAIN") == "1" {
		os.Exit(run(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
	}
	os.Exit(m.Run())
}

// folder is a place with a bench file, a script and a logbook, in which commands are run.
type folder string

// newFolder makes one with the demo's simulated bench and a script night.lua.
func newFolder(t *testing.T, script string) folder {
	t.Helper()
	f := folder(t.TempDir())
	f.write(t, "bench.toml", demoBench)
	f.write(t, "night.lua", script)
	return f
}

func (f folder) write(t *testing.T, name, text string) {
	t.Helper()
	if err := os.WriteFile(f.path(name), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func (f folder) path(name string) string { return filepath.Join(string(f), name) }

// command prepares a command line of the program in the folder, as a process of its own.
func (f folder) command(t *testing.T, arguments ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := exec.CommandContext(t.Context(), self, arguments...)
	c.Dir = string(f)
	c.Env = append(os.Environ(), asProgram, "RINGUP_LOGBOOK="+f.path("logbook.db"))
	return c
}

// outcome is what a command line left.
type outcome struct {
	status   int
	out, err string
}

// ringup runs a command line to its end.
func (f folder) ringup(t *testing.T, arguments ...string) outcome {
	t.Helper()
	c := f.command(t, arguments...)
	var out, errOut bytes.Buffer
	c.Stdout, c.Stderr = &out, &errOut
	err := c.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	return outcome{c.ProcessState.ExitCode(), out.String(), errOut.String()}
}

// must runs a command line that has to succeed, and returns its standard output.
func (f folder) must(t *testing.T, arguments ...string) string {
	t.Helper()
	o := f.ringup(t, arguments...)
	if o.status != exitDone {
		t.Fatalf("ringup %s: exit status %d\n%s", strings.Join(arguments, " "), o.status, o.err)
	}
	return o.out
}

// wantRefused checks that a command line fails with a status and says all of the parts.
func (f folder) wantRefused(t *testing.T, status int, arguments []string, parts ...string) {
	t.Helper()
	o := f.ringup(t, arguments...)
	if o.status != status {
		t.Errorf("ringup %s: exit status %d, want %d", strings.Join(arguments, " "), o.status, status)
	}
	for _, part := range parts {
		if !strings.Contains(o.err, part) {
			t.Errorf("ringup %s does not say %q; it says\n%s", strings.Join(arguments, " "), part, o.err)
		}
	}
}

// process is a command line that goes on while the test watches what it prints.
type process struct {
	t     *testing.T
	cmd   *exec.Cmd
	lines chan string // of standard error, and of whatever inherited it
	seen  []string
}

// start begins a command line. Its standard output goes to out, which may be nil.
func (f folder) start(t *testing.T, out io.Writer, arguments ...string) *process {
	t.Helper()
	return f.startWith(t, nil, out, arguments...)
}

// startWith does so with a standard input, which may be nil.
func (f folder) startWith(t *testing.T, in *os.File, out io.Writer, arguments ...string) *process {
	t.Helper()
	p := &process{t: t, cmd: f.command(t, arguments...), lines: make(chan string, 10000)}
	// A pipe of its own outlives the process as long as a child of it has something to say.
	from, to, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	if in != nil {
		p.cmd.Stdin = in
	}
	p.cmd.Stdout, p.cmd.Stderr = out, to
	err = p.cmd.Start()
	to.Close()
	if err != nil {
		t.Fatal(err)
	}
	go func() {
		defer close(p.lines)
		defer from.Close()
		for s := bufio.NewScanner(from); s.Scan(); {
			p.lines <- s.Text()
		}
	}()
	return p
}

// await waits until the process prints a line with the text.
func (p *process) await(text string) {
	p.t.Helper()
	for line := range p.lines {
		p.seen = append(p.seen, line)
		if strings.Contains(line, text) {
			return
		}
	}
	p.t.Fatalf("the process ended without saying %q; it said\n%s", text, strings.Join(p.seen, "\n"))
}

// ended says whether the process has closed its standard error. It does not wait.
func (p *process) ended() bool {
	for {
		select {
		case line, more := <-p.lines:
			if !more {
				return true
			}
			p.seen = append(p.seen, line)
		default:
			return false
		}
	}
}

// kill ends the process at once, as a power cut would.
func (p *process) kill() {
	p.t.Helper()
	if err := p.cmd.Process.Kill(); err != nil {
		p.t.Fatal(err)
	}
	if err := p.cmd.Wait(); err == nil {
		p.t.Fatal("the process had ended before it was killed")
	}
}

// interrupt asks the process to end, as Ctrl-C does, and returns its exit status.
func (p *process) interrupt() int {
	p.t.Helper()
	if err := p.cmd.Process.Signal(os.Interrupt); err != nil {
		p.t.Fatal(err)
	}
	return p.wait()
}

func (p *process) wait() int {
	p.t.Helper()
	err := p.cmd.Wait()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		p.t.Fatal(err)
	}
	return p.cmd.ProcessState.ExitCode()
}

// book opens the folder's logbook for reading.
func (f folder) book(t *testing.T) *logbook.Book {
	t.Helper()
	b, err := logbook.OpenReadOnly(f.path("logbook.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

// wantSound checks the folder's logbook.
func (f folder) wantSound(t *testing.T) {
	t.Helper()
	if err := f.book(t).Check(); err != nil {
		t.Errorf("the logbook is not sound: %v", err)
	}
}

// decode reads JSON as the type.
func decode[T any](t *testing.T, text string) T {
	t.Helper()
	var v T
	if err := json.Unmarshal([]byte(text), &v); err != nil {
		t.Fatalf("%v in\n%s", err, text)
	}
	return v
}

// freePort finds an address nothing listens on.
func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}
