package fake

import (
	"io"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/creack/pty"
)

// Wire is an instrument's end of a link. Its address stays the same when it is
// cut and plugged in again.
type Wire struct {
	Address string

	t    testing.TB
	name string // of the link to the pseudo-terminal; "" for TCP
	cut  func()
}

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
	w := &Wire{t: t, Address: "tcp:127.0.0.1:0"}
	if transport == "pty" {
		w.name = filepath.Join(t.TempDir(), "port")
		w.Address = "serial:" + w.name + "?baud=115200"
	}
	w.plug(serve)
	t.Cleanup(func() { w.Cut() })
	return w
}

// Cut breaks the link: the pseudo-terminal or socket is closed.
func (w *Wire) Cut() { w.cut() }

// Plug puts an instrument at the address again.
func (w *Wire) Plug(i *Instrument) {
	w.t.Helper()
	w.plug(func(rw io.ReadWriter) { i.Serve(rw) })
}

func (w *Wire) plug(serve func(io.ReadWriter)) {
	w.t.Helper()
	if w.name == "" {
		w.listen(serve)
		return
	}
	far, address := PTY(w.t)
	os.Remove(w.name)
	if err := os.Symlink(strings.TrimSuffix(strings.TrimPrefix(address, "serial:"), "?baud=115200"), w.name); err != nil {
		w.t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		serve(far)
	}()
	w.cut = func() {
		far.Close()
		<-done
	}
}

func (w *Wire) listen(serve func(io.ReadWriter)) {
	w.t.Helper()
	listener, err := net.Listen("tcp", strings.TrimPrefix(w.Address, "tcp:"))
	if err != nil {
		w.t.Fatalf("listen: %v", err)
	}
	w.Address = "tcp:" + listener.Addr().String()
	conns := make(chan net.Conn, 1000)
	go func() {
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
	w.cut = func() {
		listener.Close()
		for conn := range conns {
			conn.Close()
		}
	}
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
