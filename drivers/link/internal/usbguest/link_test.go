//go:build linux

package usbguest_test

import (
	"bytes"
	"errors"
	"strconv"
	"strings"
	"testing"
	"time"

	"ringup/drivers/link"
	"ringup/drivers/link/internal/conformance"
	"ringup/drivers/link/internal/usbguest"
)

// The instruments of the tests. plain has no endpoint for notifications.
var (
	first  = usbguest.Spec{SerialNumber: "A22-5"}
	second = usbguest.Spec{SerialNumber: "A22 6+7"}
	plain  = usbguest.Spec{SerialNumber: "A22-7", NoInterrupt: true}
)

// late is for what must happen.
const late = 20 * time.Second

// plug plugs an instrument in and opens it by its serial number.
func plug(t *testing.T, spec usbguest.Spec) (*usbguest.Handle, link.Link) {
	t.Helper()
	usbguest.Inside(t)
	h := usbguest.Connect(t).Plug(spec)
	l, err := link.Open("usbtmc:serial=" + spec.SerialNumber)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return h, l
}

func write(t *testing.T, l link.Link, message string) {
	t.Helper()
	if err := l.Write([]byte(message), time.Now().Add(late)); err != nil {
		t.Fatal(err)
	}
}

// read reads n bytes, at most so many in each call.
func read(t *testing.T, l link.Link, n, most int) []byte {
	t.Helper()
	var all []byte
	for len(all) < n {
		p := make([]byte, min(most, n-len(all)))
		got, err := l.Read(p, time.Now().Add(late))
		if err != nil {
			t.Fatalf("after %d of %d bytes: %v", len(all), n, err)
		}
		all = append(all, p[:got]...)
	}
	return all
}

// identify asks *IDN? and compares.
func identify(t *testing.T, l link.Link, spec usbguest.Spec) {
	t.Helper()
	write(t, l, "*IDN?\n")
	want := spec.Identity() + "\n"
	if got := read(t, l, len(want), 1000); string(got) != want {
		t.Fatalf("*IDN? = %q, want %q", got, want)
	}
}

// block asks for n bytes and compares.
func block(t *testing.T, l link.Link, n int) {
	t.Helper()
	write(t, l, "DATA? "+strconv.Itoa(n)+"\n")
	got := read(t, l, 11+n+1, 1<<20)
	if !bytes.Equal(got[11:11+n], usbguest.Pattern(n)) {
		t.Errorf("a block of %d bytes came with other data", n)
	}
}

func TestInsideConformance(t *testing.T) {
	usbguest.Inside(t)
	conformance.Run(t, func(t *testing.T) conformance.Far {
		h := usbguest.Connect(t).Plug(usbguest.Spec{SerialNumber: "FAR-1", Far: true})
		return conformance.Far{
			Address: "usbtmc:serial=FAR-1",
			Receive: func(_ *testing.T, n int) []byte { return h.Received(n) },
			Say:     func(_ *testing.T, p []byte) { h.Say(p) },
			Cut:     func(*testing.T) { h.Unplug() },
		}
	})
}

// TestInsideManyQueries passes the tags around, which count to 255, two for each
// query.
func TestInsideManyQueries(t *testing.T) {
	for _, c := range []struct {
		spec    usbguest.Spec
		queries int
	}{{first, 150}, {plain, 20}} {
		t.Run(c.spec.SerialNumber, func(t *testing.T) {
			_, l := plug(t, c.spec)
			for range c.queries {
				identify(t, l, c.spec)
			}
		})
	}
}

// TestInsideEndOfMessage has messages whose transfers end short of the message,
// and at every length about a packet's and a buffer's.
func TestInsideEndOfMessage(t *testing.T) {
	spec := first
	h, l := plug(t, spec)
	h.Misbehave(usbguest.Split)
	identify(t, l, spec)
	write(t, l, "*IDN?\n")
	want := spec.Identity() + "\n"
	if got := read(t, l, len(want), 10); string(got) != want {
		t.Errorf("read in tens: %q, want %q", got, want)
	}
	// With 11 bytes before the block, 1 behind it and 12 of the transfer's
	// header, these are about 512, 4096 and 64 KiB.
	for _, n := range []int{0, 1, 488, 4071, 4072, 4073, 8168, 65523, 65524, 65525, 65535, 200_000} {
		block(t, l, n)
	}
	// A message without a newline gets one.
	h.Say([]byte("#3abc"))
	if got := read(t, l, 6, 100); string(got) != "#3abc\n" {
		t.Errorf("a message without a newline came as %q", got)
	}
}

func TestInsideMegabyteBothWays(t *testing.T) {
	h, l := plug(t, first)
	message := append(usbguest.Pattern(1<<20), '\n')
	write(t, l, string(message))
	if got := h.Received(len(message)); !bytes.Equal(got, message) {
		t.Errorf("the instrument received %d other bytes", len(got))
	}
	block(t, l, 1<<20)
}

// TestInsideSilence has no reply come. The instrument must not be asked for one:
// its own check of that is in the emulator.
func TestInsideSilence(t *testing.T) {
	spec := first
	h, l := plug(t, spec)
	write(t, l, "QUIET?\n")
	if n, err := l.Read(make([]byte, 10), time.Now().Add(50*time.Millisecond)); !errors.Is(err, link.ErrTimeout) {
		t.Fatalf("Read = %d, %v, want a time-out", n, err)
	}
	h.RequestService() // interrupts, and is no reply
	identify(t, l, spec)
	h.Say([]byte("late\n"))
	if got := read(t, l, 5, 10); string(got) != "late\n" {
		t.Errorf("a late reply came as %q", got)
	}
}

// TestInsideDamage has a transfer go wrong in every way the emulator knows: the
// link says so, and the next query is answered rightly. The slow ones wait for
// the driver's time-out side by side.
func TestInsideDamage(t *testing.T) {
	for _, c := range []struct {
		spec  usbguest.Spec
		fault usbguest.Fault
		query string
		parts int // that go out of a reply that is held
	}{
		{first, usbguest.WrongTag, "*IDN?\n", 0},
		{first, usbguest.WrongMessage, "*IDN?\n", 0},
		{first, usbguest.Stall, "*IDN?\n", 0},
		{first, usbguest.Swallow, "*IDN?\n", 0},
		// With 12 bytes before and after the block it fills a packet, and without
		// the empty one behind it nothing ends.
		{second, usbguest.NoShortPacket, "DATA? 4072\n", 0},
		{plain, usbguest.Hold, "DATA? 20000\n", 2},
	} {
		slow := c.fault == usbguest.Swallow || c.spec != first
		h, l := plug(t, c.spec)
		t.Run(string(c.fault), func(t *testing.T) {
			if slow {
				t.Parallel()
			}
			defer l.Close()
			h.Misbehave(c.fault)
			write(t, l, c.query)
			h.Release(c.parts)
			n, err := l.Read(make([]byte, 30000), time.Now().Add(late))
			if !errors.Is(err, link.ErrDamaged) || errors.Is(err, link.ErrGone) || errors.Is(err, link.ErrTimeout) {
				t.Fatalf("Read = %d, %v, want a damaged reply", n, err)
			}
			for range 3 {
				identify(t, l, c.spec)
			}
		})
	}
}

// TestInsideTransferOutlivesDeadline has a Read give up in the middle of a
// transfer: the next one goes on with it, and Clear waits for it.
func TestInsideTransferOutlivesDeadline(t *testing.T) {
	spec := first
	h, l := plug(t, spec)
	begin := func() {
		h.Misbehave(usbguest.Hold)
		write(t, l, "DATA? 20000\n")
		if _, err := l.Read(make([]byte, 1), time.Now().Add(100*time.Millisecond)); !errors.Is(err, link.ErrTimeout) {
			t.Fatalf("Read = %v, want a time-out", err)
		}
		h.AwaitReader()
	}
	begin()
	h.Release(100)
	got := read(t, l, 20012, 1<<20)
	if !bytes.Equal(got[11:20011], usbguest.Pattern(20000)) {
		t.Error("the block came with other data")
	}
	begin()
	h.Release(100)
	if err := l.Clear(); err != nil {
		t.Fatal(err)
	}
	identify(t, l, spec)
}

func TestInsideUnplug(t *testing.T) {
	spec := first
	h, l := plug(t, spec)
	h.Misbehave(usbguest.Hold)
	write(t, l, "DATA? 20000\n")
	ended := make(chan error)
	go func() {
		_, err := l.Read(make([]byte, 10), time.Now().Add(late))
		ended <- err
	}()
	h.AwaitReader()
	h.Unplug()
	if err := <-ended; !errors.Is(err, link.ErrGone) || errors.Is(err, link.ErrTimeout) {
		t.Fatalf("Read of an unplugged instrument: %v, want ErrGone", err)
	}
	if err := l.Write([]byte("*IDN?\n"), time.Now().Add(late)); !errors.Is(err, link.ErrGone) {
		t.Errorf("Write to an unplugged instrument: %v, want ErrGone", err)
	}
	if _, err := link.Open(l.String()); !errors.Is(err, link.ErrGone) {
		t.Errorf("Open of an unplugged instrument: %v, want ErrGone", err)
	}
	h.PlugIn() // its old number is still taken by the open link
	again, err := link.Open(l.String())
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	identify(t, again, spec)
	if err := l.Close(); err != nil {
		t.Errorf("Close: %v", err)
	}
}

// TestInsideTwoInstruments tells two of one model apart.
func TestInsideTwoInstruments(t *testing.T) {
	_, a := plug(t, first)
	h, b := plug(t, second)
	for range 3 {
		write(t, a, "*IDN?\n")
		identify(t, b, second)
		want := first.Identity() + "\n"
		if got := read(t, a, len(want), 100); string(got) != want {
			t.Errorf("the first said %q", got)
		}
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	for _, address := range []string{"USB0::0x1234::0x5678::A22 6+7::INSTR", "usbtmc:" + h.Path, "USB::4660::22136::A22 6+7::0"} {
		l, err := link.Open(address)
		if err != nil {
			t.Fatal(err)
		}
		identify(t, l, second)
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
	}
	_, err := link.Open("usbtmc:serial=A22-9")
	if !errors.Is(err, link.ErrGone) || !strings.Contains(err.Error(), "serial=A22-5 vendor=0x1234 product=0x5678 interface=0 (ringup emulated instrument)") {
		t.Errorf("Open of an absent instrument: %v, want it to list those there are", err)
	}
	ports, err := link.Ports()
	if err != nil {
		t.Fatal(err)
	}
	for _, spec := range []usbguest.Spec{first, second} {
		found := 0
		for _, p := range ports {
			if p.Address == "usbtmc:serial="+spec.SerialNumber && p.Maker == usbguest.Maker && p.Model == usbguest.Model && p.SerialNumber == spec.SerialNumber && p.Problem == nil {
				found++
			}
		}
		if found != 1 {
			t.Errorf("Ports lists %s %d times in %+v", spec.SerialNumber, found, ports)
		}
	}
}
