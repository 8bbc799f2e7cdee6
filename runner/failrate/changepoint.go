package failrate

import "math"

// ChangePoint is the place in a series at which its level most likely changed.
type ChangePoint struct {
	After int     // the change comes after so many values
	K     float64 // Pettitt's statistic
	P     float64 // approximate; with many ties, as among failures and good starts, too large
	Rose  bool    // the level is higher afterwards
}

// Pettitt looks for one change of level in a series in the order of time.
//
// Source: Pettitt, Appl. Statist. 28 (1979) 126; P is 2 exp(-6K²/(n³+n²)).
func Pettitt(values []float64) (ChangePoint, error) {
	if err := checkValues(values, 4); err != nil {
		return ChangePoint{}, err
	}
	n := float64(len(values))
	rank, ties := denseRanks(values)
	middle := make([]float64, len(ties)) // the mean rank of each different value
	var below float64
	for i, m := range ties {
		middle[i] = below + (float64(m)+1)/2
		below += float64(m)
	}
	var c ChangePoint
	var sum float64
	for i, r := range rank[:len(rank)-1] {
		sum += middle[r]
		// Pairs across the cut that fall, less those that rise.
		u := 2*sum - float64(i+1)*(n+1)
		if math.Abs(u) > c.K {
			c.K, c.After, c.Rose = math.Abs(u), i+1, u < 0
		}
	}
	c.P = min(1, 2*math.Exp(-6*c.K*c.K/(n*n*n+n*n)))
	return c, nil
}
