package failrate

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Whatever is asked, the answer is a number or an InputError: no panic, no NaN,
// no other error.
func TestAnythingAsked(t *testing.T) {
	wildFloat := rapid.OneOf(
		rapid.Float64Range(0, 1), rapid.Float64(),
		rapid.SampledFrom([]float64{0, 1, 95, -1, 1e-300, 5e-324, math.Nextafter(1, 0), math.MaxFloat64, math.NaN(), math.Inf(1), math.Inf(-1)}))
	wildInt := rapid.OneOf(rapid.IntRange(-3, 3000), rapid.SampledFrom([]int{math.MinInt, -1, 0, 1, 1_000_000, math.MaxInt32, math.MaxInt}))
	rapid.Check(t, func(t *rapid.T) {
		failures, cycles, notCounted := wildInt.Draw(t, "failures"), wildInt.Draw(t, "cycles"), wildInt.Draw(t, "not counted")
		a, b, c, d := wildFloat.Draw(t, "a"), wildFloat.Draw(t, "b"), wildFloat.Draw(t, "c"), wildFloat.Draw(t, "d")
		method := rapid.SampledFrom(append(Methods(), "", "wald")).Draw(t, "method")

		checked := func(what string, answer any, err error, sentence string) {
			if refused, ok := errors.AsType[*InputError](err); err != nil && (!ok || refused.What == "" || refused.Allowed == "") {
				t.Fatalf("%s: error %v is no InputError", what, err)
			}
			if err != nil {
				return
			}
			if data, err := json.Marshal(answer); err != nil { // JSON has no NaN
				t.Fatalf("%s: %+v: %v", what, answer, err)
			} else if strings.Contains(sentence, "NaN") || strings.Contains(sentence, "Inf") {
				t.Fatalf("%s: %q, %s", what, sentence, data)
			}
		}
		rate, err := NewRate(method, failures, cycles, notCounted, a)
		checked("rate", rate, err, rate.Sentence())
		test, err := TestRate(min(failures, 100_000), min(cycles, 100_000), a)
		checked("test", test, err, "")
		demonstration, err := NeedDemonstration(a, b, min(failures, 10_000))
		checked("demonstration", demonstration, err, demonstration.Sentence())
		width, err := NeedWidth(a, b, c, method)
		checked("width", width, err, width.Sentence())
		// Comparisons of a few cycles only: the others take long to sum.
		power, err := ChangePower(a, min(failures, 100), b, min(cycles, 100), c)
		checked("power", power, err, "")
		detectable, _, err := DetectableRate(a, min(failures, 30), min(cycles, 30), true, b, c)
		checked("detectable", detectable, err, "")
		if !(math.Abs(a-b) < .2) {
			change, err := NeedChange(a, b, min(c, .99), d)
			checked("change", change, err, change.Sentence())
		}
		fixed, err := NewFixedPlan(a, b, c, d)
		checked("fixed plan", fixed, err, "")
		if fixed.Cycles < 10_000 {
			plan, err := NewPlanWithin(a, b, c, d, min(cycles, 10_000))
			if err != nil {
				checked("plan", nil, err, "")
				return
			}
			checked("plan", plan, nil, plan.Sentence()+plan.Start().Sentence())
		}
	})
}
