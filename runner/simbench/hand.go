package simbench

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"ringup/runner/crystal"
)

// Action is one thing a person did to the unit.
type Action struct {
	At   time.Time `json:"at"`
	Verb string    `json:"verb"` // one of chill, warm, release, lift, fit, insert
	Part string    `json:"part"` // board designator, such as C7
	// Value is what is fitted, in the SI unit of the part: farads for a capacitor, ohms for a resistor. Zero fits a
	// sound part of the value that the board was built with. For insert it is the series resistor in ohms, zero to
	// take it out.
	Value float64 `json:"value,omitempty"`
}

// The verbs of an Action.
const (
	Chill   = "chill"   // hold freeze spray on the part: toward −25 °C
	Warm    = "warm"    // hold hot air on the part: toward +60 °C
	Release = "release" // stop either; the part goes back to ambient
	Lift    = "lift"    // unsolder one end of the part
	Fit     = "fit"     // solder a new, sound part in its place
	Insert  = "insert"  // solder a resistor in series with the crystal Y1
)

var verbs = []string{Chill, Warm, Release, Lift, Fit, Insert}

// soldering lists the verbs that want the supply off.
var soldering = []string{Lift, Fit, Insert}

// Hand is the door through which a person acts on the simulated unit. The measuring side never sees it: what was done
// shows only in how the unit starts, and in the operator's own marks.
type Hand struct{ bench *Bench }

// Do performs an action now, at the bench clock's time, whatever a.At says. An unknown verb or part, or soldering
// while the unit is powered, is refused with an error and changes nothing.
func (h *Hand) Do(a Action) error {
	h.bench.mu.Lock()
	defer h.bench.mu.Unlock()
	a.At = h.bench.clock.Now()
	return h.bench.world.act(a)
}

// Replay performs past actions again at their recorded times, oldest first, so that a bench made anew has the unit in
// the state in which a person left it. It stops at the first action that is refused.
func (h *Hand) Replay(actions []Action) error {
	h.bench.mu.Lock()
	defer h.bench.mu.Unlock()
	now := h.bench.clock.Now()
	for n, a := range actions {
		if a.At.After(now) {
			return fmt.Errorf("action %d of %d, %s %s: its time %s is later than the bench clock's %s", n+1, len(actions),
				a.Verb, a.Part, a.At.Format(time.RFC3339), now.Format(time.RFC3339))
		}
		if err := h.bench.world.act(a); err != nil {
			return fmt.Errorf("action %d of %d: %w", n+1, len(actions), err)
		}
	}
	return nil
}

// History returns everything done so far, oldest first.
func (h *Hand) History() []Action {
	h.bench.mu.Lock()
	defer h.bench.mu.Unlock()
	return slices.Clone(h.bench.world.actions)
}

// act applies one action to the unit and records it.
func (w *world) act(a Action) error {
	part := crystal.Part(a.Part)
	if !slices.Contains(verbs, a.Verb) {
		return fmt.Errorf("%q is not something a hand does here; allowed: %s", a.Verb, strings.Join(verbs, ", "))
	}
	if !slices.Contains(crystal.Parts(), part) {
		return fmt.Errorf("%s: the unit has no part %q; it has %v", a.Verb, a.Part, crystal.Parts())
	}
	if n := len(w.actions); n > 0 && a.At.Before(w.actions[n-1].At) {
		return fmt.Errorf("%s %s at %s comes before the last action, at %s; put the actions in order of time", a.Verb,
			a.Part, a.At.Format(time.RFC3339), w.actions[n-1].At.Format(time.RFC3339))
	}
	if slices.Contains(soldering, a.Verb) {
		if w.powered() {
			return fmt.Errorf("%s %s: the unit is powered; switch the supply off before soldering", a.Verb, a.Part)
		}
		var changed crystal.Unit
		var err error
		switch a.Verb {
		case Lift:
			changed, err = w.unit.Lift(part)
		case Fit:
			changed, err = w.unit.Fit(part, a.Value)
		default:
			changed, err = w.unit.Insert(part, a.Value)
		}
		if err != nil {
			return fmt.Errorf("%s %s: %w", a.Verb, a.Part, err)
		}
		w.unit = changed
	}
	w.actions = append(w.actions, a)
	return nil
}
