package link_test

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"ringup/drivers/internal/fake"
	"ringup/drivers/link"
)

// TestStuckWrite has nobody read what is written, until the terminal takes no
// more.
func TestStuckWrite(t *testing.T) {
	_, address := fake.PTY(t)
	l, err := link.Open(address)
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Write(make([]byte, 1<<20), time.Now().Add(soon)); !errors.Is(err, link.ErrTimeout) {
		t.Fatalf("Write = %v, want a time-out", err)
	}
	// How much went out is not known, so nothing may follow.
	if err := l.Write([]byte("x"), time.Now().Add(late)); !errors.Is(err, link.ErrGone) {
		t.Errorf("Write after a stuck one = %v, want ErrGone", err)
	}
	if err := l.Close(); err != nil {
		t.Fatalf("Close: %v", err)
	}
	again, err := link.Open(address)
	if err != nil {
		t.Fatalf("opening again after a stuck write: %v", err)
	}
	again.Close()
}

// TestWriteAfterClose lets a file take the closed port's descriptor: a late
// write must not land in it.
func TestWriteAfterClose(t *testing.T) {
	_, address := fake.PTY(t)
	l, err := link.Open(address)
	if err != nil {
		t.Fatal(err)
	}
	held := descriptors(t, strings.TrimSuffix(strings.TrimPrefix(address, "serial:"), "?baud=115200"))
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	reused := 0
	for i := range 20 {
		f, err := os.Create(filepath.Join(dir, string(rune('a'+i))))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if held[int(f.Fd())] {
			reused++
		}
	}
	if reused == 0 {
		t.Fatal("no file took a descriptor of the port: the test shows nothing")
	}
	if err := l.Write([]byte("OUTPut ON\n"), time.Now().Add(late)); !errors.Is(err, link.ErrClosed) {
		t.Errorf("Write after Close = %v, want ErrClosed", err)
	}
	files, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if info, err := f.Info(); err != nil || info.Size() != 0 {
			t.Errorf("file %s: %v, size %d: the write landed in it", f.Name(), err, info.Size())
		}
	}
}

// descriptors lists this process's descriptors of a path.
func descriptors(t *testing.T, path string) map[int]bool {
	t.Helper()
	found := map[int]bool{}
	for fd := range 1024 {
		if target, err := os.Readlink(filepath.Join("/proc/self/fd", itoa(fd))); err == nil && target == path {
			found[fd] = true
		}
	}
	return found
}

func itoa(n int) string {
	if n < 10 {
		return string(rune('0' + n))
	}
	return itoa(n/10) + itoa(n%10)
}

func TestPortIsOurs(t *testing.T) {
	_, address := fake.PTY(t)
	l, err := link.Open(address)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if _, err := link.Open(address); !errors.Is(err, link.ErrGone) || !strings.Contains(err.Error(), "another run or program") {
		t.Errorf("second Open = %v, want it refused", err)
	}
}

// TestChildrenInheritNothing: a child that outlives us would keep the port.
func TestChildrenInheritNothing(t *testing.T) {
	_, address := fake.PTY(t)
	l, err := link.Open(address)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	out, err := exec.Command("ls", "-l", "/proc/self/fd").CombinedOutput()
	if err != nil {
		t.Fatalf("ls: %v\n%s", err, out)
	}
	port := strings.TrimSuffix(strings.TrimPrefix(address, "serial:"), "?baud=115200")
	if strings.Contains(string(out), "-> "+port+"\n") {
		t.Errorf("a child process holds %s:\n%s", port, out)
	}
}

// TestTerminalStaysShared: the exclusive mode of a pseudo-terminal would outlive
// a killed process and keep its successor out.
func TestTerminalStaysShared(t *testing.T) {
	master, address := fake.PTY(t)
	l, err := link.Open(address)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	slave, err := os.OpenFile(strings.TrimSuffix(strings.TrimPrefix(address, "serial:"), "?baud=115200"), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer slave.Close()
	exclusive, err := unix.IoctlGetInt(int(slave.Fd()), unix.TIOCGEXCL)
	if err != nil || exclusive != 0 {
		t.Errorf("exclusive mode = %d, %v, want off (master %s)", exclusive, err, master.Name())
	}
}

// TestPathIsResolvedAtEachOpen: a stable name points elsewhere once an adapter
// was plugged in again.
func TestPathIsResolvedAtEachOpen(t *testing.T) {
	first, firstAddress := fake.PTY(t)
	second, secondAddress := fake.PTY(t)
	name := filepath.Join(t.TempDir(), "usb-bench-supply-if00")
	for _, c := range []struct {
		master  *os.File
		address string
	}{{first, firstAddress}, {second, secondAddress}} {
		os.Remove(name)
		if err := os.Symlink(strings.TrimSuffix(strings.TrimPrefix(c.address, "serial:"), "?baud=115200"), name); err != nil {
			t.Fatal(err)
		}
		l, err := link.Open("serial:" + name)
		if err != nil {
			t.Fatal(err)
		}
		if err := l.Write([]byte("hello"), time.Now().Add(late)); err != nil {
			t.Fatal(err)
		}
		p := make([]byte, 5)
		if n, err := c.master.Read(p); err != nil || string(p[:n]) != "hello" {
			t.Errorf("%s: the terminal behind it received %q, %v", c.address, p[:n], err)
		}
		l.Close()
	}
}

// TestTerminalHasNoLines: a pseudo-terminal cannot switch a relay, and must not
// seem to.
func TestTerminalHasNoLines(t *testing.T) {
	_, address := fake.PTY(t)
	l, err := link.Open(address + "&dtr=off")
	if err == nil {
		l.Close()
		t.Fatal("a pseudo-terminal was opened with its DTR off, which it does not have")
	}
	if l, err = link.Open(address); err != nil {
		t.Fatal(err)
	}
	lines := l.(link.Lines)
	for name, set := range map[string]func(bool) error{"DTR": lines.SetDTR, "RTS": lines.SetRTS} {
		if err := set(true); !errors.Is(err, unix.ENOTTY) || !strings.Contains(err.Error(), "switching "+name) {
			t.Errorf("%s of a pseudo-terminal: %v, want it to say that there is none", name, err)
		}
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	if err := lines.SetDTR(true); !errors.Is(err, link.ErrClosed) {
		t.Errorf("SetDTR after Close: %v, want ErrClosed", err)
	}
}
