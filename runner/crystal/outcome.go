package crystal

import "fmt"

// Outcome is what the physics makes of one power-up, before anyone measures it.
type Outcome int

const (
	Starts     Outcome = iota // usable clock within the firmware's time-out
	NeverGrows                // the negative resistance does not cover the losses
	TooLate                   // grows, but the firmware has given up by then
	BrownOut                  // the supply path lets the rail fall into reset
	NotRearmed                // switched on with the capacitor still charged: hung
)

var outcomeNames = [...]string{"starts", "never grows", "too late", "brown-out", "reset not re-armed"}

func (o Outcome) String() string {
	if o < 0 || int(o) >= len(outcomeNames) {
		return fmt.Sprintf("Outcome(%d)", int(o))
	}
	return outcomeNames[o]
}

// Failed reports whether the firmware got no usable clock.
func (o Outcome) Failed() bool { return o != Starts }
