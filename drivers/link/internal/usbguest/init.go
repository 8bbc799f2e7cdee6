//go:build linux

package usbguest

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// insideVariable marks the guest's test process.
const insideVariable = "RINGUP_INSIDE_GUEST"

// testTime bounds the test process in the guest: less than bootTime, so that
// there is a log of it.
func testTime() time.Duration { return bootTime() - bootTime()/5 }

// Main is the TestMain of a package that calls Run: in the guest's first
// process it is init, everywhere else it runs the tests.
func Main(m *testing.M) {
	if os.Getpid() != 1 {
		os.Exit(m.Run())
	}
	code := byteFailed
	err := initialise()
	if err == nil {
		err = runInside()
	}
	if err == nil {
		code = bytePassed
	} else {
		fmt.Println("init:", err)
	}
	halt(code)
}

// Inside skips a test that is meant for the guest anywhere else.
func Inside(t *testing.T) {
	t.Helper()
	if os.Getenv(insideVariable) == "" {
		t.Skip("runs in the guest")
	}
}

func initialise() error {
	for _, m := range []struct{ kind, at string }{{"proc", "/proc"}, {"sysfs", "/sys"}, {"devtmpfs", "/dev"}, {"tmpfs", "/tmp"}} {
		if err := os.MkdirAll(m.at, 0o755); err != nil {
			return err
		}
		if err := unix.Mount(m.kind, m.at, m.kind, 0, ""); err != nil {
			return fmt.Errorf("mounting %s: %w", m.at, err)
		}
	}
	if err := os.Symlink("/proc/self/fd", "/dev/fd"); err != nil {
		return err
	}
	if err := loopback(); err != nil {
		return fmt.Errorf("loopback interface: %w", err)
	}
	// The second serial port takes all output from here on.
	out, err := unix.Open("/dev/ttyS1", unix.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		return fmt.Errorf("/dev/ttyS1: %w", err)
	}
	for fd := range 3 {
		if err := unix.Dup3(out, fd, 0); err != nil {
			return err
		}
	}
	files, err := filepath.Glob("/modules/*")
	if err != nil || len(files) != len(modules) {
		return fmt.Errorf("modules %v, %w", files, err)
	}
	for _, file := range files {
		if err := load(file); err != nil {
			return fmt.Errorf("loading %s: %w", file, err)
		}
	}
	return nil
}

// loopback switches the network within the guest on.
func loopback() error {
	fd, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return err
	}
	defer unix.Close(fd)
	r, err := unix.NewIfreq("lo")
	if err != nil {
		return err
	}
	r.SetUint16(unix.IFF_UP)
	return unix.IoctlIfreq(fd, unix.SIOCSIFFLAGS, r)
}

// moduleCompressed is MODULE_INIT_COMPRESSED_FILE of include/uapi/linux/module.h.
const moduleCompressed = 4

func load(file string) error {
	f, err := os.Open(file)
	if err != nil {
		return err
	}
	defer f.Close()
	flags := 0
	if !strings.HasSuffix(file, ".ko") {
		flags = moduleCompressed
	}
	return unix.FinitModule(int(f.Fd()), "", flags)
}

// runInside plays the instruments while the tests run in a second process.
func runInside() error {
	e, err := newEmulator()
	if err != nil {
		return err
	}
	listener, err := net.Listen("unix", controlPath)
	if err != nil {
		return err
	}
	go e.serve(listener)
	ctx, cancel := context.WithTimeout(context.Background(), testTime())
	defer cancel()
	c := exec.CommandContext(ctx, "/proc/self/exe", os.Args[1:]...)
	c.Env = append(os.Environ(), insideVariable+"=1", "HOME=/tmp", "TMPDIR=/tmp")
	c.Stdout, c.Stderr = os.Stdout, os.Stderr
	if err := c.Run(); err != nil {
		return fmt.Errorf("tests: %w", err)
	}
	return e.violations()
}

// halt ends QEMU with a status made of code.
func halt(code int) {
	// Wait until the serial port has sent all, or the last lines are lost.
	if err := unix.IoctlSetInt(1, unix.TCSBRK, 1); err != nil {
		fmt.Println("init: draining the serial port:", err)
	}
	if port, err := os.OpenFile("/dev/port", os.O_WRONLY, 0); err == nil {
		port.WriteAt([]byte{byte(code)}, 0xf4) // does not return
	}
	unix.Reboot(unix.LINUX_REBOOT_CMD_POWER_OFF)
}
