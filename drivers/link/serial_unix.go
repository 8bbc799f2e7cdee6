//go:build unix

package link

import (
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"syscall"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// portLock is an flock of our own on the port. The kernel's exclusive mode does
// not bind a privileged process, and two programs that talk to one instrument
// read each other's answers.
type portLock struct{ fd int }

func lockPort(path string) (portLock, error) {
	fd, err := unix.Open(path, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		if errors.Is(err, unix.EACCES) {
			return portLock{}, fmt.Errorf("%w: %w", ErrGone, thisComputer.permission(path))
		}
		return portLock{}, fmt.Errorf("%w: %w; %s", ErrGone, err, lockHint(err))
	}
	if err := unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB); err != nil {
		unix.Close(fd)
		if errors.Is(err, unix.EWOULDBLOCK) {
			return portLock{}, fmt.Errorf("%w: another run or program holds the port; end it first", ErrGone)
		}
		return portLock{}, fmt.Errorf("%w: locking: %w", ErrGone, err)
	}
	return portLock{fd}, nil
}

func (l portLock) release() error { return unix.Close(l.fd) }

// wakeWriter has a write that waits for room look again: stopping and starting
// the output is what wakes it. Discarding the output alone does not.
func (l portLock) wakeWriter() error {
	return errors.Join(stopOutput(l.fd), startOutput(l.fd))
}

// writeNow writes what the port takes at once and returns how much that was:
// this descriptor does not block. What went wrong shows at the next write.
func (l portLock) writeNow(p []byte) int {
	n, err := unix.Write(l.fd, p)
	if err != nil {
		return 0
	}
	return n
}

// hangUpOnClose has the last close of the port, by whatever end of the process,
// switch its modem lines off.
func (l portLock) hangUpOnClose() error {
	settings, err := unix.IoctlGetTermios(l.fd, getTermios)
	if err != nil {
		return err
	}
	settings.Cflag |= unix.HUPCL
	return unix.IoctlSetTermios(l.fd, setTermios, settings)
}

func lockHint(err error) string {
	if errors.Is(err, unix.EBUSY) {
		return "another program has the port open: close it"
	}
	return "check that the adapter is plugged in, and the path"
}

// openPort opens the port so that child processes do not inherit it: the
// library leaves its descriptors open across exec. Until they are marked no
// child may start, hence the fork lock. Marking every descriptor is harmless,
// since Go marks its own and hands descriptors to children by copying them.
//
// Of a pseudo-terminal it takes back the exclusive mode that the library sets:
// such a terminal outlives a killed process and would stay closed to its
// successor. The flock ends with the process.
func openPort(path string, mode *serial.Mode, lock portLock) (serial.Port, error) {
	syscall.ForkLock.RLock()
	defer syscall.ForkLock.RUnlock()
	port, err := serial.Open(path, mode)
	if err != nil {
		return nil, err
	}
	entries, err := os.ReadDir("/dev/fd")
	if err != nil {
		port.Close()
		return nil, fmt.Errorf("listing open files: %w", err)
	}
	for _, e := range entries {
		if fd, err := strconv.Atoi(e.Name()); err == nil && fd > 2 {
			unix.CloseOnExec(fd)
		}
	}
	if strings.HasPrefix(path, "/dev/pts/") {
		if err := unix.IoctlSetInt(lock.fd, unix.TIOCNXCL, 0); err != nil {
			port.Close()
			return nil, fmt.Errorf("ending exclusive mode: %w", err)
		}
	}
	return port, nil
}

func interrupted(err error) bool { return errors.Is(err, unix.EINTR) }
