package link

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// addressLock keeps other programs of this computer away from an instrument.
// One with a TCP port talks to any number of programs at once, and each would
// undo what the other does: a run could switch on what another one holds off
// for a person. It cannot keep another computer away.
//
// It is a socket that is bound to a name in the kernel's abstract namespace and
// never used. The name goes with the process, whatever ends it.
type addressLock struct{ fd int }

func lockAddress(address string) (addressLock, error) {
	fd, err := unix.Socket(unix.AF_UNIX, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return addressLock{}, os.NewSyscallError("socket", err)
	}
	// A host's name may be longer than a socket's.
	name := fmt.Sprintf("@ringup-tcp-%x", sha256.Sum256([]byte(address)))
	if err := unix.Bind(fd, &unix.SockaddrUnix{Name: name}); err != nil {
		unix.Close(fd)
		if errors.Is(err, unix.EADDRINUSE) {
			return addressLock{}, errors.New("another run or program on this computer holds the instrument; end it first")
		}
		return addressLock{}, os.NewSyscallError("bind", err)
	}
	return addressLock{fd}, nil
}

func (l addressLock) release() error { return unix.Close(l.fd) }
