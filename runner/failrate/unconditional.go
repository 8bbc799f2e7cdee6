package failrate

import (
	"fmt"
	"math"
)

// Unconditional holds the p-values of a test for equal failure rates that does
// not fix the total number of failures: the largest probability, over all
// common rates, of what speaks as strongly against equality as what was seen.
type Unconditional struct {
	Less     float64 `json:"less"`    // against A failing more seldom
	Greater  float64 `json:"greater"` // against A failing more often
	TwoSided float64 `json:"two_sided"`
}

// Boschloo is the exact unconditional test that orders outcomes by Fisher's
// one-sided p-value. It is never less powerful than Fisher's test. The
// two-sided p-value is twice the smaller one-sided one. More than 100,000 cycles a
// side are refused.
//
// Source: Boschloo, Statist. Neerl. 24 (1970) 1.
func Boschloo(a, b Counts) (Unconditional, error) {
	if err := checkUnconditional(a, b); err != nil {
		return Unconditional{}, err
	}
	greater := boschlooGreater(a, b)
	less := boschlooGreater(b, a)
	return Unconditional{Less: less, Greater: greater, TwoSided: min(1, 2*min(less, greater))}, nil
}

// Barnard is the exact unconditional test that orders outcomes by the pooled
// score statistic; two-sided by its square. More than 100,000 cycles a side are
// refused.
//
// Source: Barnard, Biometrika 34 (1947) 123; Suissa and Shuster, JRSS-A 148
// (1985) 317.
func Barnard(a, b Counts) (Unconditional, error) {
	if err := checkUnconditional(a, b); err != nil {
		return Unconditional{}, err
	}
	score := pooledScore(a, b)
	const rounding = 1e-9 // outcomes exactly as extreme must not be lost
	reach := func(x, y int) float64 { return pooledScore(Counts{x, a.Cycles}, Counts{y, b.Cycles}) }
	greater := boundary(a.Cycles, b.Cycles, func(x, y int) bool { return reach(x, y) >= score-rounding })
	less := boundary(b.Cycles, a.Cycles, func(y, x int) bool { return reach(x, y) <= score+rounding })
	size := math.Abs(score)
	above := boundary(a.Cycles, b.Cycles, func(x, y int) bool { return reach(x, y) >= size-rounding })
	below := boundary(b.Cycles, a.Cycles, func(y, x int) bool { return reach(x, y) <= -size+rounding })
	u := Unconditional{
		Greater: worst(a.Cycles, b.Cycles, func(n *nuisance) float64 { return n.region(greater) }),
		Less:    worst(b.Cycles, a.Cycles, func(n *nuisance) float64 { return n.region(less) }),
	}
	u.TwoSided = 1
	if size > rounding {
		u.TwoSided = worst(a.Cycles, b.Cycles, func(n *nuisance) float64 { return n.region(above) + n.swapped().region(below) })
	}
	return u, nil
}

// mostUnconditional bounds the time of the search over common rates: a second
// or two at this many cycles a side.
const mostUnconditional = 100_000

func checkUnconditional(a, b Counts) error {
	if n := max(a.Cycles, b.Cycles); n > mostUnconditional {
		return refuse("cycles", n, fmt.Sprintf("an unconditional test takes at most %s a side; with so many Fisher's test says the same", Count(mostUnconditional)))
	}
	return checkPair(a, b)
}

// pooledScore is the difference of the rates by its standard error under a
// common rate; 0 where no failure or nothing but failures leaves no error.
func pooledScore(a, b Counts) float64 {
	pooled := a.add(b).Rate()
	variance := pooled * (1 - pooled) * (1/float64(a.Cycles) + 1/float64(b.Cycles))
	if variance <= 0 {
		return 0
	}
	return (a.Rate() - b.Rate()) / math.Sqrt(variance)
}

func boschlooGreater(a, b Counts) float64 {
	tail := newFisherTail(a.Cycles, b.Cycles)
	limit := tail.greater(a.Failures, b.Failures) * (1 + 1e-7)
	region := boundary(a.Cycles, b.Cycles, func(x, y int) bool { return tail.greater(x, y) <= limit })
	return worst(a.Cycles, b.Cycles, func(n *nuisance) float64 { return n.region(region) })
}

// boundary returns, for every count y of B, the least count x of A at which
// (x, y) is in the region, nA+1 for none. The region must be convex in
// Barnard's sense: with (x, y) it holds (x+1, y) and (x, y-1). So the boundary
// only rises and one walk along it, nA+nB steps, finds it all.
func boundary(nA, nB int, in func(x, y int) bool) []int {
	least := make([]int, nB+1)
	x := 0
	for y := range least {
		for x <= nA && !in(x, y) {
			x++
		}
		least[y] = x
	}
	return least
}

// fisherTail computes Fisher's one-sided p-values for one pair of cycle counts.
type fisherTail struct {
	nA, nB       int
	logFactorial []float64
}

func newFisherTail(nA, nB int) *fisherTail {
	t := &fisherTail{nA, nB, make([]float64, nA+nB+1)}
	for i := 2; i < len(t.logFactorial); i++ {
		t.logFactorial[i], _ = math.Lgamma(float64(i + 1))
	}
	return t
}

func (t *fisherTail) logChoose(n, k int) float64 {
	return t.logFactorial[n] - t.logFactorial[k] - t.logFactorial[n-k]
}

// greater is P(X >= x) with x+y failures in all. It sums outwards from x, so
// that a small tail keeps its digits, and the other side where that is shorter.
func (t *fisherTail) greater(x, y int) float64 {
	fails := x + y
	least, most := max(0, fails-t.nB), min(fails, t.nA)
	sum := func(k, step int) float64 { // from k to the end, in steps of +1 or -1
		if k < least || k > most {
			return 0
		}
		term := math.Exp(t.logChoose(t.nA, k) + t.logChoose(t.nB, fails-k) - t.logChoose(t.nA+t.nB, fails))
		total := term
		for {
			if step > 0 {
				if k >= most {
					return total
				}
				term *= float64(t.nA-k) * float64(fails-k) / (float64(k+1) * float64(t.nB-fails+k+1))
			} else {
				if k <= least {
					return total
				}
				term *= float64(k) * float64(t.nB-fails+k) / (float64(t.nA-k+1) * float64(fails-k+1))
			}
			k += step
			total += term
			if term < total*1e-17 {
				return total
			}
		}
	}
	if mean := float64(t.nA) * float64(fails) / float64(t.nA+t.nB); float64(x) > mean {
		return sum(x, 1)
	}
	return 1 - sum(x-1, -1)
}

// nuisance holds the binomial distributions of both counts at one common rate.
type nuisance struct {
	a, b binomial
}

// binomial holds the probabilities of the counts that matter at one rate.
type binomial struct {
	first int       // every count below has next to no probability
	pmf   []float64 // of first, first+1, …
	tail  []float64 // tail[i] = P(X >= first+i)
}

// region is the probability of A at or above the boundary.
func (n *nuisance) region(least []int) float64 {
	var sum float64
	for i, w := range n.b.pmf {
		x := least[n.b.first+i] - n.a.first
		switch {
		case x >= len(n.a.tail):
		case x <= 0:
			sum += w
		default:
			sum += w * n.a.tail[x]
		}
	}
	return sum
}

func (n *nuisance) swapped() *nuisance { return &nuisance{n.b, n.a} }

// fill computes the distribution of n cycles at a rate.
func (d *binomial) fill(n int, rate float64) {
	d.first, d.pmf = binomialWindow(n, rate)
	if cap(d.tail) < len(d.pmf) {
		d.tail = make([]float64, len(d.pmf))
	}
	d.tail = d.tail[:len(d.pmf)]
	var tail float64
	for i := len(d.pmf) - 1; i >= 0; i-- {
		tail += d.pmf[i]
		d.tail[i] = tail
	}
}

// worst is the largest probability over all common rates. The search goes over
// the arc sine of the root of the rate, in which a binomial is equally sharp
// everywhere: first a grid finer than any peak can be, then the peaks.
func worst(nA, nB int, probability func(*nuisance) float64) float64 {
	var n nuisance
	at := func(angle float64) float64 {
		rate := square(math.Sin(angle))
		if rate <= 0 || rate >= 1 {
			return 0
		}
		n.a.fill(nA, rate)
		n.b.fill(nB, rate)
		return probability(&n)
	}
	points := 64 + 6*int(math.Sqrt(float64(nA+nB)))
	step := math.Pi / 2 / float64(points)
	values := make([]float64, points)
	var top float64
	for i := range values {
		values[i] = at((float64(i) + 0.5) * step)
		top = max(top, values[i])
	}
	best := top
	for i, v := range values {
		before, after := values[max(i-1, 0)], values[min(i+1, points-1)]
		if before > v || after > v {
			continue
		}
		// The parabola through three neighbours tells how high a peak may be; twice that rise is looked into.
		rise := 0.0
		if bend := 2*v - before - after; bend > 0 {
			rise = square(before-after) / (8 * bend)
		}
		if atEdge := i == 0 || i == points-1; atEdge || v+2*rise+1e-3*top >= top {
			middle := (float64(i) + 0.5) * step
			_, height := highest(at, max(1e-9, middle-step), min(math.Pi/2-1e-9, middle+step))
			best = max(best, height)
		}
	}
	return min(1, best)
}
