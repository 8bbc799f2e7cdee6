package simbench

import (
	"fmt"
	"slices"
	"strings"

	"ringup/runner/crystal"
)

// Probe is what connects the scope's clock channel to the unit.
type Probe struct {
	Node        string  // one of the Node… constants; empty: not connected
	Farads      float64 // load at the tip
	Ohms        float64 // load at the tip; 0: none
	Attenuation float64 // 0 means 10; has no meaning for a near-field coil
	// Trim is how a passive probe's trimmer stands: its gain for fast signals relative to that for slow ones. 0 means
	// 1, which is right; above it the probe is over-compensated.
	Trim float64
}

// What a clock probe can look at.
const (
	NodeA         = "A"          // the crystal pin at the inverter's input; loads it
	NodeB         = "B"          // the crystal pin at its output; loads it
	NodeNearField = "near field" // a coil beside the crystal: loads nothing, sees its current and no DC
	NodeBuffered  = "buffered"   // a logic output that repeats the usable clock; loads nothing
)

var nodes = []string{"", NodeA, NodeB, NodeNearField, NodeBuffered}

// coilOhms is the coil's coupling: volts at the scope's input per ampere of motional current. At an attenuation of 20
// set on the scope it reads 520 V per ampere, near the healthy unit's own node voltage.
const coilOhms = 26

// Probes on the other channels: the rail's is a 10:1 probe, the photodiode is connected directly.
const (
	railAttenuation = 10
	lampVolts       = 2    // photodiode lit
	lampDarkVolts   = 0.02 // photodiode in the light of the room
)

// check refuses a probe that cannot be.
func (p Probe) check() error {
	switch {
	case !slices.Contains(nodes, p.Node):
		return fmt.Errorf("node %q; allowed: %s, or nothing", p.Node, strings.Join(nodes[1:], ", "))
	case p.Farads < 0 || p.Ohms < 0 || p.Attenuation < 0 || p.Trim < 0:
		return fmt.Errorf("%g F, %g Ω, attenuation %g, trim %g; none may be negative", p.Farads, p.Ohms, p.Attenuation, p.Trim)
	}
	return nil
}

// load is what the probe adds to the oscillator's network.
func (p Probe) load() crystal.Probe {
	if p.Node == NodeA || p.Node == NodeB {
		return crystal.Probe{Node: p.Node, Farads: p.Farads, Ohms: p.Ohms}
	}
	return crystal.Probe{}
}

// attenuation is what stands between the node and the scope's connector.
func (p Probe) attenuation() float64 {
	if p.Attenuation == 0 {
		return 10
	}
	return p.Attenuation
}

// trim is the gain for fast signals relative to that for slow ones.
func (p Probe) trim() float64 {
	if p.Trim == 0 {
		return 1
	}
	return p.Trim
}
