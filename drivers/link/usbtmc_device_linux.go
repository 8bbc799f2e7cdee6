package link

import (
	"errors"
	"fmt"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// Requests of the kernel's usbtmc driver (include/uapi/linux/usb/tmc.h), with
// the direction bits as all but a few old architectures have them.
const (
	ioctlClear        = 0x5b02
	ioctlClearOutHalt = 0x5b06
	ioctlClearInHalt  = 0x5b07
	ioctlSetTimeout   = 0x40045b0a
	ioctlReadSTB      = 0x80015b12
	ioctlMsgInAttr    = 0x80015b18
)

// pieceSize is what one read asks for. A longer message takes several.
const pieceSize = 64 << 10

// shortestTimeout is the least that the driver accepts.
const shortestTimeout = 100 * time.Millisecond

// piece is what one transfer brought: some of a message, and whether it is the
// message's end.
type piece struct {
	data []byte
	end  bool
	err  error
}

// usbtmcDevice is an open device file. It is a bare descriptor and no os.File:
// that would be polled, and the driver's poll waits for the lock that a read in
// progress holds, so the whole program would wait with it. Its methods run on
// its thread (see onThread), but for begin.
type usbtmcDevice struct {
	fd       int
	timeout  time.Duration
	calls    chan func()
	shut     <-chan struct{}
	ended    chan struct{} // closed once the descriptor is
	closeErr error         // set before ended is closed
}

// openUSBTMCDevice opens the device file for this process alone: the driver
// lets any number of programs talk at once, and each would read the others'
// replies.
func openUSBTMCDevice(path string, shut <-chan struct{}) (*usbtmcDevice, error) {
	fd, err := unix.Open(path, unix.O_RDWR|unix.O_CLOEXEC, 0)
	switch {
	case errors.Is(err, unix.EACCES), errors.Is(err, unix.EPERM):
		return nil, fmt.Errorf("%w: %w", ErrGone, thisComputer.permission(path))
	case err != nil:
		return nil, fmt.Errorf("%w: %s: %w; check that the instrument is on and plugged in", ErrGone, path, err)
	}
	if err := unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB); err != nil {
		unix.Close(fd)
		if errors.Is(err, unix.EWOULDBLOCK) {
			return nil, fmt.Errorf("%w: another run or program holds %s; end it first", ErrGone, path)
		}
		return nil, fmt.Errorf("%w: locking %s: %w", ErrGone, path, err)
	}
	d := &usbtmcDevice{fd: fd, calls: make(chan func()), shut: shut, ended: make(chan struct{})}
	if err := d.start(); err != nil {
		unix.Close(fd)
		return nil, err
	}
	return d, nil
}

// ioctl is one request to the driver; argument may be nil. Some kernels return
// leftovers instead of 0, so only an error number counts.
func (d *usbtmcDevice) ioctl(request uintptr, argument unsafe.Pointer) error {
	if _, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(d.fd), request, uintptr(argument)); errno != 0 {
		return errno
	}
	return nil
}

// setTimeout sets what each 4 KiB may take.
func (d *usbtmcDevice) setTimeout(t time.Duration) error {
	t = max(t, shortestTimeout)
	if t == d.timeout {
		return nil
	}
	ms := uint32(t.Milliseconds())
	err := d.ioctl(ioctlSetTimeout, unsafe.Pointer(&ms))
	if err == nil {
		d.timeout = t
	}
	return err
}

func (d *usbtmcDevice) statusByte() (byte, error) {
	var status byte
	err := d.ioctl(ioctlReadSTB, unsafe.Pointer(&status))
	return status, err
}

// clear is USB-TMC's device clear.
func (d *usbtmcDevice) clear() error { return d.ioctl(ioctlClear, nil) }

func (d *usbtmcDevice) write(message []byte, timeout time.Duration) error {
	if err := d.setTimeout(timeout); err != nil {
		return err
	}
	n, err := unix.Write(d.fd, message)
	switch {
	case err == nil && n < len(message):
		err = fmt.Errorf("%w: %d of %d bytes were taken", ErrDamaged, n, len(message))
	case errors.Is(err, unix.ETIMEDOUT):
		err = fmt.Errorf("%w: %w", ErrTimeout, err)
	}
	if err == nil {
		return nil
	}
	return d.recover(err, ioctlClearOutHalt)
}

// read takes one transfer, each 4 KiB of which may take limit. One that was
// announced has not merely been late if it does not come.
func (d *usbtmcDevice) read(limit time.Duration, announced bool) piece {
	if err := d.setTimeout(limit); err != nil {
		return piece{err: err}
	}
	data := make([]byte, pieceSize)
	n, err := unix.Read(d.fd, data)
	var attributes byte
	switch {
	case errors.Is(err, unix.ETIMEDOUT) && !announced:
		err = fmt.Errorf("%w: %w", ErrTimeout, err)
	case err != nil && !gone(err):
		err = fmt.Errorf("%w: %w", ErrDamaged, err)
	case err == nil && n == 0:
		// The driver's way to say that a transfer broke the protocol: a wrong
		// tag, a wrong message, more than was asked for, or a leftover.
		err = fmt.Errorf("%w: a transfer with a wrong tag or length", ErrDamaged)
	case err == nil:
		// Neither a short read nor a full one tells where the message ends.
		err = d.ioctl(ioctlMsgInAttr, unsafe.Pointer(&attributes))
	}
	if err != nil {
		return piece{err: d.recover(err, ioctlClearInHalt)}
	}
	return piece{data: data[:n], end: attributes&1 != 0}
}

// recover brings device and driver back into step after a failed transfer:
// without the clear a late reply would answer the next request with an old tag.
func (d *usbtmcDevice) recover(cause error, clearHalt uintptr) error {
	if gone(cause) {
		return fmt.Errorf("%w: %w", ErrGone, cause)
	}
	if errors.Is(cause, unix.EPIPE) {
		cause = errors.Join(cause, d.ioctl(clearHalt, nil))
	}
	if err := d.clear(); err != nil {
		return fmt.Errorf("%w; device clear: %w: %w", cause, ErrGone, err)
	}
	return cause
}

// gone tells whether an error says that the instrument was unplugged.
func gone(err error) bool {
	return errors.Is(err, unix.ENODEV) || errors.Is(err, unix.ESHUTDOWN) || errors.Is(err, unix.ENOENT)
}
