package crystal

// Part is a board designator of the unit.
type Part string

// The parts a person can treat.
const (
	Y1 Part = "Y1" // crystal
	C7 Part = "C7" // load capacitor at node A, the crystal's input side
	C8 Part = "C8" // load capacitor at node B
	U1 Part = "U1" // microcontroller with the inverter
	J1 Part = "J1" // supply contact
	R3 Part = "R3" // feedback resistor
)

// Parts lists every designator, in the order of the board's parts list.
func Parts() []Part { return []Part{C7, C8, J1, R3, U1, Y1} }

// Probe is a scope probe's load: a capacitance and a resistance to ground at
// one crystal pin. The zero value loads nothing.
type Probe struct {
	Node   string  // "A", "B", or "" for a probe that touches neither
	Farads float64 // tip capacitance
	Ohms   float64 // input resistance; 0 means none
}

// Surroundings is all a power-up depends on besides the unit and chance.
type Surroundings struct {
	SupplyVolts float64 // what the bench supply is set to
	RestSeconds float64 // time off before this power-up
	// ResidualVolts is the voltage left on the decoupling capacitor when the
	// output comes on. Above RearmVolts the reset has not re-armed.
	ResidualVolts  float64
	AmbientCelsius float64
	// PartCelsius overrides the ambient for single parts: C7 drives the crack,
	// Y1 the crystal's resistance, U1 the inverter. A part not named is at ambient.
	PartCelsius map[Part]float64
	Probe       Probe
}

func (s Surroundings) celsius(p Part) float64 {
	if t, ok := s.PartCelsius[p]; ok {
		return t
	}
	return s.AmbientCelsius
}
