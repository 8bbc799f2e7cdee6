//go:build linux

package usbguest_test

import (
	"math"
	"testing"

	"ringup/drivers/link/internal/usbguest"
	"ringup/runner/verdict"
)

// TestInsideFaults soaks with the scope behind USB-TMC while its interface goes wrong at messages all over the
// cycle: no cycle is lost and none has a wrong number, as in TestFaultMatrix of package runner.
func TestInsideFaults(t *testing.T) {
	usbguest.Inside(t)
	plain := soak(t, false, 1, nil)
	faults := []usbguest.Fault{usbguest.WrongTag, usbguest.Stall, usbguest.Swallow}
	const first, apart = 15, 31 // exchanges with the scope; a whole cycle has 29
	n, dealt := 0, 0
	struck := soak(t, true, 2, func(h *usbguest.Handle) {
		if n == first+dealt*apart && dealt < len(faults) {
			h.Misbehave(faults[dealt])
			dealt++
		}
		n++
	})
	if dealt != len(faults) || len(struck) != 4 {
		t.Fatalf("%d of %d faults were dealt, and the logbook has %d cycles, want 4", dealt, len(faults), len(struck))
	}
	unread := 0
	for _, c := range struck {
		like := plain[0]
		if c.SetVolts != like.SetVolts {
			like = plain[1]
		}
		switch c.Verdict {
		case verdict.Started:
		case verdict.Unread:
			unread++
			t.Logf("cycle %d: %s", c.Number, c.Reason)
		default:
			t.Errorf("cycle %d: %s (%s)", c.Number, c.Verdict, c.Reason)
		}
		for name, v := range map[string]struct{ got, want, within float64 }{
			"frequency":    {c.FrequencyHertz, like.FrequencyHertz, 1e-4},
			"amplitude":    {c.AmplitudeVolts, like.AmplitudeVolts, 0.02},
			"rail":         {c.RailVolts, like.RailVolts, 0.01},
			"supply volts": {c.SupplyVolts, like.SupplyVolts, 0.01},
			"start":        {c.StartSeconds, like.StartSeconds, 0.5}, // it begins in noise
		} {
			if c.Verdict == verdict.Unread && math.IsNaN(v.got) {
				continue
			}
			if !(math.Abs(v.got-v.want) <= v.within*math.Abs(v.want)) {
				t.Errorf("cycle %d: %s %g, without faults %g", c.Number, name, v.got, v.want)
			}
		}
	}
	if unread == 0 || unread > len(faults) {
		t.Errorf("%d cycles are unread after %d faults", unread, len(faults))
	}
}
