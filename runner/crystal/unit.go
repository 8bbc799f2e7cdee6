package crystal

import (
	"fmt"
	"math"
	"strings"
)

// Unit is the river-level logger: board, crystal, inverter, supply path and
// faults. It is a value: copies are independent, and Lift and Fit return a
// changed copy.
type Unit struct {
	Name     string
	Net      Net // the board, sound; faults and probes are added per power-up
	Crystal  Resonator
	Inverter Inverter
	Supply   SupplyPath
	Firmware Firmware

	Crack   Crack  // in C7
	Sleep   Sleep  // in Y1
	Film    Spread // residue across the crystal's pads, A to B
	Contact Spread // in J1; replaces the sound contact

	// Overtone is Y1's third-overtone arm; the zero value is one too poor to matter.
	Overtone Overtone
}

// Firmware is what the microcontroller does with the clock.
type Firmware struct {
	NominalHertz   float64 // what the program believes the clock to be
	TimeoutSeconds float64 // it gives up waiting after this and hangs
	BlinkHertz     float64 // of the lamp, by its own clock
}

// Circuit values of the board and crystal; the crystal's data-sheet limit for
// R1 is 60 ohms.
const (
	nominalHertz = 7.3728e6
	nominalLoad  = 18e-12
	soundOhms    = 28.0 // R1
	loadFarads   = 27e-12
	esrOhms      = 0.3
	feedbackOhms = 1e6
)

func soundCrystal() Resonator {
	return NewResonator(nominalHertz, nominalLoad, 14e-15, 3.8e-12, soundOhms)
}

func board() Net {
	none := math.Inf(1)
	return Net{
		CA: loadFarads, RA: esrOhms, CB: loadFarads, RB: esrOhms,
		Cin: 5e-12, Cout: 4e-12, CsA: 1.5e-12, CsB: 1.5e-12, Cs: 0.8e-12, Cfb: 0.3e-12,
		Rf: feedbackOhms, Rleak: none, RgA: none, RgB: none, RvA: none, RpA: none, RpB: none,
	}
}

func healthy() Unit {
	return Unit{
		Name: "healthy", Net: board(), Crystal: soundCrystal(), Supply: soundSupply(),
		Inverter: Inverter{
			Gm0: 1.09e-3, V0Volts: 3.6, T0Kelvin: 298.15, Vt0Volts: 0.90, KvtVolts: 1.5e-3,
			Alpha: 1.8, Mobility: 1.5, Slope: 1.4, LambdaPerVolt: 0.05,
		},
		Firmware: Firmware{NominalHertz: nominalHertz, TimeoutSeconds: 65.536e-3, BlinkHertz: 1},
	}
}

// catalogue holds the five units; their parameters are invented.
var catalogue = []struct {
	name   string
	damage func(*Unit)
}{
	{"healthy", func(*Unit) {}},
	{"cracked-capacitor", func(u *Unit) {
		u.Crack = Crack{Ohms: 9, PerKelvin: 0.05, RestSeconds: 60, RestPower: 0.35, Spread: 0.55, Kept: 0.85, OpenShare: 0.02}
	}},
	{"sleepy-crystal", func(u *Unit) {
		u.Crystal.R1 = 60
		u.Sleep = Sleep{Rise: 2.2, RestSeconds: 7200, RestPower: 0.5, Spread: 0.35, Amps: 20e-6}
	}},
	{"wet-flux", func(u *Unit) {
		u.Film = Spread{Ohms: 15e3, Sigma: 0.3}
		u.Net.RgA = 3e6
	}},
	{"resistive-contact", func(u *Unit) { u.Contact = Spread{Ohms: 45, Sigma: 0.55} }},
}

// Units lists the names NewUnit knows.
func Units() []string {
	names := make([]string, len(catalogue))
	for i, c := range catalogue {
		names[i] = c.name
	}
	return names
}

// NewUnit makes a unit by name; an unknown name is an error that lists them.
func NewUnit(name string) (Unit, error) {
	for _, c := range catalogue {
		if c.name == name {
			u := healthy()
			u.Name = name
			c.damage(&u)
			return u, nil
		}
	}
	return Unit{}, fmt.Errorf("unit %q is not known; known units: %s", name, strings.Join(Units(), ", "))
}
