package failrate

import (
	"fmt"
	"math"
	"sort"
)

// Demonstration is the number of cycles that shows a failure rate below a
// limit, when no more than the allowed failures are seen in them.
type Demonstration struct {
	Below           float64 `json:"below"`
	Confidence      float64 `json:"confidence"`
	AllowedFailures int     `json:"allowed_failures"`
	Cycles          int     `json:"cycles"`
	Miss            float64 `json:"miss"`       // exact probability to pass at the rate Below; at most 1-Confidence
	Convention      string  `json:"convention"` // which of the conventions in circulation was used
}

// demonstrationConvention tells the classical count from the one with a
// uniform prior, which goes by the same name and is smaller by one.
const demonstrationConvention = "smallest number of cycles in which a unit that fails at the stated rate shows the allowed failures or fewer " +
	"with a probability of at most 1 - confidence (binomial, one-sided, no prior)"

// NeedDemonstration returns how many cycles show, with the confidence given,
// that a unit fails less often than below. For no failure that is
// ln(1-C)/ln(1-below), rounded up. What cannot be is refused with an [*InputError].
//
// Source: Clopper and Pearson, Biometrika 26 (1934) 404; known as success run.
func NeedDemonstration(below, confidence float64, allowedFailures int) (Demonstration, error) {
	if err := checkRate("rate", below); err != nil {
		return Demonstration{}, err
	}
	if err := checkConfidence(confidence); err != nil {
		return Demonstration{}, err
	}
	if allowedFailures < 0 || allowedFailures > maxPlanCycles {
		return Demonstration{}, refuse("allowed failures", allowedFailures, "they lie from 0 to "+Count(maxPlanCycles))
	}
	n := demonstrationCycles(below, 1-confidence, allowedFailures)
	if n > maxNeed {
		return Demonstration{}, tooMany("rate "+Percent(below), "ask for a higher rate")
	}
	return Demonstration{below, confidence, allowedFailures, n, binomialAtMost(allowedFailures, n, below), demonstrationConvention}, nil
}

// Sentence says what is needed in words.
func (d Demonstration) Sentence() string {
	seen := counted(d.AllowedFailures, "failure")
	if d.AllowedFailures > 0 {
		seen = "at most " + seen
	}
	return fmt.Sprintf("%s with %s: below %s with %s confidence", counted(d.Cycles, "cycle"), seen, Percent(d.Below), Percent(d.Confidence))
}

// maxNeed is more cycles than any bench makes; beyond it a number is no answer.
const maxNeed = 1_000_000_000

func tooMany(found, advice string) error {
	return refuse("needed cycles at", found, fmt.Sprintf("it takes more than %s cycles; %s", Count(maxNeed), advice))
}

// WidthNeed is the number of cycles that measures a failure rate to a width.
type WidthNeed struct {
	Rate       float64 `json:"rate"`  // rate expected to be seen
	Width      float64 `json:"width"` // high limit less low limit
	Confidence float64 `json:"confidence"`
	Method     Method  `json:"method"`
	Cycles     int     `json:"cycles"`
	Low        float64 `json:"low"` // limits if exactly Rate is seen
	High       float64 `json:"high"`
	Convention string  `json:"convention"`
}

// NeedWidth returns the smallest number of cycles whose two-sided interval is
// no wider than width, when exactly the rate expected is seen (failures in
// fractions: the limits are continued between whole ones). The rate may be 0 and
// 1, too. What cannot be is refused with an [*InputError].
func NeedWidth(rate, width, confidence float64, m Method) (WidthNeed, error) {
	m, err := ParseMethod(string(m))
	if err != nil {
		return WidthNeed{}, err
	}
	if !(rate >= 0 && rate <= 1) {
		return WidthNeed{}, refuse("rate", rate, "it lies from 0 to 1; 1 % is 0.01")
	}
	if err := checkRate("width", width); err != nil {
		return WidthNeed{}, err
	}
	if err := checkConfidence(confidence); err != nil {
		return WidthNeed{}, err
	}
	limits := func(n int) (low, high float64) {
		low, high = m.limits()(rate*float64(n), float64(n), (1-confidence)/2)
		return max(0, low), min(1, high)
	}
	narrow := func(n int) bool {
		low, high := limits(n)
		return high-low <= width
	}
	high := 1
	for !narrow(high) {
		if high *= 2; high > 2*maxNeed {
			return WidthNeed{}, tooMany("width "+Percent(width), "ask for a wider interval")
		}
	}
	need := WidthNeed{Rate: rate, Width: width, Confidence: confidence, Method: m,
		Convention: fmt.Sprintf("smallest number of cycles whose two-sided interval (%s) is no wider than stated if exactly the expected rate is seen", m)}
	need.Cycles = 1 + sort.Search(high-1, func(i int) bool { return narrow(1 + i) })
	need.Low, need.High = limits(need.Cycles)
	return need, nil
}

// Sentence says what is needed in words.
func (w WidthNeed) Sentence() string {
	return fmt.Sprintf("%s: if %s fail, the rate lies between %s and %s with %s confidence",
		counted(w.Cycles, "cycle"), Percent(w.Rate), percentDown(w.Low), percentUp(w.High), Percent(w.Confidence))
}

// ChangeNeed is the number of cycles on each side that shows a change of the
// failure rate.
type ChangeNeed struct {
	From         float64 `json:"from"`
	To           float64 `json:"to"`
	Power        float64 `json:"power"`        // asked
	Significance float64 `json:"significance"` // 1 - confidence
	Cycles       int     `json:"cycles"`       // each side
	Reached      float64 `json:"reached"`      // exact power with Cycles a side
	Convention   string  `json:"convention"`
}

const changeConvention = "smallest equal number of cycles a side with which the two-sided exact test of Fisher shows the change with at least that " +
	"probability, summed over all outcomes"

// NeedChange returns how many cycles on each side (before and after) show that
// the failure rate went from one value to the other: Fisher's exact test gets a
// p-value of at most significance with at least the probability power. What
// cannot be is refused with an [*InputError].
//
// The power is no smooth function of the cycles. A few more than the number
// returned may have a little less of it; the difference is below a percent where a
// hundred cycles or more are needed. Beyond some thousand cycles the number is the
// smallest to a part in a thousand.
func NeedChange(from, to, power, significance float64) (ChangeNeed, error) {
	if err := checkChange(from, to, significance); err != nil {
		return ChangeNeed{}, err
	}
	if from == to {
		return ChangeNeed{}, refuse("change", fmt.Sprintf("%s to %s", Percent(from), Percent(to)), "the two rates differ")
	}
	if err := checkRate("power", power); err != nil {
		return ChangeNeed{}, err
	}
	n, reached := changeStart(from, to, power, significance), 0.0
	for {
		reached = fisherPower(from, n, to, n, significance)
		if reached >= power {
			break
		}
		n += changeStep(n, reached, power, significance)
		if n > maxChangeCycles {
			return ChangeNeed{}, refuse("change", fmt.Sprintf("%s to %s", Percent(from), Percent(to)),
				fmt.Sprintf("it takes more than %s cycles a side; ask for a larger change", Count(maxChangeCycles)))
		}
	}
	return ChangeNeed{from, to, power, significance, n, reached, changeConvention}, nil
}

// maxChangeCycles bounds the search; each step of it sums over all outcomes.
const maxChangeCycles = 200_000

// changeStart returns where to begin the search: a little below what the normal
// approximation without continuity correction asks for, which is less than the
// exact test needs; the first cycle where that is few.
//
// Source: Fleiss, Statistical Methods for Rates and Proportions (1981), section 3.2.
func changeStart(from, to, power, significance float64) int {
	mean := (from + to) / 2
	spread := normalQuantile(1-significance/2)*math.Sqrt(2*mean*(1-mean)) +
		normalQuantile(power)*math.Sqrt(from*(1-from)+to*(1-to))
	n := square(spread / (from - to))
	switch {
	case spread <= 0 || n < 200:
		return 1
	case n < 2000:
		return int(n / 2)
	}
	return int(min(0.97*n, maxChangeCycles))
}

// changeStep returns how far to go on from n cycles: a part of the way that is
// left by the normal approximation, the smaller the more uneven the power is, so
// that the first n that will do is not jumped over.
func changeStep(n int, reached, power, significance float64) int {
	if n < 200 || reached <= 0 {
		return 1
	}
	critical := normalQuantile(1 - significance/2)
	have, want := critical+normalQuantile(reached), critical+normalQuantile(power)
	left := float64(n) * (square(want/have) - 1)
	if n < 5000 {
		left /= 4
	}
	return int(clamp(left/2, 1, float64(n)/16))
}

// Sentence says what is needed in words.
func (c ChangeNeed) Sentence() string {
	return fmt.Sprintf("%s before and as many after: a change from %s to %s is seen in %s of cases (two-sided, %s confidence)",
		counted(c.Cycles, "cycle"), Percent(c.From), Percent(c.To), percentDown(c.Reached), Percent(1-c.Significance))
}
