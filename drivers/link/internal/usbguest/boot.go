//go:build linux

package usbguest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"
)

// bootTime bounds the whole life of the guest: ten times what it needs, since the
// computer that plays it may be busy, or several times with RINGUP_LONG=1.
func bootTime() time.Duration {
	if os.Getenv(longVariable) == "1" {
		return 40 * time.Minute
	}
	return 8 * time.Minute
}

// These variables of the environment hold in the guest, too.
const (
	longVariable  = "RINGUP_LONG"
	writeVariable = "RINGUP_WRITE"
	blowsVariable = "RINGUP_BLOWS"
)

// Exit statuses of QEMU's isa-debug-exit, which makes 2n+1 of the byte n that
// the guest writes to it.
const (
	bytePassed, statusPassed = 16, 33
	byteFailed               = 17
)

// Run boots a guest that runs those tests of the calling package whose names
// begin with prefix, and fails the calling test if one of them fails. They find
// the given files in the folder Files. Their log is returned. Where
// QEMU or the kernel is missing it skips the test, saying which; with CI=true
// in the environment it fails it. RINGUP_GUEST_QEMU names another QEMU,
// RINGUP_GUEST_ACCEL another accelerator than tcg: a /dev/kvm that opens proves
// nothing, since nested ones often do not work.
func Run(t *testing.T, prefix string, files ...string) (log string) {
	t.Helper()
	qemu, err := exec.LookPath(fallback("RINGUP_GUEST_QEMU", "qemu-system-x86_64"))
	if err != nil {
		missing(t, fmt.Errorf("%w: install the package qemu-system-x86", err))
	}
	k, err := findKernel()
	if err != nil {
		missing(t, err)
	}
	folder := t.TempDir()
	at := func(name string) string { return filepath.Join(folder, name) }
	// The running binary is linked to the C library, which the guest lacks.
	build := exec.Command("go", "test", "-c", "-ldflags=-s -w", "-o", at("init"), ".")
	build.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS=linux", "GOARCH=amd64")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("building the guest's binary: %v\n%s", err, out)
	}
	if err := writeInitramfs(at("initramfs"), at("init"), k.modules, files); err != nil {
		t.Fatal(err)
	}
	filter := fallback("RINGUP_GUEST_RUN", "^"+prefix)
	// Words after "--" become init's arguments. A bare word that the kernel does
	// not know would, too, and before them.
	words := "console=ttyS0 quiet loglevel=4 panic=-1 8250.nr_uarts=4"
	// The kernel makes init's environment of a name with a value that it does not
	// know.
	for _, variable := range []string{longVariable, writeVariable, blowsVariable} {
		if value := os.Getenv(variable); value != "" {
			words += " " + variable + "=" + value
		}
	}
	words += " -- -test.v -test.run=" + filter
	ctx, cancel := context.WithTimeout(t.Context(), bootTime())
	defer cancel()
	begun := time.Now()
	out, err := runQEMU(exec.CommandContext(ctx, qemu, "-machine", "pc", "-accel", fallback("RINGUP_GUEST_ACCEL", "tcg"), "-cpu", "qemu64",
		"-smp", fallback("RINGUP_GUEST_CPUS", "2"), "-m", "768", "-nodefaults", "-no-user-config", "-display", "none", "-no-reboot", "-net", "none",
		"-serial", "file:"+at("console"), "-serial", "file:"+at("result"), "-serial", "null",
		"-device", "isa-debug-exit,iobase=0xf4,iosize=0x04", "-kernel", k.image, "-initrd", at("initramfs"), "-append", words))
	result, resultErr := os.ReadFile(at("result"))
	console, consoleErr := os.ReadFile(at("console"))
	if err := errors.Join(resultErr, consoleErr); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	log = strings.ReplaceAll(string(result), "\r\n", "\n")
	t.Logf("the guest took %.1f s\n%s", time.Since(begun).Seconds(), log)
	// The exit status judges, and never the log, which may be cut short.
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != statusPassed {
		t.Fatalf("the guest's tests failed (QEMU: %v, where %d is passed)\n%s\nkernel:\n%s", err, statusPassed, out, console)
	}
	return log
}

// runQEMU runs it so that it dies with this process. The kernel ties that to
// the thread that starts it.
func runQEMU(c *exec.Cmd) ([]byte, error) {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	c.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	return c.CombinedOutput()
}

func missing(t *testing.T, err error) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatal(err)
	}
	t.Skip(err)
}

func fallback(variable, otherwise string) string {
	if value := os.Getenv(variable); value != "" {
		return value
	}
	return otherwise
}
