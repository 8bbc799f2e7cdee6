package failrate

import (
	"fmt"
	"sort"
)

// FixedPlan is an acceptance test with a fixed number of cycles: accept with at
// most AllowedFailures in Cycles.
type FixedPlan struct {
	Cycles          int     `json:"cycles"`
	AllowedFailures int     `json:"allowed_failures"`
	Alpha           float64 `json:"alpha"` // exact risk to reject at the accept rate
	Beta            float64 `json:"beta"`  // exact risk to accept at the reject rate
}

// NewFixedPlan returns the plan of the fewest cycles whose exact risks are at
// most alpha (to reject a unit that fails at acceptRate) and beta (to accept one that
// fails at rejectRate). Its arguments are those of [NewPlan].
//
// Source: Guenther, J. Qual. Technol. 1 (1969) 105.
func NewFixedPlan(acceptRate, rejectRate, alpha, beta float64) (FixedPlan, error) {
	if err := checkPlan(acceptRate, rejectRate, alpha, beta); err != nil {
		return FixedPlan{}, err
	}
	plan := func(allowed int) FixedPlan {
		n := demonstrationCycles(rejectRate, beta, allowed)
		return FixedPlan{n, allowed, binomialAtLeast(allowed+1, n, acceptRate), binomialAtMost(allowed, n, rejectRate)}
	}
	most := 0
	for p := plan(0); p.Alpha > alpha || p.Cycles > maxPlanCycles; p = plan(most) {
		if p.Cycles > maxPlanCycles {
			return FixedPlan{}, refuse("rates", fmt.Sprintf("%s and %s", Percent(acceptRate), Percent(rejectRate)),
				fmt.Sprintf("telling them apart takes more than %s cycles; put them further apart", Count(maxPlanCycles)))
		}
		most = max(1, 2*most)
	}
	allowed := sort.Search(most, func(k int) bool { return plan(k).Alpha <= alpha })
	// The risk falls with the failures allowed, except for the steps of whole
	// cycles, so that fewer failures may do just before it is first missed.
	best := plan(allowed)
	for k := allowed - 1; k >= max(0, allowed-8); k-- {
		if p := plan(k); p.Alpha <= alpha {
			best = p
		}
	}
	return best, nil
}

// checkPlan refuses rates and risks that no plan can have.
func checkPlan(acceptRate, rejectRate, alpha, beta float64) error {
	if err := checkRate("accept rate", acceptRate); err != nil {
		return err
	}
	if err := checkRate("reject rate", rejectRate); err != nil {
		return err
	}
	if acceptRate >= rejectRate {
		return refuse("accept rate", fmt.Sprintf("%s, reject rate %s", Percent(acceptRate), Percent(rejectRate)),
			"the accept rate is the lower of the two")
	}
	for _, risk := range []struct {
		name  string
		value float64
	}{{"alpha", alpha}, {"beta", beta}} {
		if !(risk.value > 0 && risk.value < 0.5) {
			return refuse(risk.name, risk.value, "a risk lies between 0 and 0.5, both excluded; 5 % is 0.05")
		}
	}
	return nil
}

// demonstrationCycles returns the smallest n with P(X <= allowed) <= miss at
// that rate, anything above maxNeed if that is. An n that meets it exactly must
// not be lost to rounding: 1-0.9 is less than 0.1.
func demonstrationCycles(rate, miss float64, allowed int) int {
	enough := func(n int) bool { return binomialAtMost(allowed, n, rate) <= miss*(1+1e-12) }
	high := allowed + 1
	for !enough(high) {
		if high *= 2; high > 2*maxNeed {
			return high
		}
	}
	return allowed + 1 + sort.Search(high-allowed-1, func(i int) bool { return enough(allowed + 1 + i) })
}
