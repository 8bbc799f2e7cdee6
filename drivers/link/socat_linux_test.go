package link_test

import (
	"bufio"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"ringup/drivers/link/internal/conformance"
)

// TestConformanceSocat has the far end behind socat, whose pseudo-terminals and
// settings are its own.
func TestConformanceSocat(t *testing.T) {
	socat, err := exec.LookPath("socat")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%v: install the package socat", err)
		}
		t.Skipf("%v: install the package socat", err)
	}
	conformance.Run(t, func(t *testing.T) conformance.Far { return plugSocat(t, socat) })
}

func plugSocat(t *testing.T, socat string) conformance.Far {
	t.Helper()
	near, far := filepath.Join(t.TempDir(), "near"), filepath.Join(t.TempDir(), "far")
	c := exec.Command(socat, "-d", "-d", "pty,raw,echo=0,link="+near, "pty,raw,echo=0,link="+far)
	log, err := c.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	ended := false
	cut := func(*testing.T) {
		if !ended {
			ended = true
			c.Process.Kill()
			c.Wait()
		}
	}
	t.Cleanup(func() { cut(t) })
	lines := bufio.NewScanner(log)
	for lines.Scan() && !strings.Contains(lines.Text(), "starting data transfer loop") {
	}
	fd, err := unix.Open(far, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		t.Fatalf("%s: %v", far, err)
	}
	end := os.NewFile(uintptr(fd), far)
	t.Cleanup(func() { end.Close() })
	got, say := make(chan []byte, 100), make(chan []byte)
	go play(io.ReadWriter(end), got, say)
	return conformance.Far{
		Address: "serial:" + near + "?baud=9600",
		Receive: func(t *testing.T, n int) []byte { return receive(t, got, n) },
		Say:     func(_ *testing.T, p []byte) { say <- p },
		Cut:     cut,
	}
}
