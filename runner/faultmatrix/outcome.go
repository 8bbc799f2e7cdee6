// Package faultmatrix is what the tests of faulty wires share: the blows that a power cycle of the simulated bench is
// dealt, one fault at one message each, what may become of the cycle, and the table in which the outcomes are kept.
package faultmatrix

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"ringup/runner/logbook"
	"ringup/runner/simbench"
	"ringup/runner/verdict"
)

// Blow is one fault at one message of a cycle, on one link.
type Blow struct {
	Link       string
	Instrument simbench.Instrument
	Message    int // counted from 0
	Fault      simbench.WireFault
	Spot       int // where in the message, counted from 0; see Spots
}

func (b Blow) String() string {
	return fmt.Sprintf("%s/%s %d/%s %d", b.Link, b.Instrument, b.Message, b.Fault, b.Spot)
}

// What may become of a cycle.
const (
	Measured   = 'm' // as without the fault, number for number
	NoAmbient  = 'a' // likewise, but for the ambient, which was not measured: no start is judged by it
	Unread     = 'u' // recorded as not read
	HeldThen   = 'M' // the run held for a lost link and went on by itself; as without the fault
	HeldUnread = 'U' // likewise; recorded as not read
	Bad        = '!'
	NotDealt   = '?'
)

// Reference is a cycle without any fault.
type Reference struct {
	Messages map[simbench.Instrument][]string // that each instrument was sent, in order
	Cycle    logbook.Cycle
	// OneSpot has a fault of a command strike one place of each message and not all of them.
	OneSpot bool
}

// Blows are all of the faults at all messages of some instruments.
func (r Reference) Blows(link string, instruments []simbench.Instrument, faults []simbench.WireFault) []Blow {
	var all []Blow
	for _, i := range instruments {
		for n, message := range r.Messages[i] {
			for _, fault := range faults {
				spots := Spots(message, fault)
				if r.OneSpot {
					spots = min(spots, 1)
				}
				for spot := range spots {
					all = append(all, Blow{link, i, n, fault, spot})
				}
			}
		}
	}
	return all
}

// Spots is in how many places a fault can strike a message.
func Spots(message string, fault simbench.WireFault) int {
	switch fault {
	case simbench.CommandByteLost, simbench.CommandByteGarbled:
		return len(simbench.Spots(message))
	case simbench.BlockCountWrong:
		if !strings.HasPrefix(message, "TRACe:DATA?") {
			return 0
		}
	}
	return 1
}

// Outcome compares a cycle with the reference's. A wrong number or verdict fails the test.
func (r Reference) Outcome(t *testing.T, c logbook.Cycle, held bool) rune {
	t.Helper()
	outcome := map[bool]rune{false: Measured, true: HeldThen}[held]
	switch c.Verdict {
	case verdict.Unread:
		outcome = map[bool]rune{false: Unread, true: HeldUnread}[held]
	case r.Cycle.Verdict:
	default:
		t.Errorf("WRONG VERDICT: %s (%s), without the fault %s", c.Verdict, c.Reason, r.Cycle.Verdict)
		return Bad
	}
	want, got := numbers(r.Cycle), numbers(c)
	for name, w := range want {
		switch g := got[name]; {
		case math.IsNaN(g) && name == ambient && outcome == Measured:
			outcome = NoAmbient
		case math.IsNaN(g) && (math.IsNaN(w) || c.Verdict == verdict.Unread):
		case !(math.Abs(g-w) <= sameWithin*math.Abs(w)):
			t.Errorf("WRONG NUMBER: %s is %g, without the fault %g (%s: %s)", name, g, w, c.Verdict, c.Reason)
			outcome = Bad
		}
	}
	return outcome
}

// sameWithin is how far a number may be from the reference's, relatively. Most are the same to the last bit; the steady
// record is taken at a later moment, with other noise on it, where a reply was waited for.
const sameWithin = 1e-3

const ambient = "ambient"

// numbers are a cycle's measurements.
func numbers(c logbook.Cycle) map[string]float64 {
	return map[string]float64{
		"start": c.StartSeconds, "frequency": c.FrequencyHertz, "amplitude": c.AmplitudeVolts, "growth": c.GrowthSeconds,
		"rail rise": c.RailRiseSeconds, "rail volts": c.RailVolts, "dropout": c.DropoutSeconds, "lamp": c.LampHertz,
		"supply volts": c.SupplyVolts, "supply amps": c.SupplyAmps, ambient: c.AmbientCelsius,
	}
}
