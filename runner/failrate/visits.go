package failrate

import "slices"

// visit is one uninterrupted stay at a treatment, with the base cycles around it.
type visit struct {
	treated, before, after []Cycle
}

// visitsOf cuts cycles, in their order, into visits by treatment. The treatments
// are in order of first appearance.
func visitsOf(cycles []Cycle, base string) (treatments []string, visits map[string][]visit) {
	blocks := blocksOf(cycles)
	visits = map[string][]visit{}
	nearest := func(i, step int) []Cycle {
		for i += step; i >= 0 && i < len(blocks); i += step {
			if blocks[i][0].Treatment == base {
				return blocks[i]
			}
		}
		return nil
	}
	for i, b := range blocks {
		name := b[0].Treatment
		if name == base {
			continue
		}
		if !slices.Contains(treatments, name) {
			treatments = append(treatments, name)
		}
		visits[name] = append(visits[name], visit{b, nearest(i, -1), nearest(i, 1)})
	}
	return treatments, visits
}

// blocksOf cuts cycles wherever the treatment changes.
func blocksOf(cycles []Cycle) (blocks [][]Cycle) {
	for i, c := range cycles {
		if i == 0 || c.Treatment != cycles[i-1].Treatment {
			blocks = append(blocks, nil)
		}
		last := len(blocks) - 1
		blocks[last] = append(blocks[last], c)
	}
	return blocks
}

// sidesByVolts pairs cycles by voltage; voltages of one side only are left
// out.
func sidesByVolts(a, b []Cycle) []sides {
	levelsA, levelsB := byVolts(a), byVolts(b)
	var pairs []sides
	for volts, cycles := range levelsA {
		if other := levelsB[volts]; len(other) > 0 {
			pairs = append(pairs, pairOf(volts, cycles, other))
		}
	}
	slices.SortFunc(pairs, sidesFromHighest)
	return pairs
}
