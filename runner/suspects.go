package runner

import (
	"math"
	"slices"

	"ringup/runner/failrate"
)

// Suspect compares one treatment with the unit as found, at one voltage.
type Suspect struct {
	Treatment string             `json:"treatment"`
	Volts     float64            `json:"volts"`
	Treated   failrate.Condition `json:"treated"`
	AsFound   failrate.Condition `json:"as_found"`
	// P is Fisher's two-sided exact probability of so unequal counts if the treatment did nothing; Adjusted is
	// P after Holm's correction for all the comparisons made.
	P        float64 `json:"p"`
	Adjusted float64 `json:"p_adjusted"`
}

// Suspects ranks the treatments of a run by how surely they changed the failure rate, the surest first.
// Only voltages at which cycles as found were done, too, can be compared.
func Suspects(conditions []failrate.Condition) []Suspect {
	var list []Suspect
	for _, c := range conditions {
		if c.Treatment == AsFound || c.Cycles == 0 {
			continue
		}
		for _, base := range conditions {
			if base.Treatment == AsFound && base.Cycles > 0 && math.Abs(base.Volts-c.Volts) < 1e-6 {
				list = append(list, Suspect{
					Treatment: c.Treatment, Volts: c.Volts, Treated: c, AsFound: base,
					P: failrate.FisherExact(c.Failures, c.Cycles, base.Failures, base.Cycles),
				})
			}
		}
	}
	p := make([]float64, len(list))
	for i := range list {
		p[i] = list[i].P
	}
	for i, adjusted := range failrate.Holm(p) {
		list[i].Adjusted = adjusted
	}
	slices.SortStableFunc(list, func(a, b Suspect) int {
		switch {
		case a.P < b.P:
			return -1
		case a.P > b.P:
			return 1
		default:
			return 0
		}
	})
	return list
}
