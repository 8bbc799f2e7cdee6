package failrate

import (
	"strconv"
	"strings"
)

// Method names a way to compute the confidence interval of a failure rate.
type Method string

// The methods. Clopper-Pearson's is the one shown unless another is asked for:
// it never claims more than it holds.
const (
	MethodClopperPearson Method = "clopper-pearson" // exact; one-sided where nothing or everything failed
	MethodWilson         Method = "wilson"          // score
	MethodJeffreys       Method = "jeffreys"        // Bayesian, with Jeffreys' prior
	MethodMidP           Method = "mid-p"           // exact test with half the probability of what was seen
	MethodAnytime        Method = "anytime"         // holds whenever and for whatever reason the run was stopped, see [Anytime]
)

// Methods returns all methods, the usual one first.
func Methods() []Method {
	return []Method{MethodClopperPearson, MethodWilson, MethodJeffreys, MethodMidP, MethodAnytime}
}

// ParseMethod returns the method of that name; no name is Clopper-Pearson. The
// error is an [*InputError] that lists the methods.
func ParseMethod(name string) (Method, error) {
	if name == "" {
		return MethodClopperPearson, nil
	}
	var names []string
	for _, m := range Methods() {
		if strings.EqualFold(name, string(m)) {
			return m, nil
		}
		names = append(names, string(m))
	}
	return "", refuse("interval", strconv.Quote(name), "the methods are "+strings.Join(names, ", "))
}

// Interval returns the interval of a failure rate. Counts, a confidence or a
// method that cannot be are refused with an [*InputError]; no cycles are not.
func (m Method) Interval(failures, cycles int, confidence float64) (Interval, error) {
	m, err := ParseMethod(string(m))
	if err != nil {
		return Interval{}, err
	}
	if err := checkCounts(failures, cycles); err != nil {
		return Interval{}, err
	}
	if err := checkConfidence(confidence); err != nil {
		return Interval{}, err
	}
	if m == MethodClopperPearson {
		return ClopperPearson(failures, cycles, confidence), nil
	}
	return newInterval(m.limits(), failures, cycles, confidence), nil
}

// limits returns the two-sided limits of a method that [ParseMethod] knows.
func (m Method) limits() limits {
	switch m {
	case MethodWilson:
		return wilsonLimits
	case MethodJeffreys:
		return jeffreysLimits
	case MethodMidP:
		return midPLimits
	case MethodAnytime:
		return anytimeLimits
	}
	return exactLimits
}
