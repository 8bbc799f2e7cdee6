//go:build linux

package usbguest_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"ringup/drivers/link/internal/usbguest"
	"ringup/runner/faultmatrix"
	"ringup/runner/simbench"
)

// TestInsideStatusOffCycle power-cycles a unit with instruments that are asked straight away, since their status bytes do
// not tell that a reply waits, and then loses the reply to On, which leaves the supply on with a read in the driver that
// nothing can cancel. What TestInsideFaultMatrix wants is wanted here, too.
func TestInsideStatusOffCycle(t *testing.T) {
	usbguest.Inside(t)
	instruments, dialects := usbguest.Connect(t), t.TempDir()
	writeDialects(t, dialects, 2*time.Second, matrixQuiet)
	wires := map[simbench.Instrument]*usbWire{
		simbench.Supply: newUSBWire(instruments, "PSU-Z", usbguest.StatusZero),
		simbench.Scope:  newUSBWire(instruments, "OSC-Z", usbguest.StatusZero),
	}
	r := refer(t, wires, dialects)
	messages := r.Messages[simbench.Supply]
	n := slices.IndexFunc(messages, func(m string) bool { return strings.Contains(m, "OUTPut ON") })
	if n < 0 {
		t.Fatalf("no On among the supply's messages: %q", messages)
	}
	b := faultmatrix.Blow{Link: "mav=off", Instrument: simbench.Supply, Message: n, Fault: simbench.WireFault(usbguest.Swallow)}
	t.Run(b.String(), func(t *testing.T) {
		outcome, why := strike(t, r, b, wires, dialects)
		if outcome != faultmatrix.Unread || why != "" { // on a busy machine a time-out may come without any fault
			t.Logf("outcome %c%s: once more", outcome, why)
			outcome, why = strike(t, r, b, wires, dialects)
		}
		if outcome != faultmatrix.Unread || why != "" {
			t.Errorf("outcome %c, want %c%s", outcome, faultmatrix.Unread, why)
		}
	})
}
