//go:build linux

package usbguest_test

import (
	"bufio"
	"os"
	"os/exec"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"ringup/drivers/link"
	"ringup/drivers/link/internal/usbguest"
)

// uart is the guest's third serial port: a 16550 with nothing connected.
const (
	uart = "serial:/dev/ttyS2?baud=9600"
	// modemControl is the chip's register of what its lines are, at 0x3e8 + 4.
	modemControl = 0x3ec
)

// pins reads the lines from the chip itself, past the kernel's driver.
func pins(t *testing.T) (dtr, rts bool) {
	t.Helper()
	f, err := os.Open("/dev/port")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	p := make([]byte, 1)
	if _, err := f.ReadAt(p, modemControl); err != nil {
		t.Fatal(err)
	}
	return p[0]&1 != 0, p[0]&2 != 0
}

func wantPins(t *testing.T, when string, dtr, rts bool) {
	t.Helper()
	if d, r := pins(t); d != dtr || r != rts {
		t.Errorf("%s: DTR %t and RTS %t, want %t and %t", when, d, r, dtr, rts)
	}
}

func openLines(t *testing.T, address string) (link.Link, link.Lines) {
	t.Helper()
	l, err := link.Open(address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	if l.String() != address {
		t.Errorf("String() = %q, want %q", l, address)
	}
	return l, l.(link.Lines)
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func TestInsideLines(t *testing.T) {
	usbguest.Inside(t)
	l, _ := openLines(t, uart)
	wantPins(t, "opened as it comes", true, true)
	must(t, l.Close())
	wantPins(t, "closed", false, false)

	l, lines := openLines(t, uart+"&dtr=off&rts=off")
	wantPins(t, "opened with both off", false, false)
	must(t, lines.SetDTR(true))
	wantPins(t, "DTR on", true, false)
	must(t, lines.SetRTS(true))
	wantPins(t, "both on", true, true)
	must(t, lines.SetDTR(false))
	wantPins(t, "DTR off", false, true)
	must(t, l.Close())
	wantPins(t, "closed with RTS on", false, false)

	l, _ = openLines(t, uart+"&dtr=off")
	wantPins(t, "opened with DTR off", false, true)
	must(t, l.Close())
}

// TestInsideLinesReach has the chip connect its lines to its own inputs, DTR to
// DSR and RTS to CTS, as a plug with two bridges would.
func TestInsideLinesReach(t *testing.T) {
	usbguest.Inside(t)
	_, lines := openLines(t, uart+"&dtr=off&rts=off")
	fd, err := unix.Open("/dev/ttyS2", unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	must(t, err)
	defer unix.Close(fd)
	must(t, unix.IoctlSetPointerInt(fd, unix.TIOCMBIC, unix.TIOCM_DTR|unix.TIOCM_RTS)) // on by that open
	const loop = 0x8000                                                                // TIOCM_LOOP
	must(t, unix.IoctlSetPointerInt(fd, unix.TIOCMBIS, loop))
	defer unix.IoctlSetPointerInt(fd, unix.TIOCMBIC, loop)
	for _, c := range []struct{ dtr, rts bool }{{false, false}, {true, false}, {true, true}, {false, true}, {false, false}} {
		must(t, lines.SetDTR(c.dtr))
		must(t, lines.SetRTS(c.rts))
		status, err := unix.IoctlGetInt(fd, unix.TIOCMGET)
		must(t, err)
		if dsr, cts := status&unix.TIOCM_DSR != 0, status&unix.TIOCM_CTS != 0; dsr != c.dtr || cts != c.rts {
			t.Errorf("DTR %t and RTS %t: DSR is %t and CTS %t", c.dtr, c.rts, dsr, cts)
		}
	}
}

// holdVariable marks the process that TestInsideLinesFallWithTheProcess kills.
const holdVariable = "RINGUP_HOLDS_LINE"

// TestInsideLinesFallWithTheProcess kills a process that holds DTR on. An
// earlier program has left the port so that closing would not touch the lines.
func TestInsideLinesFallWithTheProcess(t *testing.T) {
	usbguest.Inside(t)
	if os.Getenv(holdVariable) != "" {
		_, lines := openLines(t, uart+"&dtr=off&rts=off")
		must(t, lines.SetDTR(true))
		os.Stdout.WriteString("on\n")
		bufio.NewReader(os.Stdin).ReadString('\n') // until killed
		return
	}
	fd, err := unix.Open("/dev/ttyS2", unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	must(t, err)
	settings, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	must(t, err)
	settings.Cflag &^= unix.HUPCL
	must(t, unix.IoctlSetTermios(fd, unix.TCSETS, settings))
	must(t, unix.Close(fd))
	wantPins(t, "closed without hang-up", true, true)

	c := exec.Command("/proc/self/exe", "-test.run=^TestInsideLinesFallWithTheProcess$")
	c.Env = append(os.Environ(), holdVariable+"=1")
	in, err := c.StdinPipe()
	must(t, err)
	defer in.Close()
	out, err := c.StdoutPipe()
	must(t, err)
	must(t, c.Start())
	lines := bufio.NewScanner(out)
	for lines.Scan() && !strings.HasPrefix(lines.Text(), "on") {
	}
	wantPins(t, "held by a process", true, false)
	must(t, c.Process.Kill())
	c.Wait() // reports the kill
	wantPins(t, "that process killed", false, false)
}
