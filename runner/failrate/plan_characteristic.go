package failrate

import (
	"fmt"
	"math"
)

// Characteristic is what a sequential plan does with a unit of that failure
// rate.
type Characteristic struct {
	Rate           float64 `json:"rate"`
	Accept         float64 `json:"accept"`          // probability to accept
	Reject         float64 `json:"reject"`          // probability to reject; the two add up to 1
	ExpectedCycles float64 `json:"expected_cycles"` // mean number of cycles until the decision
}

// At returns the plan's operating characteristic at a failure rate from 0 to 1,
// by exact recursion over the failures still undecided after each cycle. Any
// other rate is refused with an [*InputError].
func (p *Plan) At(rate float64) (Characteristic, error) {
	if !(rate >= 0 && rate <= 1) {
		return Characteristic{}, refuse("rate", rate, "it lies from 0 to 1; 1 % is 0.01")
	}
	return p.at(rate), nil
}

func (p *Plan) at(rate float64) Characteristic {
	c := Characteristic{Rate: rate}
	undecided := []float64{1} // probability of first, first+1, … failures and no decision
	first := 0
	for n := 1; n <= p.MostCycles; n++ {
		// One more cycle, in place from the top.
		var open float64
		undecided = append(undecided, 0)
		for k := len(undecided) - 1; k > 0; k-- {
			open += undecided[k-1]
			undecided[k] = undecided[k]*(1-rate) + undecided[k-1]*rate
		}
		undecided[0] *= 1 - rate
		c.ExpectedCycles += open
		for len(undecided) > 0 && first <= int(p.accept[n]) {
			c.Accept += undecided[0]
			undecided, first = undecided[1:], first+1
		}
		for last := len(undecided) - 1; last >= 0 && first+last >= int(p.reject[n]); last-- {
			c.Reject += undecided[last]
			undecided = undecided[:last]
		}
		if len(undecided) == 0 {
			break
		}
	}
	// What rounding leaves over is the larger one's.
	if c.Accept > c.Reject {
		c.Accept = 1 - c.Reject
	} else {
		c.Reject = 1 - c.Accept
	}
	return c
}

// Risks returns the exact risks of the plan as it is: to reject a unit that
// fails at AcceptRate, and to accept one that fails at RejectRate.
func (p *Plan) Risks() (alpha, beta float64) {
	return p.at(p.AcceptRate).Reject, p.at(p.RejectRate).Accept
}

// Curve returns the operating characteristic at rates worth a table: none, half
// the accept rate, the accept rate, the rate between that takes longest, the
// reject rate and twice that (at most 100 %).
func (p *Plan) Curve() []Characteristic {
	_, _, slope := waldLimits(p.AcceptRate, p.RejectRate, p.Alpha, p.Beta)
	var curve []Characteristic
	for _, rate := range []float64{0, p.AcceptRate / 2, p.AcceptRate, slope, p.RejectRate, math.Min(1, 2*p.RejectRate)} {
		curve = append(curve, p.at(rate))
	}
	return curve
}

// Sentence says what the plan does.
func (p *Plan) Sentence() string {
	good, bad := p.at(p.AcceptRate), p.at(p.RejectRate)
	return fmt.Sprintf("accepts a unit that fails at %s in %s of runs and rejects one that fails at %s in %s of runs; "+
		"it takes about %s cycles for the first, %s for the second, %s without a failure, and never more than %s",
		Percent(p.AcceptRate), percentDown(good.Accept), Percent(p.RejectRate), percentDown(bad.Reject),
		Count(int(math.Round(good.ExpectedCycles))), Count(int(math.Round(bad.ExpectedCycles))), Count(p.FirstAccept()), Count(p.MostCycles))
}
