package link

import (
	"bytes"
	"errors"
	"fmt"
	"sync"
	"time"

	"golang.org/x/sys/unix"
)

const (
	// pieceTime is what the driver gives each 4 KiB of a reply to arrive.
	pieceTime = 2 * time.Second
	// firstPoll and lastPoll are the pauses between two looks at the status
	// byte, doubling from the first to the last.
	firstPoll = time.Millisecond
	lastPoll  = 20 * time.Millisecond
	// clearTime bounds how long Clear waits for a transfer in progress and for
	// the device clear itself, which asks a busy instrument again and again.
	clearTime = 10 * time.Second
	// messageAvailable is the status byte's bit 4, MAV (IEEE 488.2, 11.2.1.2).
	messageAvailable = 0x10
)

// usbtmcLink makes a byte stream of a USB-TMC instrument's messages. One Write
// is one message. A reply's bytes come one after another; one that does not end
// with a newline gets one, since a byte stream has no other sign of its end.
//
// The instrument is asked for a reply only when its status byte says that one
// waits: a read with nothing to come cannot be cancelled, holds up every other
// use of the device, and is a query error to the instrument. A transfer once
// begun goes on beyond the deadline of the Read that began it; the next Read
// takes what it brought.
//
// With mav=off in the address the status byte is not looked at. Then each Write
// may be followed by one message from the instrument, which a Read asks for at
// once, and which may take as long as the Write might have. Until it comes, or
// that time has passed, it blocks the device, even for a command as urgent as
// output off.
type usbtmcLink struct {
	address Address
	device  *usbtmcDevice
	reading sync.Mutex // guards pending, ends, rest, middle and spoke
	writing sync.Mutex

	pending chan piece // a transfer in progress
	ends    time.Time  // when the driver gives up to wait for its first bytes
	rest    []byte     // received, not yet read
	middle  bool       // the message that rest ends with goes on
	spoke   bool       // its status byte has once said that a message waits

	asked chan time.Time // when the reply to the last Write is late, while it has not been asked for

	shut   chan struct{} // closed by Close
	mu     sync.Mutex    // guards what follows
	closed bool
	broken error // set by a failed write or device clear
}

// openUSBTMC finds the instrument anew each time, since the number of its
// device file changes when it is plugged in again. A device clear discards what
// an earlier program left unread; it changes no setting.
func openUSBTMC(a Address) (Link, error) {
	path, err := thisComputer.findUSBTMC(a)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", a, err)
	}
	u := &usbtmcLink{address: a, asked: make(chan time.Time, 1), shut: make(chan struct{})}
	if u.device, err = openUSBTMCDevice(path, u.shut); err != nil {
		return nil, fmt.Errorf("%s: %w", a, err)
	}
	deadline := time.Now().Add(clearTime)
	_, err = onThread(u.device, deadline, func() (struct{}, error) { return struct{}{}, u.device.clear() })
	if err != nil {
		err = fmt.Errorf("%w: device clear: %w; switch the instrument off and on", ErrGone, err)
	} else if !a.MAVOff {
		if _, err = onThread(u.device, deadline, u.device.statusByte); err != nil {
			err = fmt.Errorf("%w: reading the status byte: %w; %w", ErrGone, err, ErrNoStatus)
		}
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("%s: %w", a, err), u.Close())
	}
	return u, nil
}

// String implements Link.
func (u *usbtmcLink) String() string { return u.address.String() }

func (u *usbtmcLink) usable() error {
	u.mu.Lock()
	defer u.mu.Unlock()
	switch {
	case u.closed:
		return fmt.Errorf("%s: %w", u, ErrClosed)
	case u.broken != nil:
		return fmt.Errorf("%s: %w after %w", u, ErrGone, u.broken)
	}
	return nil
}

// explain maps the driver's error to one of ours, keeping the cause.
func (u *usbtmcLink) explain(doing string, err error) error {
	switch {
	case errors.Is(err, ErrClosed), errors.Is(err, ErrTimeout), errors.Is(err, ErrDamaged):
		return fmt.Errorf("%s: %s: %w", u, doing, err)
	}
	return fmt.Errorf("%s: %s: %w: %w", u, doing, ErrGone, err)
}

// Read implements Link.
func (u *usbtmcLink) Read(p []byte, deadline time.Time) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	u.reading.Lock()
	defer u.reading.Unlock()
	if err := u.usable(); err != nil {
		return 0, err
	}
	if len(u.rest) == 0 {
		if err := u.receive(deadline); err != nil {
			return 0, u.explain("reading", err)
		}
	}
	n := copy(p, u.rest)
	u.rest = u.rest[n:]
	return n, nil
}

// receive fills rest with the next piece of a message.
func (u *usbtmcLink) receive(deadline time.Time) error {
	if u.pending == nil {
		limit, announced, err := u.awaitMessage(deadline)
		if err != nil {
			return err
		}
		u.pending, u.ends = u.device.begin(limit, announced), time.Now().Add(limit)
	}
	got, err := u.await(deadline)
	if err != nil {
		return err
	}
	u.rest, u.middle = got.data, got.err == nil && !got.end
	if got.end && !bytes.HasSuffix(u.rest, []byte("\n")) {
		u.rest = append(u.rest, '\n')
	}
	return got.err
}

// await returns the outcome of the transfer in progress.
func (u *usbtmcLink) await(deadline time.Time) (piece, error) {
	timer := time.NewTimer(time.Until(deadline))
	defer timer.Stop()
	select {
	case got := <-u.pending:
		u.pending = nil
		return got, nil
	case <-u.shut:
		return piece{}, ErrClosed
	case <-timer.C:
		return piece{}, ErrTimeout
	}
}

// awaitMessage waits until a transfer can be asked for. It returns how long the
// driver is to wait for it, and whether the instrument has said that it will
// come.
func (u *usbtmcLink) awaitMessage(deadline time.Time) (limit time.Duration, announced bool, err error) {
	switch {
	case u.middle:
		return pieceTime, true, nil
	case !u.address.MAVOff:
		return pieceTime, true, u.awaitStatus(deadline)
	}
	timer := time.NewTimer(time.Until(deadline))
	defer timer.Stop()
	select {
	case by := <-u.asked:
		return time.Until(by), false, nil
	case <-u.shut:
		return 0, false, ErrClosed
	case <-timer.C:
		return 0, false, ErrTimeout
	}
}

// awaitStatus polls the status byte until it says that a message waits.
func (u *usbtmcLink) awaitStatus(deadline time.Time) error {
	for pause := firstPoll; ; pause = min(2*pause, lastPoll) {
		status, err := onThread(u.device, deadline, u.device.statusByte)
		switch {
		case err == nil && status&messageAvailable != 0:
			u.spoke = true
			return nil
		case errors.Is(err, ErrTimeout):
			return u.unannounced()
		case errors.Is(err, unix.ETIMEDOUT): // a busy instrument
		case err != nil:
			return err
		}
		timer := time.NewTimer(min(pause, time.Until(deadline)))
		select {
		case <-timer.C:
		case <-u.shut:
			timer.Stop()
			return ErrClosed
		}
		if !time.Now().Before(deadline) {
			return u.unannounced()
		}
	}
}

// unannounced is the time-out of a status byte that did not say that a message
// waits. There are instruments whose status byte never does.
func (u *usbtmcLink) unannounced() error {
	if u.spoke || len(u.asked) == 0 {
		return ErrTimeout
	}
	other := u.address
	other.MAVOff = true
	return fmt.Errorf("%w; its status byte has not once said that a reply waits, and that of some instruments never does: ringup find asks without it, and the address is then %q", ErrTimeout, other)
}

// Write implements Link: all of p is one message, with its end marked.
func (u *usbtmcLink) Write(p []byte, deadline time.Time) error {
	u.writing.Lock()
	defer u.writing.Unlock()
	if err := u.usable(); err != nil || len(p) == 0 {
		return err
	}
	patience := time.Until(deadline)
	message := bytes.Clone(p) // the driver may still be at it after the deadline
	_, err := onThread(u.device, deadline, func() (struct{}, error) {
		return struct{}{}, u.device.write(message, time.Until(deadline))
	})
	if err != nil {
		err = u.explain("writing", err)
		u.breakDown(err)
		return err
	}
	u.forget()
	u.asked <- time.Now().Add(patience)
	return nil
}

// forget has no reply asked for until something is written again.
func (u *usbtmcLink) forget() {
	select {
	case <-u.asked:
	default:
	}
}

// breakDown has every later call fail with ErrGone.
func (u *usbtmcLink) breakDown(err error) {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.broken = err
}

// Clear implements Link by USB-TMC's device clear, which empties the
// instrument's queues both ways.
func (u *usbtmcLink) Clear() error {
	u.reading.Lock()
	defer u.reading.Unlock()
	if err := u.usable(); err != nil {
		return err
	}
	deadline := time.Now().Add(clearTime)
	if u.ends.After(time.Now()) {
		deadline = u.ends.Add(clearTime)
	}
	var err error
	if u.pending != nil {
		_, err = u.await(deadline)
	}
	u.forget()
	if err == nil {
		_, err = onThread(u.device, deadline, func() (struct{}, error) { return struct{}{}, u.device.clear() })
	}
	u.rest, u.middle = nil, false
	if errors.Is(err, ErrClosed) {
		return u.explain("device clear", err)
	}
	if err != nil {
		err = fmt.Errorf("%s: device clear: %w: %w", u, ErrGone, err)
		u.breakDown(err)
	}
	return err
}

// Close implements Link. A transfer in progress cannot be broken off, so the
// device is released when it ends.
func (u *usbtmcLink) Close() error {
	u.mu.Lock()
	first := !u.closed
	if first {
		u.closed = true
		close(u.shut)
	}
	u.mu.Unlock()
	limit := time.NewTimer(closeTime)
	defer limit.Stop()
	select {
	case <-u.device.ended:
		if !first {
			return nil
		}
		return u.device.closeErr
	case <-limit.C:
		return fmt.Errorf("%s: closed, but a transfer is still in the driver: the instrument stays taken until it ends", u)
	}
}
