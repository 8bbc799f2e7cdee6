// Package link carries bytes to an instrument and back: over a serial port, a
// raw TCP socket or USB-TMC. It knows addresses, deadlines and lost
// connections, lists the ports there are, and knows nothing of what the bytes
// mean.
package link

import (
	"errors"
	"fmt"
	"time"
)

// Errors a Link reports; test with errors.Is.
var (
	// ErrTimeout says that the deadline passed: nothing arrived, or not all
	// could be written.
	ErrTimeout = errors.New("no answer in time")
	// ErrGone says that the other end is no longer there: unplugged, switched
	// off, connection closed. Only opening the address again helps.
	ErrGone = errors.New("the instrument cannot be reached")
	// ErrDamaged says that a reply was announced and did not come whole: the
	// driver found a transfer wrong, or stalled. What had come of it is lost,
	// and the instrument's output is empty again.
	ErrDamaged = errors.New("the reply was damaged on its way")
	// ErrNoStatus says that a USB-TMC instrument does not give its status byte,
	// which tells whether a reply waits.
	ErrNoStatus = errors.New("an instrument without a status byte (USB-TMC without its part USB488) needs mav=off in its address")
	// ErrClosed says that this end was closed by Close.
	ErrClosed = errors.New("the link was closed")
)

// Link is a byte stream to one instrument. One goroutine reads and one writes
// at a time; Close may be called from any. A serial port's is a Lines as well.
type Link interface {
	// Read returns at least one byte, ErrTimeout when the deadline passes with
	// nothing, ErrDamaged where the link can tell, or ErrGone. It never returns 0 without an error, except for an
	// empty p.
	Read(p []byte, deadline time.Time) (int, error)
	// Write sends all of p, which is a whole message, or returns an error. After a failed Write the link
	// is gone, since how much of p arrived is not known.
	Write(p []byte, deadline time.Time) error
	// Clear discards what waits unread. A TCP connection has no device clear,
	// so there it is closed and made anew: whoever calls Clear must identify
	// the instrument afterwards.
	Clear() error
	// Close releases the address. No byte is written after it returns.
	Close() error
	// String is the address in its canonical form.
	String() string
}

// Open opens an address in any form that Parse takes.
func Open(address string) (Link, error) {
	a, err := Parse(address)
	if err != nil {
		return nil, err
	}
	switch a.Kind {
	case Serial:
		return openSerial(a)
	case TCP:
		return openTCP(a)
	case USBTMC:
		return openUSBTMC(a)
	}
	return nil, fmt.Errorf("address %q: kind %q cannot be opened; allowed are: %s", address, a.Kind, allowed)
}
