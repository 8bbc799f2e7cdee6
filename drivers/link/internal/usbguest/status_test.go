//go:build linux

package usbguest_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"ringup/drivers/link"
	"ringup/drivers/link/internal/usbguest"
)

// The instruments whose status byte does not tell that a reply waits.
var (
	zero   = usbguest.Spec{SerialNumber: "B40-1", Status: usbguest.StatusZero}
	absent = usbguest.Spec{SerialNumber: "B40-2", Status: usbguest.StatusAbsent, NoInterrupt: true}
)

const shortly = 300 * time.Millisecond // for a reply that does not come

// TestInsideStatusHeeded has such an instrument seem silent, and the error say
// which address helps. One that answers as it should gets no such advice.
func TestInsideStatusHeeded(t *testing.T) {
	usbguest.Inside(t)
	_, l := plug(t, zero)
	quiet := func(l link.Link) string {
		t.Helper()
		_, err := l.Read(make([]byte, 10), time.Now().Add(50*time.Millisecond))
		if !errors.Is(err, link.ErrTimeout) {
			t.Fatalf("Read: %v, want a time-out", err)
		}
		return err.Error()
	}
	const advice = "mav=off"
	if text := quiet(l); strings.Contains(text, advice) {
		t.Errorf("nothing was asked: %s", text)
	}
	write(t, l, "*IDN?\n")
	if text := quiet(l); !strings.Contains(text, `"usbtmc:serial=B40-1&mav=off"`) {
		t.Errorf("asked: %s", text)
	}
	_, l = plug(t, first)
	identify(t, l, first)
	write(t, l, "QUIET?\n")
	if text := quiet(l); strings.Contains(text, advice) {
		t.Errorf("a status byte that has said MAV: %s", text)
	}

	usbguest.Connect(t).Plug(absent)
	if _, err := link.Open("usbtmc:serial=" + absent.SerialNumber); !errors.Is(err, link.ErrNoStatus) || !strings.Contains(err.Error(), advice) {
		t.Errorf("Open: %v, want the status byte to be missed", err)
	}
}

// TestInsideStatusOff asks straight away. That the instrument is asked once for
// each message, and never unasked, is checked in the emulator.
func TestInsideStatusOff(t *testing.T) {
	usbguest.Inside(t)
	for _, spec := range []usbguest.Spec{zero, absent, first} {
		t.Run(spec.SerialNumber, func(t *testing.T) {
			h, l := plugStraight(t, spec)
			for range 3 {
				identify(t, l, spec)
			}
			silent(t, l, time.Now().Add(50*time.Millisecond)) // nothing is asked
			write(t, l, "SETTING 1\n")                        // has no reply
			h.Misbehave(usbguest.Split)
			identify(t, l, spec)
			block(t, l, 200_000)
		})
	}
}

// TestInsideStatusOffSilence asks for what never comes, or too late.
func TestInsideStatusOffSilence(t *testing.T) {
	usbguest.Inside(t)
	ask := func(l link.Link, query string) {
		t.Helper()
		if err := l.Write([]byte(query), time.Now().Add(shortly)); err != nil {
			t.Fatal(err)
		}
	}
	h, l := plugStraight(t, zero)
	ask(l, "QUIET?\n")
	silent(t, l, time.Now().Add(late)) // the driver's own time-out ends it, with a device clear
	identify(t, l, zero)

	// A command waits for a Read that has given up, and then gets through.
	ask(l, "QUIET?\n")
	silent(t, l, time.Now())
	write(t, l, "URGENT\n")
	const all = "QUIET?\n*IDN?\nQUIET?\nURGENT\n"
	if got := h.Received(len(all)); string(got) != all {
		t.Errorf("%q arrived, want %q", got, all)
	}
	must(t, l.Clear())
	identify(t, l, zero)

	// A reply that comes after the time-out belongs to nothing any more.
	h, l = plugStraight(t, usbguest.Spec{SerialNumber: "B40-3", Status: usbguest.StatusZero, Far: true})
	ask(l, "LATE?\n")
	silent(t, l, time.Now().Add(late))
	h.Say([]byte("late\n"))
	silent(t, l, time.Now().Add(50*time.Millisecond))
	must(t, l.Clear())
	write(t, l, "SOON?\n")
	h.Received(len("LATE?\nSOON?\n"))
	h.Say([]byte("soon\n"))
	if got := read(t, l, 5, 10); string(got) != "soon\n" {
		t.Errorf("after a late reply %q came", got)
	}
}

// plugStraight plugs an instrument in and opens it with mav=off.
func plugStraight(t *testing.T, spec usbguest.Spec) (*usbguest.Handle, link.Link) {
	t.Helper()
	h := usbguest.Connect(t).Plug(spec)
	l, err := link.Open("usbtmc:serial=" + spec.SerialNumber + "&mav=off")
	must(t, err)
	t.Cleanup(func() { l.Close() })
	return h, l
}

// silent wants a Read to bring nothing by the deadline.
func silent(t *testing.T, l link.Link, deadline time.Time) {
	t.Helper()
	if n, err := l.Read(make([]byte, 10), deadline); !errors.Is(err, link.ErrTimeout) || errors.Is(err, link.ErrDamaged) || errors.Is(err, link.ErrGone) {
		t.Fatalf("Read = %d, %v, want a time-out", n, err)
	}
}
