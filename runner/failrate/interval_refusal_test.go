package failrate

import (
	"errors"
	"math"
	"strings"
	"testing"
)

// wantRefused fails unless err is an InputError that says so.
func wantRefused(t *testing.T, what string, err error, says string) {
	t.Helper()
	if refused, ok := errors.AsType[*InputError](err); !ok || !strings.Contains(refused.Error(), says) {
		t.Errorf("%s: error %v, want an InputError that says %q", what, err, says)
	}
}

// impossible are counts and confidences that cannot be.
var impossible = []struct {
	failures, cycles int
	confidence       float64
	says             string
}{
	{-1, 5, .95, "0 or more"},
	{6, 5, .95, "6 of 5 cycles"},
	{0, -1, .95, "0 or more"},
	{1, 5, 0, "between 0 and 1"},
	{1, 5, 1, "between 0 and 1"},
	{1, 5, math.Nextafter(1, 0), "at most 99.9999999 %"},
	{1, 5, 95, "95 % is 0.95"},
	{1, 5, -.5, "between 0 and 1"},
	{1, 5, math.Inf(1), "between 0 and 1"},
	{1, 5, math.NaN(), "between 0 and 1"},
}

func TestIntervalRefuses(t *testing.T) {
	for _, c := range impossible {
		for _, m := range Methods() {
			_, err := m.Interval(c.failures, c.cycles, c.confidence)
			wantRefused(t, string(m), err, c.says)
			_, err = NewRate(m, c.failures, c.cycles, 0, c.confidence)
			wantRefused(t, string(m), err, c.says)
		}
		// Where nothing can be refused, nothing is claimed.
		for _, of := range []func(int, int, float64) Interval{ClopperPearson, TwoSided, Wilson, Jeffreys, MidP, Anytime} {
			iv := of(c.failures, c.cycles, c.confidence)
			if iv.Low != 0 || iv.High != 1 || !math.IsNaN(iv.Estimate) || iv.OneSided || !(iv.Confidence > 0 && iv.Confidence <= 1) {
				t.Errorf("%+v: %+v", c, iv)
			}
		}
	}
	_, err := Method("wald").Interval(1, 5, .95)
	wantRefused(t, "wald", err, "the methods are")
	_, err = NewRate("", 1, 5, -2, .95)
	wantRefused(t, "not counted", err, "0 or more")
}

func TestNoCycles(t *testing.T) {
	for _, m := range Methods() {
		iv, err := m.Interval(0, 0, .95)
		if err != nil || !math.IsNaN(iv.Estimate) || iv.Low != 0 || iv.High != 1 || iv.OneSided || iv.Confidence != .95 {
			t.Errorf("%s, no cycles: %+v, %v", m, iv, err)
		}
	}
}

// Whatever the counts, limits are ordered numbers from 0 to 1 around the rate seen.
func TestIntervalsInOrder(t *testing.T) {
	for _, m := range Methods() {
		for _, confidence := range []float64{.5, .95, .999999, 1 - 1e-9} {
			for _, n := range []int{1, 2, 3, 17, 1000, 1_000_000, 1_000_000_000} {
				for _, x := range []int{0, 1, n / 3, n / 2, n - 1, n} {
					iv, err := m.Interval(x, n, confidence)
					if err != nil || !(0 <= iv.Low && iv.Low <= iv.Estimate+1e-9 && iv.Estimate <= iv.High+1e-9 && iv.High <= 1) {
						t.Errorf("%s, %d/%d at %v: %+v, %v", m, x, n, confidence, iv, err)
					}
				}
			}
		}
	}
}

func TestParseConfidence(t *testing.T) {
	for text, want := range map[string]float64{"95 %": .95, "95%": .95, " 99.9 % ": .999, "0.95": .95, ".5": .5, "1%": .01} {
		if got, err := ParseConfidence(text); err != nil || !near(got, want, 1e-15) {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
	for text, says := range map[string]string{
		"95": `for 95 % write "95 %"`, "1": "below 100 %", "100 %": "below 100 %", "0": "above 0 %", "0 %": "above 0 %", "-5 %": "above 0 %",
		"": "0.95 or 95 %", "sure": "0.95 or 95 %", "%": "0.95 or 95 %", "NaN": "0.95 or 95 %", "inf %": "0.95 or 95 %", "95 % %": "0.95 or 95 %",
	} {
		_, err := ParseConfidence(text)
		wantRefused(t, text, err, says)
	}
}

func TestParseRate(t *testing.T) {
	for text, want := range map[string]float64{"1 %": .01, "0.1%": .001, "0.01": .01, "0": 0, "100 %": 1, "1": 1} {
		if got, err := ParseRate(text); err != nil || !near(got, want, 1e-15) {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
	for text, says := range map[string]string{"2": `for 2 % write "2 %"`, "-1 %": "0 % to 100 %", "101 %": "0 % to 100 %", "often": "0.01 or 1 %"} {
		_, err := ParseRate(text)
		wantRefused(t, text, err, says)
	}
}
