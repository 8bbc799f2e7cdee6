package crystal

import (
	"cmp"
	"math"
	"slices"
)

// Sensitivity is what one part does to the circuit, per +1 % of its value.
type Sensitivity struct {
	Symbol            string
	FrequencyPPM      float64
	GainMarginPercent float64
	ResistancePercent float64 // of |-R|
}

// Sensitivities of every part that is there, the largest effect on the gain
// margin first. The crystal keeps its nominal frequency while its C1 or C0
// changes, as one bought with another value would.
func (c Circuit) Sensitivities() []Sensitivity {
	const relative = 1e-3
	var list []Sensitivity
	for i := range symbolTable {
		s := &symbolTable[i]
		switch s.Name {
		case "fL", "CLnom", "fs", "L1", "Q", "T":
			continue // the crystal's identity, what follows from it, and a scale without a zero
		}
		value := c.Value(s.Name)
		if value == 0 || math.IsInf(value, 1) || math.IsNaN(value) {
			continue
		}
		at := func(factor float64) (hertz, margin, ohms float64) {
			d := c
			*s.field(&d) = value * factor
			if s.Name == "C1" || s.Name == "C0" {
				d.Crystal = NewResonator(d.Hertz, d.NominalFarads, d.Crystal.C1, d.Crystal.C0, d.Crystal.R1)
			}
			o := d.operate()
			return o.omega, o.margin(), o.negative()
		}
		f1, m1, r1 := at(1 + relative)
		f0, m0, r0 := at(1 - relative)
		per := func(up, down float64) float64 {
			return 0.01 / (2 * relative) * (up - down) / math.Abs((up+down)/2)
		}
		one := Sensitivity{Symbol: s.Name, FrequencyPPM: 1e6 * per(f1, f0), ResistancePercent: 100 * per(r1, r0)}
		if m1 > 0 && m0 > 0 {
			one.GainMarginPercent = 100 * per(m1, m0)
		}
		list = append(list, one)
	}
	slices.SortStableFunc(list, func(a, b Sensitivity) int {
		return cmp.Compare(math.Abs(b.GainMarginPercent), math.Abs(a.GainMarginPercent))
	})
	return list
}
