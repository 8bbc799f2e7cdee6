package failrate

import (
	"encoding/json"
	"math"
	"testing"
)

func TestRateSentence(t *testing.T) {
	for _, c := range []struct {
		method                       Method
		failures, cycles, notCounted int
		confidence                   float64
		want                         string
	}{
		{"", 0, 2995, 0, .95, "no failure in 2,995 cycles: below 0.1 % with 95 % confidence"},
		{"", 0, 2994, 0, .95, "no failure in 2,994 cycles: below 0.101 % with 95 % confidence"}, // not 0.1 %
		{"", 12, 300, 3, .95, "12 failures in 300 cycles: 4 %, between 2.08 % and 6.89 % with 95 % confidence; 3 more cycles not counted"},
		{"", 1, 1, 1, .9, "1 failure in 1 cycle: above 10 % with 90 % confidence; 1 more cycle not counted"},
		{"", 0, 0, 0, .95, "no cycle counted: nothing is known of the rate"},
		{"", 0, 0, 12, .95, "no cycle counted: nothing is known of the rate; 12 more cycles not counted"},
		{MethodAnytime, 3, 1000, 0, .95, "3 failures in 1,000 cycles: 0.3 %, between 0.0123 % and 1.44 % with 95 % confidence whenever the run is stopped"},
		{MethodWilson, 10, 10, 0, .95, "10 failures in 10 cycles: above 72.2 % with 95 % confidence"},
	} {
		r, err := NewRate(c.method, c.failures, c.cycles, c.notCounted, c.confidence)
		if err != nil || r.Sentence() != c.want {
			t.Errorf("%q, %v; want %q", r.Sentence(), err, c.want)
		}
	}
	tally := tallied(started(2.4, "as found", .004), failed(2.4, "as found", "silent", math.NaN()), lost(2.4, "as found", "unread"))
	if got := tally.Conditions()[0].Rate().Sentence(); got != "1 failure in 2 cycles: 50 %, between 1.25 % and 98.75 % with 95 % confidence; 1 more cycle not counted" {
		t.Errorf("of a condition: %q", got)
	}
}

func TestPercent(t *testing.T) {
	for _, c := range []struct {
		rate             float64
		nearest, up, low string
	}{
		{0, "0 %", "0 %", "0 %"},
		{1, "100 %", "100 %", "100 %"},
		{math.NaN(), "–", "–", "–"},
		{.01, "1 %", "1 %", "1 %"},
		{.07, "7 %", "7 %", "7 %"}, // 7.000000000000001 in binary
		{.99965, "99.965 %", "99.965 %", "99.965 %"},
		{.999651234, "99.9651 %", "99.9652 %", "99.9651 %"},
		{.412345, "41.2 %", "41.3 %", "41.2 %"},
		{.0412345, "4.12 %", "4.13 %", "4.12 %"},
		{.000123456, "0.0123 %", "0.0124 %", "0.0123 %"},
		{1e-300, "1.0e-298 %", "1.0e-298 %", "1.0e-298 %"},
		{1 - 1e-13, "99.99999999999 %", "99.99999999999 %", "99.99999999999 %"},
		{math.Nextafter(1, 0), "99.99999999999999 %", "99.99999999999999 %", "99.99999999999999 %"},
		{1e-9, "0.0000001 %", "0.0000001 %", "0.0000001 %"},
	} {
		if got := []string{Percent(c.rate), percentUp(c.rate), percentDown(c.rate)}; got[0] != c.nearest || got[1] != c.up || got[2] != c.low {
			t.Errorf("%v: %q, want %q, %q, %q", c.rate, got, c.nearest, c.up, c.low)
		}
	}
}

func TestRateTests(t *testing.T) {
	// NIST/SEMATECH e-Handbook 7.2.4, 26 of 200 against 10 %.
	got, err := TestRate(26, 200, .1)
	if err != nil || !near(got.AtLeast, 0.100457286513, 1e-11) || !near(got.TwoSided, 0.15701932965, 1e-10) {
		t.Errorf("26/200 against 10 %%: %+v, %v", got, err)
	}
	// scipy documentation, BinomTestResult; Conover (1971) p. 97, example of R's binom.test.
	if got, _ := TestRate(7, 50, .1); !near(got.TwoSided, 0.34150191454, 1e-10) {
		t.Errorf("7/50: %+v", got)
	}
	if got, _ := TestRate(682, 925, .75); !near(got.TwoSided, 0.38249155957, 1e-10) {
		t.Errorf("682/925: %+v", got)
	}
	// At a rate of one half the two tails are alike, whatever rounding makes of them.
	for cycles := 1; cycles <= 200; cycles++ {
		for failures := range cycles/2 + cycles%2 {
			if got, _ := TestRate(failures, cycles, .5); !near(got.TwoSided, 2*got.AtMost, 1e-11) || !near(got.AtLeast, 1-binomialAtMost(failures-1, cycles, .5), 1e-11) {
				t.Fatalf("%d of %d at 50 %%: %+v", failures, cycles, got)
			}
		}
	}
	if got, err := TestRate(0, 0, .1); err != nil || got != (RateTest{1, 1, 1}) {
		t.Errorf("no cycles: %+v, %v", got, err)
	}
	if got, err := TestRate(900, 1000, .001); err != nil || !(got.TwoSided >= 0 && got.TwoSided < 1e-100) || got.AtMost < 1-1e-12 {
		t.Errorf("far out: %+v, %v", got, err)
	}
	_, err = TestRate(3, 2, .1)
	wantRefused(t, "3 of 2", err, "3 of 2 cycles")
	_, err = TestRate(1, 2, 0)
	wantRefused(t, "rate 0", err, "both excluded")
}

func TestRateTestsOutside(t *testing.T) {
	type point struct {
		Failures, Cycles int
		Rate             float64
	}
	random := outsideRandom(4)
	var points []point
	for range outsideCases {
		failures, cycles := randomCount(random, 2000)
		points = append(points, point{failures, cycles, math.Exp(-6 * random.Float64())})
	}
	want := outside(t, `
def f(c):
    return [stats.binomtest(c["Failures"], c["Cycles"], c["Rate"], alternative=a).pvalue for a in ("less", "greater", "two-sided")]
`, points)
	for i, c := range points {
		got, err := TestRate(c.Failures, c.Cycles, c.Rate)
		if err != nil || !sameAsOutside(got.AtMost, want[i][0], 1e-9, 1e-12) || !sameAsOutside(got.AtLeast, want[i][1], 1e-9, 1e-12) ||
			!sameAsOutside(got.TwoSided, want[i][2], 1e-9, 1e-12) {
			t.Errorf("%+v: %+v (%v), scipy %v", c, got, err, want[i])
		}
	}
}

func TestRateJSON(t *testing.T) {
	for failures, want := range map[int]string{
		0: `{"failures":0,"cycles":0,"not_counted":2,"interval":{"estimate":null,"low":0,"high":1,"confidence":0.95,"one_sided":false},"method":"clopper-pearson"}`,
		1: `{"failures":1,"cycles":1,"not_counted":2,"interval":{"estimate":1,"low":0.050000000000000044,"high":1,"confidence":0.95,"one_sided":true},"method":"clopper-pearson"}`,
	} {
		r, err := NewRate("", failures, failures, 2, .95)
		if err != nil {
			t.Fatal(err)
		}
		data, err := json.Marshal(r)
		if err != nil || string(data) != want {
			t.Errorf("%s, %v; want %s", data, err, want)
		}
		var back Rate
		if err := json.Unmarshal(data, &back); err != nil || back.Sentence() != r.Sentence() {
			t.Errorf("back from JSON: %+v, %v", back, err)
		}
	}
}
