package failrate

import (
	"fmt"
	"math"
)

// CUSUM watches cycle by cycle for a rise of the failure rate. It adds Weight-1
// for a failure and takes 1 off for a good start, never below 0, and signals at
// Limit.
//
// Source: Reynolds and Stoumbos, J. Qual. Technol. 31 (1999) 87.
type CUSUM struct {
	Good, Bad     float64 // the failure rates it tells apart
	Weight, Limit int
	GoodRunLength float64 // cycles until a false signal, on average, at Good
	BadRunLength  float64 // cycles until the signal, on average, at Bad
	sum           int
}

// mostCUSUM bounds the limit, and so the time to find it.
const mostCUSUM = 20_000

// NewCUSUM returns a chart for a rate that is good but may become bad, whose
// false signals are at least runLength cycles apart on average. Its own run
// lengths are exact.
func NewCUSUM(good, bad, runLength float64) (*CUSUM, error) {
	if err := checkRate("good failure rate", good); err != nil {
		return nil, err
	}
	if err := checkRate("bad failure rate", bad); err != nil {
		return nil, err
	}
	if good >= bad {
		return nil, refuse("failure rates", fmt.Sprintf("good %v, bad %v", good, bad), "the good one is the lower one")
	}
	if !(runLength >= 1) || math.IsInf(runLength, 1) {
		return nil, refuse("run length", runLength, "it is the number of cycles between false signals, 1 or more")
	}
	c := &CUSUM{Good: good, Bad: bad, Weight: cusumWeight(good, bad)}
	long := func(limit int) bool { return CUSUMRunLength(c.Weight, limit, good) >= runLength }
	if c.Weight > mostCUSUM {
		return nil, refuse("failure rates", fmt.Sprintf("good %v, bad %v", good, bad), "so rare failures take a chart longer than a run; ask for a higher bad rate")
	}
	low, high := 0, c.Weight // the run length rises with the limit
	for !long(high) {
		low, high = high, 2*high
		if high > mostCUSUM {
			return nil, refuse("run length", runLength, fmt.Sprintf("rates of %v and %v are too close for it; ask for less, or for a higher bad rate", good, bad))
		}
	}
	for high-low > 1 {
		if middle := (low + high) / 2; long(middle) {
			high = middle
		} else {
			low = middle
		}
	}
	c.Limit = high
	c.GoodRunLength = CUSUMRunLength(c.Weight, c.Limit, good)
	c.BadRunLength = CUSUMRunLength(c.Weight, c.Limit, bad)
	return c, nil
}

// cusumWeight is the ratio of the log likelihood ratios of a failure and a good
// start, to the nearest whole number.
func cusumWeight(good, bad float64) int {
	r1, r2 := cusumIncrements(good, bad)
	return max(2, int(math.Round(min(r2/r1, math.MaxInt32)))) // beyond, it is refused
}

// cusumIncrements are Reynolds and Stoumbos's r1 and r2.
func cusumIncrements(good, bad float64) (r1, r2 float64) {
	r1 = math.Log1p(-good) - math.Log1p(-bad)
	return r1, math.Log(bad/good) + r1
}

// Add takes in one cycle and reports whether the chart signals. After a signal
// it starts again from 0.
func (c *CUSUM) Add(failed bool) bool {
	if failed {
		c.sum += c.Weight - 1
	} else {
		c.sum = max(0, c.sum-1)
	}
	if c.sum < c.Limit {
		return false
	}
	c.sum = 0
	return true
}

// Sentence states what the chart promises.
func (c *CUSUM) Sentence() string {
	return fmt.Sprintf("a rise of the failure rate from %s to %s signals after %.0f cycles on average; a false signal comes once in %.0f cycles",
		Percent(c.Good), Percent(c.Bad), c.BadRunLength, c.GoodRunLength)
}

// CUSUMRunLength returns the expected number of cycles until a chart with this
// weight and limit, from 0, signals at a failure rate.
//
// The sum goes down one at a time, so the chart's states can be solved from the
// top: for each, the chance never to come back below it, and the expected time
// until it either does or signals. No step subtracts, so that run lengths of
// any size keep their digits.
func CUSUMRunLength(weight, limit int, rate float64) float64 {
	if !(rate > 0) || weight < 2 || limit < 1 {
		return math.Inf(1)
	}
	if rate >= 1 {
		return math.Ceil(float64(limit) / float64(weight-1))
	}
	lost := make([]float64, limit) // from i: signals before it reaches i-1
	time := make([]float64, limit) // from i: expected time until either
	// descend returns the chance to signal on the way from above down to i, and the time.
	descend := func(i int) (signal, elapsed float64) {
		top := i + weight - 1
		if top >= limit {
			return 1, 0
		}
		for k := i + 1; k <= top; k++ {
			signal = lost[k] + (1-lost[k])*signal
			elapsed = time[k] + (1-lost[k])*elapsed
		}
		return signal, elapsed
	}
	for i := limit - 1; i > 0; i-- {
		signal, elapsed := descend(i)
		leaves := (1 - rate) + rate*signal // each visit to i ends here, or comes back to i
		lost[i] = rate * signal / leaves
		time[i] = (1 + rate*elapsed) / leaves
	}
	signal, elapsed := descend(0)
	return (1 + rate*elapsed) / (rate * signal)
}
