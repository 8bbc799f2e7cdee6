package main

import (
	"bytes"
	"io"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
)

// nobody is the user that owns nothing.
const nobody = 65534

// TestNoPermission has a user who may not open the instrument's port: find and check name the group that may. Root may
// open anything, so the commands are then run as nobody.
func TestNoPermission(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	serveBench(t, f, "bench.toml")
	address := f.addressOf(t, "bench.toml", "supply")
	path, _, _ := strings.Cut(strings.TrimPrefix(address, "serial:"), "?")
	says, mode := []string{"this user may not open " + path}, os.FileMode(0)
	if dialout, err := user.LookupGroup("dialout"); err == nil && os.Geteuid() == 0 {
		gid, err := strconv.Atoi(dialout.Gid)
		if err == nil {
			err = os.Chown(path, -1, gid)
		}
		if err != nil {
			t.Fatal(err)
		}
		says, mode = append(says, "join the group dialout"), 0o660
	}
	if err := os.Chmod(path, mode); err != nil {
		t.Fatal(err)
	}
	program := publicCopy(t)
	public := filepath.Join(filepath.Dir(program), "bench.toml")
	if err := os.WriteFile(public, []byte(f.read(t, "bench.toml")), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, arguments := range [][]string{{"find", address}, {"check"}} {
		c := f.command(t, arguments...)
		c.Path, c.Dir = program, filepath.Dir(program)
		if os.Geteuid() == 0 {
			c.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody, NoSetGroups: true}}
		}
		var out bytes.Buffer
		c.Stdout, c.Stderr = &out, &out
		err := c.Run()
		if c.ProcessState == nil {
			t.Fatal(err)
		}
		if strings.Contains(out.String(), "udev rules") {
			t.Errorf("ringup %s prints rules for USB-TMC instruments, which a serial port does not need:\n%s", arguments[0], &out)
		}
		for _, part := range says {
			if c.ProcessState.ExitCode() != exitFailed || !strings.Contains(out.String(), part) {
				t.Errorf("ringup %s: exit status %d, wanted is %q in\n%s", arguments[0], c.ProcessState.ExitCode(), part, &out)
			}
		}
	}
}

// publicCopy is the program in a folder where any user may run it; the test's own is its owner's alone.
func publicCopy(t *testing.T) string {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	from, err := os.Open(self)
	if err != nil {
		t.Fatal(err)
	}
	defer from.Close()
	dir, err := os.MkdirTemp("", "ringup-public-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	to, err := os.OpenFile(filepath.Join(dir, "ringup"), os.O_CREATE|os.O_WRONLY, 0o755)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.Copy(to, from); err != nil {
		t.Fatal(err)
	}
	if err := to.Close(); err != nil {
		t.Fatal(err)
	}
	return to.Name()
}
