package failrate

import (
	"math"
	"testing"
)

// A million cycles at twenty conditions: all that is computed once they are counted.
func BenchmarkMillionCycles(b *testing.B) {
	random := outsideRandom(11)
	tally := NewTally(.95)
	for i := range 1_000_000 {
		o := Observation{Volts: 2 + 0.1*float64(i%20), Treatment: "as found", Verdict: "started", Counted: true, StartSeconds: .004 + .001*random.Float64()}
		if random.Float64() < .04 {
			o.Verdict, o.Failed, o.StartSeconds = "silent", true, math.NaN()
		}
		tally.Add(o)
	}
	for b.Loop() {
		for _, c := range tally.Conditions() {
			for _, m := range Methods() {
				if _, err := NewRate(m, c.Failures, c.Cycles, c.NotCounted, .95); err != nil {
					b.Fatal(err)
				}
			}
		}
		tally.Of(func(float64, string) bool { return true })
	}
}

func BenchmarkNewPlan(b *testing.B) {
	for b.Loop() {
		if _, err := NewPlan(.001, .01, .05, .05); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkNeedChange(b *testing.B) {
	for b.Loop() {
		if _, err := NeedChange(.02, .005, .8, .05); err != nil {
			b.Fatal(err)
		}
	}
}
