//go:build linux

package usbguest

import (
	"encoding/binary"
	"fmt"
	"io"
	"os"

	"golang.org/x/sys/unix"
)

// Commands and answers of the kernel's USB/IP protocol.
const (
	commandSubmit = 1
	commandUnlink = 2
	answerSubmit  = 3
	answerUnlink  = 4
)

// Outcomes of a request, as negative error numbers.
const (
	statusOK       = 0
	statusStall    = -int(unix.EPIPE)
	statusUnlinked = -int(unix.ECONNRESET)
)

// request is a transfer that the kernel wants done.
type request struct {
	sequence uint32
	in       bool
	endpoint int
	length   int
	setup    [8]byte
	data     []byte // of an outgoing one
	unlinks  uint32 // the request to take back, for commandUnlink
	command  uint32
}

const headerSize = 48

// readRequest reads one message from the kernel.
func readRequest(r io.Reader) (q request, err error) {
	var h [headerSize]byte
	if _, err = io.ReadFull(r, h[:]); err != nil {
		return q, err
	}
	word := func(at int) uint32 { return binary.BigEndian.Uint32(h[at:]) }
	q = request{command: word(0), sequence: word(4), in: word(12) == 1, endpoint: int(word(16)), length: int(word(24)), setup: [8]byte(h[40:])}
	switch q.command {
	case commandUnlink:
		q.unlinks = word(20)
	case commandSubmit:
		if !q.in && q.length > 0 {
			q.data = make([]byte, q.length)
			_, err = io.ReadFull(r, q.data)
		}
	default:
		err = fmt.Errorf("USB/IP command %d is not known", q.command)
	}
	return q, err
}

// answer is a reply to the kernel. length is what was transferred; data is that
// of an incoming transfer.
func answer(command, sequence uint32, status, length int, data []byte) []byte {
	h := make([]byte, headerSize, headerSize+len(data))
	binary.BigEndian.PutUint32(h[0:], command)
	binary.BigEndian.PutUint32(h[4:], sequence)
	binary.BigEndian.PutUint32(h[20:], uint32(status))
	if command == answerSubmit {
		binary.BigEndian.PutUint32(h[24:], uint32(length))
		binary.BigEndian.PutUint32(h[32:], 0xffffffff) // not isochronous
	}
	return append(h, data...)
}

// attach connects a new device to a port of the kernel's virtual host
// controller and returns the device's end. Closing that is unplugging.
func attach(port int) (*os.File, error) {
	pair, err := unix.Socketpair(unix.AF_UNIX, unix.SOCK_STREAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return nil, err
	}
	defer unix.Close(pair[1])
	const highSpeed = 3
	order := fmt.Sprintf("%d %d %d %d", port, pair[1], 1<<16|(port+2), highSpeed)
	if err := os.WriteFile("/sys/devices/platform/vhci_hcd.0/attach", []byte(order), 0); err != nil {
		unix.Close(pair[0])
		return nil, fmt.Errorf("attaching to port %d: %w", port, err)
	}
	if err := unix.SetNonblock(pair[0], true); err != nil {
		return nil, err
	}
	return os.NewFile(uintptr(pair[0]), "usbip"), nil
}
