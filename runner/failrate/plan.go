package failrate

import (
	"fmt"
	"math"
)

// Plan is a sequential test of a failure rate: after each cycle the failures
// so far are compared with two limits, and the run ends with accept, with
// reject, or goes on. It ends at MostCycles at the latest. Immutable.
//
// The limits are those of Wald's sequential probability ratio test. All that is
// said about the plan (risks, expected cycles) is computed for the limits as they
// are, cut off at MostCycles, by exact recursion; Wald's own formulas ignore
// that the limits are overshot, and give 4 to 36 % too few cycles.
//
// Source: Wald, Sequential Analysis (1947), chapter 5.
type Plan struct {
	AcceptRate float64 // a unit that fails this seldom shall be accepted
	RejectRate float64 // a unit that fails this often shall be rejected
	Alpha      float64 // asked: the risk to reject at AcceptRate
	Beta       float64 // asked: the risk to accept at RejectRate
	MostCycles int

	// Limits by cycle; index 0 stands for before the first.
	accept, reject []int32 // accept at or below (-1: impossible), reject at or above
}

// maxPlanCycles bounds what a plan may take: no bench cycles more in a year.
const maxPlanCycles = 2_000_000

// NewPlan returns the plan whose true risks are at most alpha and beta. It
// takes at most half as many cycles again as the plan with a fixed number
// ([NewFixedPlan]) and on average far fewer.
//
// acceptRate and rejectRate lie within (0, 1), acceptRate the lower; alpha and beta lie
// within (0, 0.5). Anything else is refused with an [*InputError], and so are
// rates that would take more than two million cycles.
func NewPlan(acceptRate, rejectRate, alpha, beta float64) (*Plan, error) {
	fixed, err := NewFixedPlan(acceptRate, rejectRate, alpha, beta)
	if err != nil {
		return nil, err
	}
	return NewPlanWithin(acceptRate, rejectRate, alpha, beta, fixed.Cycles+(fixed.Cycles+1)/2)
}

// NewPlanWithin is [NewPlan] with a limit for the cycles. It refuses, with an
// [*InputError] that says how many it takes, when the risks cannot be held within
// them.
func NewPlanWithin(acceptRate, rejectRate, alpha, beta float64, mostCycles int) (*Plan, error) {
	fixed, err := NewFixedPlan(acceptRate, rejectRate, alpha, beta)
	if err != nil {
		return nil, err
	}
	if mostCycles > maxPlanCycles {
		return nil, refuse("most cycles", Count(mostCycles), "a plan takes at most "+Count(maxPlanCycles))
	}
	if mostCycles < fixed.Cycles {
		return nil, refuse("most cycles", Count(mostCycles),
			fmt.Sprintf("telling %s from %s with these risks takes up to %s; allow them, or put the rates further apart, or bear more risk",
				Percent(acceptRate), Percent(rejectRate), Count(fixed.Cycles)))
	}
	if p := within(acceptRate, rejectRate, alpha, beta, mostCycles); p != nil {
		return p, nil
	}
	// A plan with the fixed plan's number of failures that stops as soon as its
	// outcome is certain holds the same risks.
	p := &Plan{AcceptRate: acceptRate, RejectRate: rejectRate, Alpha: alpha, Beta: beta, MostCycles: fixed.Cycles}
	p.accept, p.reject = make([]int32, fixed.Cycles+1), make([]int32, fixed.Cycles+1)
	for n := range p.accept {
		p.accept[n], p.reject[n] = -1, int32(n+1)
	}
	p.endAt(fixed.AllowedFailures)
	return p, nil
}

// within returns the plan of the fewest expected cycles among Wald's, cut off at
// mostCycles, whose exact risks are at most alpha and beta; nil when there is
// none. Limits cut off and overshot do not have the risks they were computed
// for, so those are adjusted until the exact ones fit.
func within(acceptRate, rejectRate, alpha, beta float64, mostCycles int) (best *Plan) {
	_, _, slope := waldLimits(acceptRate, rejectRate, alpha, beta)
	fewest := math.Inf(1)
	for _, shift := range []int{-1, 0, 1} {
		allowed := int(slope*float64(mostCycles)) + shift
		if allowed < 0 || allowed >= mostCycles {
			continue
		}
		a, b := alpha, beta // nominal risks
		for range 20 {
			p := waldPlan(acceptRate, rejectRate, a, b, mostCycles, allowed)
			p.endAt(allowed)
			atAccept, atReject := p.at(acceptRate), p.at(rejectRate)
			if atAccept.Reject <= alpha && atReject.Accept <= beta {
				if cycles := atAccept.ExpectedCycles + atReject.ExpectedCycles; cycles < fewest {
					p.Alpha, p.Beta = alpha, beta
					best, fewest = p, cycles
				}
			}
			a *= clamp(0.99*alpha/atAccept.Reject, 0.5, 1.5)
			b *= clamp(0.99*beta/atReject.Accept, 0.5, 1.5)
			a, b = min(a, 0.49), min(b, 0.49)
		}
	}
	return best
}

func clamp(v, low, high float64) float64 { return min(max(v, low), high) }

// waldLimits returns Wald's two parallel lines: accept at or below
// -h0+slope·n failures, reject at or above h1+slope·n.
func waldLimits(acceptRate, rejectRate, alpha, beta float64) (h0, h1, slope float64) {
	good := math.Log1p(-acceptRate) - math.Log1p(-rejectRate)
	g := math.Log(rejectRate) - math.Log(acceptRate) + good
	return math.Log((1-alpha)/beta) / g, math.Log((1-beta)/alpha) / g, good / g
}

// waldPlan returns Wald's plan for the nominal risks, cut off at mostCycles
// where allowed failures or fewer are accepted.
func waldPlan(acceptRate, rejectRate, alpha, beta float64, mostCycles, allowed int) *Plan {
	p := &Plan{AcceptRate: acceptRate, RejectRate: rejectRate, Alpha: alpha, Beta: beta, MostCycles: mostCycles}
	h0, h1, slope := waldLimits(acceptRate, rejectRate, alpha, beta)
	p.accept, p.reject = make([]int32, mostCycles+1), make([]int32, mostCycles+1)
	for n := range p.accept {
		p.accept[n] = int32(max(-1, math.Floor(slope*float64(n)-h0)))
		p.reject[n] = int32(min(float64(n+1), math.Ceil(slope*float64(n)+h1)))
	}
	p.accept[0], p.reject[0] = -1, 1
	p.accept[mostCycles], p.reject[mostCycles] = int32(allowed), int32(allowed+1)
	return p
}

// endAt makes the plan stop as soon as it is certain which side of allowed the
// failures will be on at MostCycles. It changes no risk.
func (p *Plan) endAt(allowed int) {
	for n := 1; n <= p.MostCycles; n++ {
		p.accept[n] = max(p.accept[n], int32(allowed-(p.MostCycles-n)))
		p.reject[n] = min(p.reject[n], int32(allowed+1))
	}
}

// Limits returns the number of failures at or below which the plan accepts
// after n cycles (-1: it cannot accept yet), and that at or above which it rejects
// (more than n: it cannot reject yet). n counts from 1; beyond MostCycles the last
// limits stand.
func (p *Plan) Limits(n int) (acceptAtMost, rejectAtLeast int) {
	n = min(max(n, 0), p.MostCycles)
	return int(p.accept[n]), int(p.reject[n])
}

// FirstAccept returns after how many cycles without a failure the plan accepts.
func (p *Plan) FirstAccept() int {
	n := 1
	for p.accept[n] < 0 {
		n++
	}
	return n
}
