package failrate

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"testing"
)

// Coverage is the probability that the interval holds the true rate. It is
// summed exactly over all outcomes, for rates that a bench meets.

var coverageCycles = []int{20, 50, 100, 200, 500, 1000, 2000, 5000}

// coverageRates are 0.05 % to 90 %, dense where units are.
func coverageRates() []float64 {
	var rates []float64
	for rate := 0.0005; rate < 0.9; rate *= 1.15 {
		rates = append(rates, rate)
	}
	return append(rates, 0.9)
}

// coverage returns the probability that the interval of n cycles holds the rate.
func coverage(intervals []Interval, n int, rate float64) float64 {
	least, probability := binomialWindow(n, rate)
	var covered float64
	for i, p := range probability {
		if iv := intervals[least+i]; iv.Low <= rate && rate <= iv.High {
			covered += p
		}
	}
	return covered
}

func allIntervals(of func(failures, cycles int, confidence float64) Interval, n int, confidence float64) []Interval {
	intervals := make([]Interval, n+1)
	for x := range intervals {
		intervals[x] = of(x, n, confidence)
	}
	return intervals
}

// The exact interval never holds less than it claims. Coverage is lowest just
// outside a limit, so there it is tried at every limit.
func TestCoverageExact(t *testing.T) {
	for _, confidence := range []float64{.8, .95, .99} {
		for _, n := range coverageCycles {
			if n > 1000 && confidence != .95 {
				continue
			}
			exact := allIntervals(TwoSided, n, confidence)
			rates := coverageRates()
			for x, iv := range exact {
				if x%max(1, n/200) == 0 {
					rates = append(rates, math.Nextafter(iv.High, 2), math.Nextafter(iv.Low, -1))
				}
			}
			for _, rate := range rates {
				if rate <= 0 || rate >= 1 {
					continue
				}
				if got := coverage(exact, n, rate); got < confidence-1e-9 {
					t.Errorf("%d cycles at %v: held with %v, claimed %v", n, rate, got, confidence)
				}
			}
			// As reported, one-sided where nothing or everything failed, the side
			// that matters there may miss with all of 1-C and the other with half of it.
			reported := allIntervals(ClopperPearson, n, confidence)
			for _, rate := range rates {
				if got := coverage(reported, n, rate); rate > 0 && rate < 1 && got < 1-1.5*(1-confidence)-1e-9 {
					t.Errorf("%d cycles at %v: reported interval held with %v", n, rate, got)
				}
			}
		}
	}
}

const coverageTable = "../../testdata/interval_coverage.csv"

// The other intervals hold what they claim on average, not for every rate. How
// far they fall short is kept as a table; RINGUP_WRITE=1 writes it anew.
func TestCoverageTable(t *testing.T) {
	var table bytes.Buffer
	rates := coverageRates()
	fmt.Fprintf(&table, "# source: TestCoverageTable, exact sums over all outcomes; %d rates from 0.05 %% to 90 %%, confidence 95 %%\n", len(rates))
	fmt.Fprintln(&table, "method,cycles,lowest,lowest_at_rate,mean")
	for _, m := range []struct {
		name string
		of   func(failures, cycles int, confidence float64) Interval
	}{{"clopper-pearson two-sided", TwoSided}, {"clopper-pearson as reported", ClopperPearson}, {"wilson", Wilson},
		{"jeffreys", Jeffreys}, {"mid-p", MidP}, {"anytime", Anytime}} {
		for _, n := range coverageCycles {
			intervals := allIntervals(m.of, n, .95)
			lowest, at, sum := 1.0, 0.0, 0.0
			for _, rate := range rates {
				c := coverage(intervals, n, rate)
				sum += c
				if c < lowest {
					lowest, at = c, rate
				}
			}
			mean := sum / float64(len(rates))
			fmt.Fprintf(&table, "%s,%d,%.4f,%.6f,%.4f\n", m.name, n, lowest, at, mean)
			if mean < .94 {
				t.Errorf("%s, %d cycles: holds with %.4f on average", m.name, n, mean)
			}
		}
	}
	if os.Getenv("RINGUP_WRITE") == "1" {
		if err := os.WriteFile(coverageTable, table.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	kept, err := os.ReadFile(coverageTable)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(kept, table.Bytes()) {
		t.Errorf("%s differs from what is computed now (RINGUP_WRITE=1 writes it):\n%s", coverageTable, table.Bytes())
	}
}
