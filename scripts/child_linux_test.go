package scripts

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
)

func readProc(t *testing.T, pid int, file string) string {
	t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/%s", pid, file))
	if err != nil {
		t.Error(err)
	}
	return string(text)
}

// A descriptor that a library opened without close-on-exec must stay at home.
func TestDescriptorsAreNotInherited(t *testing.T) {
	port := filepath.Join(t.TempDir(), "port")
	if err := os.WriteFile(port, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	fd, err := unix.Open(port, unix.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer unix.Close(fd)
	var pid, seen int
	h := &fakeHost{answer: func(context.Context, string, json.RawMessage) (json.RawMessage, error) {
		links, err := filepath.Glob(fmt.Sprintf("/proc/%d/fd/*", pid))
		if err != nil || len(links) < 3 {
			t.Errorf("descriptors %v, %v", links, err)
		}
		for _, link := range links {
			seen++
			if target, _ := os.Readlink(link); target == port {
				t.Errorf("the script's process holds %s", port)
			}
		}
		return nil, nil
	}}
	engine := Engine{started: func(child int) { pid = child }}
	if err := engine.Run(t.Context(), Script{"soak.lua", "mark('here')"}, testFacts, h, &bytes.Buffer{}); err != nil {
		t.Fatal(err)
	}
	if seen == 0 {
		t.Error("no descriptor was looked at")
	}
}

// When the parent dies, the pipe ends, and so does the child: between calls, in a
// loop, and in a step that cannot be interrupted.
func TestChildEndsWithItsParent(t *testing.T) {
	for name, source := range map[string]string{
		"waiting":         "cycle { volts = 3.3 }",
		"in a loop":       "while true do end",
		"uninterruptible": "string.find(('a'):rep(3000), '.-.-.-.-b$')",
	} {
		t.Run(name, func(t *testing.T) {
			child := exec.CommandContext(t.Context(), os.Args[0], ChildCommand)
			stdin, err := child.StdinPipe()
			if err != nil {
				t.Fatal(err)
			}
			stdout, err := child.StdoutPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := child.Start(); err != nil {
				t.Fatal(err)
			}
			err = send(stdin, beginning{Script: Script{"soak.lua", source}, ComputeSeconds: 3600, MemoryBytes: 128 << 20})
			if err != nil {
				t.Fatal(err)
			}
			ready := make([]byte, len(`{"ready":true}`))
			if _, err := stdout.Read(ready); err != nil || string(ready) != `{"ready":true}` {
				t.Fatalf("read %q, %v", ready, err)
			}
			// A service manager signals the whole group; that is not the end.
			for _, s := range []os.Signal{unix.SIGINT, unix.SIGTERM, unix.SIGHUP} {
				if err := child.Process.Signal(s); err != nil {
					t.Fatal(err)
				}
			}
			stdin.Close()
			if err := child.Wait(); child.ProcessState.ExitCode() != 3 {
				t.Errorf("ended with %v, want exit status 3", err)
			}
		})
	}
}

func TestEnvironmentIsNotInherited(t *testing.T) {
	t.Setenv("RINGUP_TOKEN", "secret")
	var pid int
	var environment string
	h := &fakeHost{answer: func(context.Context, string, json.RawMessage) (json.RawMessage, error) {
		environment = readProc(t, pid, "environ")
		return nil, nil
	}}
	engine := Engine{started: func(child int) { pid = child }}
	if err := engine.Run(t.Context(), Script{"soak.lua", "mark('here')"}, testFacts, h, &bytes.Buffer{}); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(environment, "GOMAXPROCS") || strings.Contains(environment, "secret") {
		t.Errorf("environment %q", environment)
	}
}

func TestKilledChild(t *testing.T) {
	var pid int
	engine := Engine{started: func(child int) { pid = child }}
	ended := false
	h := &fakeHost{answer: func(ctx context.Context, _ string, _ json.RawMessage) (json.RawMessage, error) {
		p, err := os.FindProcess(pid)
		if err == nil {
			err = p.Kill()
		}
		if err != nil {
			t.Error(err)
		}
		<-ctx.Done() // a host must learn of the death in the middle of a soak
		ended = true
		return nil, ctx.Err()
	}}
	err := engine.Run(t.Context(), Script{"soak.lua", "\nsoak { volts = { 3.3 }, cycles = 200 }"}, testFacts, h, &bytes.Buffer{})
	wantError(t, err, "soak.lua:2: the script's process was killed")
	if !ended {
		t.Error("the call did not see the end of the child")
	}
}
