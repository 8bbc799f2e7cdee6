package link

import (
	"errors"
	"fmt"
	"net"
	"os"
	"strconv"
	"sync"
	"time"
)

// dialTime bounds making a connection.
const dialTime = 5 * time.Second

// tcpLink is a raw TCP socket.
type tcpLink struct {
	address Address
	lock    addressLock
	writing sync.Mutex

	mu     sync.Mutex // guards what follows
	conn   net.Conn
	closed bool
	broken error // set by a failed write: how much arrived is not known
}

func openTCP(a Address) (Link, error) {
	lock, err := lockAddress(hostPort(a))
	if err != nil {
		return nil, fmt.Errorf("%s: %w: %w", a, ErrGone, err)
	}
	conn, err := dial(a)
	if err != nil {
		return nil, errors.Join(err, lock.release())
	}
	return &tcpLink{address: a, lock: lock, conn: conn}, nil
}

func hostPort(a Address) string { return net.JoinHostPort(a.Host, strconv.Itoa(a.Port)) }

func dial(a Address) (net.Conn, error) {
	d := net.Dialer{Timeout: dialTime, KeepAliveConfig: net.KeepAliveConfig{Enable: true, Idle: 15 * time.Second, Interval: 5 * time.Second, Count: 3}}
	conn, err := d.Dial("tcp", hostPort(a))
	if err != nil {
		return nil, fmt.Errorf("%s: %w: %w; check that the instrument is on, and its address and port", a, ErrGone, err)
	}
	return conn, nil
}

// String implements Link.
func (t *tcpLink) String() string { return t.address.String() }

// current returns the connection in use.
func (t *tcpLink) current() (net.Conn, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	switch {
	case t.closed:
		return nil, fmt.Errorf("%s: %w", t, ErrClosed)
	case t.broken != nil:
		return nil, fmt.Errorf("%s: %w after %w", t, ErrGone, t.broken)
	}
	return t.conn, nil
}

// Read implements Link.
func (t *tcpLink) Read(p []byte, deadline time.Time) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	conn, err := t.current()
	if err != nil {
		return 0, err
	}
	if err := conn.SetReadDeadline(deadline); err != nil {
		return 0, t.explain(err)
	}
	n, err := conn.Read(p)
	if n > 0 {
		return n, nil // an error that came with it comes again
	}
	return 0, t.explain(err)
}

// Write implements Link.
func (t *tcpLink) Write(p []byte, deadline time.Time) error {
	t.writing.Lock()
	defer t.writing.Unlock()
	conn, err := t.current()
	if err != nil {
		return err
	}
	if err := conn.SetWriteDeadline(deadline); err != nil {
		return t.explain(err)
	}
	if _, err := conn.Write(p); err != nil {
		err = t.explain(err)
		t.mu.Lock()
		if t.conn == conn {
			t.broken = err
		}
		t.mu.Unlock()
		return err
	}
	return nil
}

// Clear implements Link by making the connection anew.
func (t *tcpLink) Clear() error {
	conn, err := t.current()
	if err != nil {
		return err
	}
	conn.Close()
	fresh, err := dial(t.address)
	t.mu.Lock()
	defer t.mu.Unlock()
	switch {
	case err != nil:
		t.broken = err
		return err
	case t.closed:
		fresh.Close()
		return fmt.Errorf("%s: %w", t, ErrClosed)
	}
	t.conn = fresh
	return nil
}

// Close implements Link.
func (t *tcpLink) Close() error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.closed {
		return nil
	}
	t.closed = true
	return errors.Join(t.conn.Close(), t.lock.release())
}

// explain maps the network's error to one of ours, keeping the cause.
func (t *tcpLink) explain(err error) error {
	t.mu.Lock()
	closed := t.closed
	t.mu.Unlock()
	switch {
	case closed:
		return fmt.Errorf("%s: %w", t, ErrClosed)
	case errors.Is(err, os.ErrDeadlineExceeded):
		return fmt.Errorf("%s: %w", t, ErrTimeout)
	}
	return fmt.Errorf("%s: %w: %w", t, ErrGone, err)
}
