package failrate

import "math"

// clustering says by how much cycles of one stretch of a hunt are more alike than
// those of different stretches. The zero value is no clustering.
type clustering struct {
	correlation float64 // of two cycles of one stretch
}

// clusteringLevel is the p-value below which stretches as found that differ count
// as clustering. To miss it accuses sound parts, to see it where there is none
// costs some power: so it is easily seen.
const clusteringLevel = 0.1

// basePairs pairs each stretch of the base with the next one, by voltage. What
// moves slowly through the night moves neighbours alike.
func basePairs(cycles []Cycle, base string) (pairs []sides) {
	var last []Cycle
	for _, block := range blocksOf(cycles) {
		if block[0].Treatment != base {
			continue
		}
		pairs = append(pairs, sidesByVolts(block, last)...)
		last = block
	}
	return pairs
}

// clusteringOf compares neighbouring stretches of the base. scatter is the square
// of their difference over its variance if cycles are independent, NaN if there is
// none: a chi-square of one degree of freedom then, and on average
// 1 + correlation ((n-1)/n + (m-1)/m) / (1/n + 1/m) otherwise.
func clusteringOf(pairs []sides, scatter func(sides) float64) clustering {
	var sum, reach, degrees float64
	for _, pair := range pairs {
		n, m := float64(len(pair.a)), float64(len(pair.b))
		if s := scatter(pair); !math.IsNaN(s) {
			sum += s
			reach += ((n-1)/n + (m-1)/m) / (1/n + 1/m)
			degrees++
		}
	}
	// A stretch in two pairs correlates their differences by -1/2, and their squares by
	// 1/4: the sum has the variance of 1.5 times as many, so is 1.5 times a chi-square.
	const shared = 1.5
	if reach == 0 || chiSquareUpper(sum/shared, degrees/shared) >= clusteringLevel {
		return clustering{}
	}
	return clustering{max(0, min(1, (sum-degrees)/reach))}
}

// failureScatter compares failure rates, by the variance of the base as a whole.
func failureScatter(pairs []sides) func(sides) float64 {
	var all Counts
	for _, pair := range pairs {
		all = all.add(countsOf(pair.a)).add(countsOf(pair.b))
	}
	p := all.Rate()
	return func(pair sides) float64 {
		a, b := countsOf(pair.a), countsOf(pair.b)
		return square(a.Rate()-b.Rate()) / (p * (1 - p) * (1/float64(a.Cycles) + 1/float64(b.Cycles)))
	}
}

// startScatter compares start times by their ranks.
func startScatter(pair sides) float64 {
	later, sooner := rankSum([]timeStratum{pair.starts()}, 1)
	return square(normalQuantile(min(later, sooner)))
}

// widen returns the two-sided p-value of a comparison with the base around its
// visits, if cycles of one stretch are correlated: the deviation shrinks as its
// variance grows (Rao and Scott, Biometrics 48 (1992) 577).
func (c clustering) widen(p float64, visits []visit) float64 {
	if c.correlation == 0 || p >= 1 || math.IsNaN(p) {
		return p
	}
	var grown, weights float64
	for _, v := range visits {
		n, before, after := float64(len(v.treated)), float64(len(v.before)), float64(len(v.after))
		m := before + after
		if m == 0 {
			continue
		}
		weight := n * m / (n + m)
		treated := (1 + (n-1)*c.correlation) / n
		base := (1 + ((square(before)+square(after))/m-1)*c.correlation) / m
		grown += weight * weight * (treated + base)
		weights += weight
	}
	deviation := -normalQuantile(p/2) / math.Sqrt(grown/weights)
	return 2 * normalUpper(deviation)
}
