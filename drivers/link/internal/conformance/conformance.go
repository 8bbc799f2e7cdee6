// Package conformance holds every kind of link to what link.Link promises.
package conformance

import (
	"bytes"
	"errors"
	"runtime"
	"strings"
	"testing"
	"time"

	"ringup/drivers/link"
)

const (
	soon = 20 * time.Millisecond // for what must time out
	late = 10 * time.Second      // for what must happen
)

// Far is the far end of a link, which the suite plays.
type Far struct {
	// Address opens the near end; it must be in its canonical form.
	Address string
	// Receive waits for n bytes that were written to the link.
	Receive func(t *testing.T, n int) []byte
	// Say sends bytes to the link.
	Say func(t *testing.T, p []byte)
	// Cut unplugs the far end for good.
	Cut func(t *testing.T)
}

// Run runs the suite. Each of its tests calls plug for a far end of its own,
// which lasts until that test ends.
func Run(t *testing.T, plug func(t *testing.T) Far) {
	for name, test := range map[string]func(*testing.T, func(*testing.T) Far){
		"both ways": bothWays, "time-out": timeOut, "clear": clearInput, "closed": closed,
		"close frees a reader": closeFreesReader, "gone": gone, "opens again": opensAgain, "one user": oneUser,
	} {
		t.Run(name, func(t *testing.T) { test(t, plug) })
	}
}

func open(t *testing.T, plug func(*testing.T) Far) (link.Link, Far) {
	t.Helper()
	f := plug(t)
	l, err := link.Open(f.Address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	if l.String() != f.Address {
		t.Errorf("String() = %q, want %q", l, f.Address)
	}
	return l, f
}

func bothWays(t *testing.T, plug func(*testing.T) Far) {
	l, f := open(t, plug)
	// Every byte value: nothing on the way may translate, echo or stop.
	all := make([]byte, 1024)
	for i := range all {
		all[i] = byte(i)
	}
	all = append(all, '\n') // the end of a message, where a link has messages
	if err := l.Write(all, time.Now().Add(late)); err != nil {
		t.Fatal(err)
	}
	if got := f.Receive(t, len(all)); !bytes.Equal(got, all) {
		t.Errorf("the far end received other bytes than were written")
	}
	f.Say(t, all)
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

func timeOut(t *testing.T, plug func(*testing.T) Far) {
	l, f := open(t, plug)
	if n, err := l.Read(make([]byte, 10), time.Now().Add(soon)); n != 0 || !errors.Is(err, link.ErrTimeout) || errors.Is(err, link.ErrGone) {
		t.Fatalf("Read = %d, %v, want a time-out", n, err)
	}
	f.Say(t, []byte("\n")) // a time-out is not the end
	if n, err := l.Read(make([]byte, 10), time.Now().Add(late)); n != 1 || err != nil {
		t.Fatalf("Read after a time-out = %d, %v", n, err)
	}
}

func clearInput(t *testing.T, plug func(*testing.T) Far) {
	l, f := open(t, plug)
	f.Say(t, []byte("old\n"))
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
	if got := f.Receive(t, 3); string(got) != "new" {
		t.Errorf("after Clear %q arrived, want new", got)
	}
}

func closed(t *testing.T, plug func(*testing.T) Far) {
	l, _ := open(t, plug)
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

func closeFreesReader(t *testing.T, plug func(*testing.T) Far) {
	l, f := open(t, plug)
	f.Say(t, []byte("\n"))
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

func gone(t *testing.T, plug func(*testing.T) Far) {
	l, f := open(t, plug)
	f.Cut(t)
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
	if _, err := link.Open(f.Address); !errors.Is(err, link.ErrGone) {
		t.Fatalf("Open of a cut link: %v, want ErrGone", err)
	}
}

func opensAgain(t *testing.T, plug func(*testing.T) Far) {
	l, f := open(t, plug)
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
		f.Receive(t, 5)
	}
	l.Close()
}

// oneUser has a second program, or a second bench, at a port or an instrument
// that is taken. A TCP server decides for itself.
func oneUser(t *testing.T, plug func(*testing.T) Far) {
	l, f := open(t, plug)
	if a, err := link.Parse(f.Address); err != nil || a.Kind == link.TCP && runtime.GOOS != "linux" {
		return
	}
	if _, err := link.Open(l.String()); !errors.Is(err, link.ErrGone) || !strings.Contains(err.Error(), "another run or program") {
		t.Errorf("second Open = %v, want it refused", err)
	}
}
