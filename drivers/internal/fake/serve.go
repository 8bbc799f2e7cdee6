package fake

import (
	"io"
	"net"
	"os"
	"runtime"
	"testing"

	"github.com/creack/pty"
)

// Wire is an instrument's end of a link.
type Wire struct {
	Address string
	cut     func()
}

// Cut breaks the link for good: the pseudo-terminal or socket is closed.
func (w *Wire) Cut() { w.cut() }

// Transports are the links that instruments can be served on here.
func Transports() []string {
	if runtime.GOOS == "linux" {
		return []string{"pty", "tcp"}
	}
	return []string{"tcp"}
}

// Serve puts an instrument on a transport until the test ends.
func Serve(t testing.TB, i *Instrument, transport string) *Wire {
	t.Helper()
	return ServeFunc(t, func(rw io.ReadWriter) { i.Serve(rw) }, transport)
}

// ServeFunc has serve talk to whoever connects, until the test ends.
func ServeFunc(t testing.TB, serve func(io.ReadWriter), transport string) *Wire {
	t.Helper()
	if transport == "tcp" {
		return serveTCP(t, serve)
	}
	return servePTY(t, serve)
}

func servePTY(t testing.TB, serve func(io.ReadWriter)) *Wire {
	t.Helper()
	master, address := PTY(t)
	done := make(chan struct{})
	go func() {
		defer close(done)
		serve(master)
	}()
	cut := func() {
		master.Close()
		<-done
	}
	t.Cleanup(cut)
	return &Wire{Address: address, cut: cut}
}

func serveTCP(t testing.TB, serve func(io.ReadWriter)) *Wire {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatalf("listen: %v", err)
	}
	done := make(chan struct{})
	conns := make(chan net.Conn, 100)
	go func() {
		defer close(done)
		defer close(conns)
		for {
			conn, err := listener.Accept()
			if err != nil {
				return
			}
			conns <- conn
			go func() {
				defer conn.Close()
				serve(conn)
			}()
		}
	}()
	cut := func() {
		listener.Close()
		<-done
		for conn := range conns {
			conn.Close()
		}
	}
	t.Cleanup(cut)
	return &Wire{Address: "tcp:" + listener.Addr().String(), cut: cut}
}

// PTY opens a pseudo-terminal pair whose far end the test itself plays. Closing
// the far end hangs the terminal up.
func PTY(t testing.TB) (far *os.File, address string) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatalf("pseudo-terminal: %v", err)
	}
	far, err = pollable(master)
	if err != nil {
		t.Fatalf("pseudo-terminal: %v", err)
	}
	t.Cleanup(func() {
		far.Close()
		slave.Close() // open until now: a master without slaves reads EIO
	})
	return far, "serial:" + slave.Name() + "?baud=115200"
}
