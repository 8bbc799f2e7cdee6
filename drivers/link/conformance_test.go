package link_test

import (
	"bytes"
	"errors"
	"io"
	"testing"
	"time"

	"ringup/drivers/internal/fake"
	"ringup/drivers/link"
)

const (
	soon = 20 * time.Millisecond // for what must time out
	late = 10 * time.Second      // for what must happen
)

// far is an instrument's end that the test plays: what arrives is in got, what
// is put into say is sent.
type far struct {
	got chan []byte
	say chan []byte
}

func open(t *testing.T, transport string) (link.Link, far, *fake.Wire) {
	t.Helper()
	f := far{got: make(chan []byte, 100), say: make(chan []byte)}
	wire := fake.ServeFunc(t, func(rw io.ReadWriter) {
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			buf := make([]byte, 4096)
			for {
				n, err := rw.Read(buf)
				if n > 0 {
					f.got <- bytes.Clone(buf[:n])
				}
				if err != nil {
					return
				}
			}
		}()
		for {
			select {
			case p := <-f.say:
				if _, err := rw.Write(p); err != nil {
					return
				}
			case <-ended:
				return
			}
		}
	}, transport)
	l, err := link.Open(wire.Address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	if l.String() != wire.Address {
		t.Errorf("String() = %q, want %q", l, wire.Address)
	}
	return l, f, wire
}

func (f far) receive(t *testing.T, n int) []byte {
	t.Helper()
	var all []byte
	for len(all) < n {
		select {
		case p := <-f.got:
			all = append(all, p...)
		case <-time.After(late):
			t.Fatalf("only %d of %d bytes arrived", len(all), n)
		}
	}
	return all
}

// TestConformance holds every kind of link to Link's promises.
func TestConformance(t *testing.T) {
	for _, transport := range fake.Transports() {
		t.Run(transport, func(t *testing.T) {
			t.Run("both ways", func(t *testing.T) { bothWays(t, transport) })
			t.Run("time-out", func(t *testing.T) { timeOut(t, transport) })
			t.Run("clear", func(t *testing.T) { clearInput(t, transport) })
			t.Run("closed", func(t *testing.T) { closed(t, transport) })
			t.Run("close frees a reader", func(t *testing.T) { closeFreesReader(t, transport) })
			t.Run("gone", func(t *testing.T) { gone(t, transport) })
			t.Run("opens again", func(t *testing.T) { opensAgain(t, transport) })
		})
	}
}

func bothWays(t *testing.T, transport string) {
	l, f, _ := open(t, transport)
	// Every byte value: nothing on the way may translate, echo or stop.
	all := make([]byte, 1024)
	for i := range all {
		all[i] = byte(i)
	}
	if err := l.Write(all, time.Now().Add(late)); err != nil {
		t.Fatal(err)
	}
	if got := f.receive(t, len(all)); !bytes.Equal(got, all) {
		t.Errorf("the far end received other bytes than were written")
	}
	f.say <- all
	var got []byte
	for len(got) < len(all) {
		p := make([]byte, 100)
		n, err := l.Read(p, time.Now().Add(late))
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, p[:n]...)
	}
	if !bytes.Equal(got, all) {
		t.Errorf("other bytes were read than the far end sent")
	}
	if n, err := l.Read(nil, time.Now().Add(late)); n != 0 || err != nil {
		t.Errorf("Read(nil) = %d, %v", n, err)
	}
}

func timeOut(t *testing.T, transport string) {
	l, f, _ := open(t, transport)
	if n, err := l.Read(make([]byte, 10), time.Now().Add(soon)); n != 0 || !errors.Is(err, link.ErrTimeout) || errors.Is(err, link.ErrGone) {
		t.Fatalf("Read = %d, %v, want a time-out", n, err)
	}
	f.say <- []byte("x") // a time-out is not the end
	if n, err := l.Read(make([]byte, 10), time.Now().Add(late)); n != 1 || err != nil {
		t.Fatalf("Read after a time-out = %d, %v", n, err)
	}
}

func clearInput(t *testing.T, transport string) {
	l, f, _ := open(t, transport)
	f.say <- []byte("old")
	// The first byte shows that the rest has arrived: it was one write.
	if _, err := l.Read(make([]byte, 1), time.Now().Add(late)); err != nil {
		t.Fatal(err)
	}
	if err := l.Clear(); err != nil {
		t.Fatal(err)
	}
	if n, err := l.Read(make([]byte, 10), time.Now().Add(soon)); !errors.Is(err, link.ErrTimeout) {
		t.Fatalf("Read after Clear = %d, %v, want a time-out", n, err)
	}
	if err := l.Write([]byte("new"), time.Now().Add(late)); err != nil {
		t.Fatal(err)
	}
	if got := f.receive(t, 3); string(got) != "new" {
		t.Errorf("after Clear %q arrived, want new", got)
	}
}

func closed(t *testing.T, transport string) {
	l, _, _ := open(t, transport)
	if err := errors.Join(l.Close(), l.Close()); err != nil {
		t.Fatal(err)
	}
	_, readErr := l.Read(make([]byte, 1), time.Now().Add(late))
	for name, err := range map[string]error{"Read": readErr, "Write": l.Write([]byte("x"), time.Now().Add(late)), "Clear": l.Clear()} {
		if !errors.Is(err, link.ErrClosed) || errors.Is(err, link.ErrGone) {
			t.Errorf("%s after Close: %v, want ErrClosed", name, err)
		}
	}
}

func closeFreesReader(t *testing.T, transport string) {
	l, f, _ := open(t, transport)
	f.say <- []byte("x")
	first := make(chan struct{})
	ended := make(chan error, 1)
	go func() {
		p := make([]byte, 1)
		l.Read(p, time.Now().Add(late))
		close(first)
		_, err := l.Read(p, time.Now().Add(time.Hour))
		ended <- err
	}()
	<-first
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	select {
	case err := <-ended:
		if !errors.Is(err, link.ErrClosed) {
			t.Errorf("Read ended with %v, want ErrClosed", err)
		}
	case <-time.After(late):
		t.Fatal("Read is still waiting after Close")
	}
}

func gone(t *testing.T, transport string) {
	l, _, wire := open(t, transport)
	wire.Cut()
	deadline := time.Now().Add(time.Hour)
	if _, err := l.Read(make([]byte, 1), deadline); !errors.Is(err, link.ErrGone) || errors.Is(err, link.ErrTimeout) {
		t.Fatalf("Read from a cut link: %v, want ErrGone at once", err)
	}
	// The first write after a cut may still be taken by the network.
	var err error
	for i := 0; i < 1000 && err == nil; i++ {
		err = l.Write([]byte("x"), time.Now().Add(late))
	}
	if !errors.Is(err, link.ErrGone) {
		t.Fatalf("Write to a cut link: %v, want ErrGone", err)
	}
	if _, err := link.Open(wire.Address); !errors.Is(err, link.ErrGone) {
		t.Fatalf("Open of a cut link: %v, want ErrGone", err)
	}
}

func opensAgain(t *testing.T, transport string) {
	l, f, _ := open(t, transport)
	for range 3 {
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
		var err error
		if l, err = link.Open(l.String()); err != nil {
			t.Fatal(err)
		}
		if err := l.Write([]byte("again"), time.Now().Add(late)); err != nil {
			t.Fatal(err)
		}
		f.receive(t, 5)
	}
	l.Close()
}

func TestOpenNothing(t *testing.T) {
	for _, address := range []string{"serial:/dev/no-such-port", "serial:" + t.TempDir(), "tcp:127.0.0.1:1"} {
		l, err := link.Open(address)
		if err == nil {
			l.Close()
			t.Fatalf("%s: opened", address)
		}
		if !errors.Is(err, link.ErrGone) {
			t.Errorf("%s: %v, want ErrGone", address, err)
		}
	}
}
