package runner_test

import (
	"encoding/json"
	"errors"
	"math"
	"math/big"
	"strings"
	"testing"
	"time"
)

// compare counts what the treatments did and holds them against each other by Fisher's exact test, whose definition is
// worked out here: the probability, with the margins fixed, of all outcomes no likelier than the one seen.
func TestCompareTreatments(t *testing.T) {
	s := simulate(t, simulation{unit: "cracked-capacitor", celsius: -10, rested: time.Hour, seed: 1})
	session := s.open(t, nil)
	for _, b := range []struct {
		treatment   string
		volts       float64
		cycles      int
		restSeconds float64
	}{{"long rest", 2.4, 8, 36000}, {"short rest", 2.4, 7, 10}, {"short rest", 3.6, 3, 10}} {
		calls := []any{"treatment", map[string]string{"text": b.treatment}}
		for range b.cycles {
			calls = append(calls, "cycle", volts{"volts": b.volts, "rest": b.restSeconds})
		}
		if _, err := script(t, session, calls...); err != nil {
			t.Fatal(err)
		}
	}
	want := map[string][2]int64{}
	for _, c := range s.cycles(t, session.Run().ID) {
		if n := want[c.Treatment]; c.SetVolts == 2.4 {
			if n[1]++; c.Verdict.Failed() {
				n[0]++
			}
			want[c.Treatment] = n
		}
	}
	raw, err := call(t.Context(), session, "compare", map[string]any{"treatment": "long rest", "against": "short rest", "volts": 2.4})
	var got struct {
		Treatment, Against struct{ Failures, Cycles int64 }
		Difference, P      float64
		Shown              bool
	}
	if err := errors.Join(err, json.Unmarshal(raw, &got)); err != nil {
		t.Fatal(err)
	}
	a, b := want["long rest"], want["short rest"]
	if [2]int64{got.Treatment.Failures, got.Treatment.Cycles} != a || [2]int64{got.Against.Failures, got.Against.Cycles} != b || a[0] == 0 || a[0]+b[0] == a[1]+b[1] {
		t.Errorf("compared %s; the logbook has %v and %v", raw, a, b)
	}
	likely := func(k int64) float64 {
		var ways, rest big.Int
		v, _ := new(big.Rat).SetFrac(ways.Mul(ways.Binomial(a[1], k), rest.Binomial(b[1], a[0]+b[0]-k)), new(big.Int).Binomial(a[1]+b[1], a[0]+b[0])).Float64()
		return v
	}
	p := 0.0
	for k := max(0, a[0]+b[0]-b[1]); k <= min(a[1], a[0]+b[0]); k++ {
		if l := likely(k); l <= likely(a[0])*(1+1e-9) {
			p += l
		}
	}
	if math.Abs(got.P-p) > 1e-9 || got.Shown != (p < 0.05) || math.Abs(got.Difference-(float64(a[0])/float64(a[1])-float64(b[0])/float64(b[1]))) > 1e-12 {
		t.Errorf("compared %s; by the definition p is %g", raw, p)
	}
	if _, err := call(t.Context(), session, "compare", map[string]any{"treatment": "long rest", "against": "C7 chilled"}); err == nil || !strings.Contains(err.Error(), "C7 chilled") {
		t.Errorf("against what there is not: %v", err)
	}
}
