package link

import (
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"time"

	"go.bug.st/serial"
)

const (
	// slice is the longest a Read stays in the port without looking whether
	// the link was closed meanwhile.
	slice = 50 * time.Millisecond
	// chunk is the most one write to the port carries.
	chunk = 256
	// closeTime bounds how long Close waits for a call that is in the port.
	closeTime = time.Second
)

// serialLink is a serial port with the guards that the port library lacks: a
// read that returns nothing is a time-out, a write after Close never reaches a
// descriptor that has become something else, and a write that the port does
// not take ends at its deadline.
type serialLink struct {
	address Address
	port    serial.Port
	lock    portLock
	reading sync.Mutex // the port's read time-out belongs to one reader
	writing sync.Mutex
	lines   sync.Mutex    // a line is switched by reading both and writing both
	shut    chan struct{} // closed when the port is

	mu     sync.Mutex // guards what follows
	inPort int        // calls within the port; it stays open until they return
	closed bool
	broken error // set by a failed write
}

// openSerial resolves the path anew each time, since stable names
// (/dev/serial/by-id/…) point to numbers that change when an adapter is
// plugged in again.
func openSerial(a Address) (Link, error) {
	path := a.Path
	if resolved, err := filepath.EvalSymlinks(path); err == nil {
		path = resolved
	}
	lock, err := lockPort(path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", a, err)
	}
	mode := &serial.Mode{BaudRate: a.Baud, DataBits: a.DataBits, Parity: parities[a.Parity], StopBits: stopBits[a.StopBits]}
	if a.DTROff || a.RTSOff {
		mode.InitialStatusBits = &serial.ModemOutputBits{DTR: !a.DTROff, RTS: !a.RTSOff}
	}
	port, err := openPort(path, mode, lock)
	if err != nil {
		lock.release()
		return nil, fmt.Errorf("%s: %w: %w; %s", a, ErrGone, err, openHint(err))
	}
	s := &serialLink{address: a, port: port, lock: lock, shut: make(chan struct{})}
	if err := port.ResetInputBuffer(); err != nil {
		s.Close()
		return nil, fmt.Errorf("%s: %w: discarding old input: %w", a, ErrGone, err)
	}
	if err := s.linesOff(); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

var (
	parities = map[string]serial.Parity{"none": serial.NoParity, "even": serial.EvenParity, "odd": serial.OddParity}
	stopBits = map[string]serial.StopBits{"1": serial.OneStopBit, "1.5": serial.OnePointFiveStopBits, "2": serial.TwoStopBits}
)

func openHint(err error) string {
	var p *serial.PortError
	if errors.As(err, &p) {
		switch p.Code() {
		case serial.PortBusy:
			return "another program has the port open: close it"
		case serial.PermissionDenied:
			return "this user may not open the port: on Linux join the group dialout"
		case serial.InvalidSerialPort:
			return "it is not a serial port: check the path"
		case serial.InvalidSpeed:
			return "the port does not have this baud rate"
		case serial.InvalidDataBits, serial.InvalidParity, serial.InvalidStopBits:
			return "the port does not have these data bits, parity or stop bits"
		}
	}
	return "check that the adapter is plugged in, and the path"
}

// String implements Link.
func (s *serialLink) String() string { return s.address.String() }

// enter keeps the port open until leave.
func (s *serialLink) enter() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case s.closed:
		return fmt.Errorf("%s: %w", s, ErrClosed)
	case s.broken != nil:
		return fmt.Errorf("%s: %w after %w", s, ErrGone, s.broken)
	}
	s.inPort++
	return nil
}

// leave closes the port if Close came while the last call was in it.
func (s *serialLink) leave() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.inPort--
	if s.closed && s.inPort == 0 {
		s.release()
	}
}

// release closes the port; s.mu is held and no call is within the port.
func (s *serialLink) release() error {
	defer close(s.shut)
	return errors.Join(s.port.Close(), s.lock.release())
}

// Read implements Link.
func (s *serialLink) Read(p []byte, deadline time.Time) (int, error) {
	if len(p) == 0 {
		return 0, nil // the port library would call it closed
	}
	s.reading.Lock()
	defer s.reading.Unlock()
	for {
		n, err := s.readOnce(p, min(max(time.Until(deadline), 0), slice))
		switch {
		case err != nil:
			return 0, err
		case n > 0:
			return n, nil
		case !time.Now().Before(deadline):
			return 0, fmt.Errorf("%s: %w", s, ErrTimeout)
		}
	}
}

// readOnce returns 0, nil when nothing arrived in time.
func (s *serialLink) readOnce(p []byte, wait time.Duration) (n int, err error) {
	if err := s.enter(); err != nil {
		return 0, err
	}
	defer s.leave()
	defer func() {
		// The library's select has room for descriptors below 1024 only and
		// panics beyond.
		if r := recover(); r != nil {
			n, err = 0, fmt.Errorf("%s: %w: too many files are open in this process for the serial port: %v", s, ErrGone, r)
		}
	}()
	if err := s.port.SetReadTimeout(wait); err != nil {
		return 0, fmt.Errorf("%s: %w: %w", s, ErrGone, err)
	}
	if n, err = s.port.Read(p); n == 0 && err != nil {
		// A hung-up terminal reads as "port closed", too; enter has told our
		// own Close from it.
		return 0, fmt.Errorf("%s: %w: %w", s, ErrGone, err)
	}
	return n, nil
}

// Write implements Link. What the port does not take at once is written beside
// a watchdog, since the port has no write time-out. When that bites, the rest
// of p is dropped and the link is gone, since nobody knows how much of it
// arrived.
func (s *serialLink) Write(p []byte, deadline time.Time) error {
	s.writing.Lock()
	defer s.writing.Unlock()
	if err := s.enter(); err != nil {
		return err
	}
	p = p[s.lock.writeNow(p):]
	if len(p) == 0 {
		s.leave()
		return nil
	}
	done := make(chan error, 1)
	go func(p []byte) {
		defer s.leave()
		done <- s.writeAll(p)
	}(append([]byte(nil), p...))
	watchdog := time.NewTimer(time.Until(deadline))
	defer watchdog.Stop()
	var err error
	select {
	case err = <-done:
	case <-watchdog.C:
		err = fmt.Errorf("%s: writing: %w", s, ErrTimeout)
	}
	if err != nil {
		s.mu.Lock()
		s.broken = err
		s.mu.Unlock()
	}
	return err
}

// writeAll loops, since a write may be short, and stops between chunks once
// the link is closed or given up.
func (s *serialLink) writeAll(p []byte) error {
	for len(p) > 0 {
		s.mu.Lock()
		closed, broken := s.closed, s.broken
		s.mu.Unlock()
		if closed {
			return fmt.Errorf("%s: %w", s, ErrClosed)
		}
		if broken != nil {
			return broken
		}
		n, err := s.port.Write(p[:min(len(p), chunk)])
		if err != nil && !interrupted(err) {
			return fmt.Errorf("%s: %w: %w", s, ErrGone, err)
		}
		p = p[n:]
	}
	return nil
}

// Clear implements Link.
func (s *serialLink) Clear() error {
	if err := s.enter(); err != nil {
		return err
	}
	defer s.leave()
	if err := s.port.ResetInputBuffer(); err != nil {
		return fmt.Errorf("%s: %w: %w", s, ErrGone, err)
	}
	return nil
}

// Close implements Link. A call that is within the port is waited for, and a
// write that hangs there is freed by discarding the output; if even that does
// not help, the port is released when the write returns.
func (s *serialLink) Close() error {
	s.mu.Lock()
	if s.closed {
		s.mu.Unlock()
		return nil
	}
	s.closed = true
	if s.inPort == 0 {
		defer s.mu.Unlock()
		return s.release()
	}
	s.mu.Unlock()
	limit := time.NewTimer(closeTime)
	defer limit.Stop()
	again := time.NewTicker(10 * time.Millisecond)
	defer again.Stop()
	for {
		select {
		case <-s.shut:
			return nil
		case <-limit.C:
			return fmt.Errorf("%s: closed, but a write hangs in the port: it stays taken until the operating system lets go", s)
		case <-again.C:
			s.mu.Lock()
			if s.inPort > 0 {
				// Best effort: it frees a stuck write or it does not.
				s.port.ResetOutputBuffer()
				s.lock.wakeWriter()
			}
			s.mu.Unlock()
		}
	}
}
