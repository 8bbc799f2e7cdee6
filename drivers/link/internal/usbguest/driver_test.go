//go:build linux

package usbguest_test

import (
	"bytes"
	"os"
	"strconv"
	"testing"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"

	"ringup/drivers/link"
	"ringup/drivers/link/internal/usbguest"
)

// hold asks for a block of 60000 bytes, of which it lets parts out, and starts
// to read it. got receives all of it.
func hold(t *testing.T, h *usbguest.Handle, l link.Link, parts int) (got chan []byte) {
	t.Helper()
	const size = 60_000
	h.Misbehave(usbguest.Hold)
	write(t, l, "DATA? "+strconv.Itoa(size)+"\n")
	got = make(chan []byte, 1)
	go func() {
		var all []byte
		for len(all) < 12+size {
			p := make([]byte, 1<<16)
			n, err := l.Read(p, time.Now().Add(late))
			if err != nil {
				t.Errorf("after %d bytes: %v", len(all), err)
				break
			}
			all = append(all, p[:n]...)
		}
		got <- all[min(11, len(all)):max(len(all)-1, min(11, len(all)))]
	}()
	h.AwaitReader()
	h.Release(parts)
	h.AwaitReader()
	return got
}

// TestInsideSignals sends every thread the signal that the Go runtime preempts
// goroutines with, while the driver waits for the fifth part of a transfer. A
// thread that takes it loses 4 KiB and is told nothing.
func TestInsideSignals(t *testing.T) {
	h, l := plug(t, first)
	for range 3 {
		got := hold(t, h, l, 4)
		threads, err := os.ReadDir("/proc/self/task")
		if err != nil {
			t.Fatal(err)
		}
		for _, thread := range threads {
			id, err := strconv.Atoi(thread.Name())
			if err != nil {
				t.Fatal(err)
			}
			if err := unix.Tgkill(os.Getpid(), id, unix.SIGURG); err != nil && err != unix.ESRCH {
				t.Fatal(err)
			}
		}
		h.Release(1000)
		if data := <-got; !bytes.Equal(data, usbguest.Pattern(60_000)) {
			t.Fatalf("%d bytes came, with other data than was sent", len(data))
		}
	}
}

// TestInsideNeighbours has the rest of the program do its input and output
// while a read waits within the driver: the reply's rest comes only after that.
// Were the device polled, everything would stand still until the read fails.
func TestInsideNeighbours(t *testing.T) {
	h, l := plug(t, first)
	got := hold(t, h, l, 1)
	near, far, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer near.Close()
	defer far.Close()
	go func() {
		for i := range 200 {
			far.Write([]byte{byte(i)})
		}
	}()
	p := make([]byte, 1)
	for i := range 200 {
		if _, err := near.Read(p); err != nil || p[0] != byte(i) {
			t.Fatalf("byte %d through a pipe: %d, %v", i, p[0], err)
		}
	}
	h.Release(1000)
	if data := <-got; !bytes.Equal(data, usbguest.Pattern(60_000)) {
		t.Errorf("%d bytes came, with other data than was sent", len(data))
	}
}

// TestInsideAttributes asks the driver itself in tens of bytes: full reads and a
// short one, and only the attributes of the last tell that it was the last.
func TestInsideAttributes(t *testing.T) {
	usbguest.Inside(t)
	h := usbguest.Connect(t).Plug(first)
	fd, err := unix.Open(h.Path, unix.O_RDWR|unix.O_CLOEXEC, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer unix.Close(fd)
	for _, reply := range []string{"a reply of thirty bytes in all", "one that does not divide by ten"} {
		h.Say([]byte(reply))
		var got []byte
		for end := false; !end; {
			p := make([]byte, 10)
			n, err := unix.Read(fd, p)
			if err != nil || n == 0 {
				t.Fatalf("read = %d, %v", n, err)
			}
			got = append(got, p[:n]...)
			const messageInAttributes = 0x80015b18
			var attributes byte
			if _, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), messageInAttributes, uintptr(unsafe.Pointer(&attributes))); errno != 0 {
				t.Fatal(errno)
			}
			end = attributes&1 != 0
		}
		if string(got) != reply {
			t.Errorf("%q came, want %q", got, reply)
		}
	}
}
