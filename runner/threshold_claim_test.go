package runner_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"ringup/runner"
	"ringup/runner/crystal"
	"ringup/runner/failrate"
)

// trial is one power-up of a simulated unit: did it fail?
type trial func(volts float64) bool

// share is that of many starts at one voltage that fail.
func (fails trial) share(volts float64) float64 {
	const starts = 400
	failed := 0
	for range starts {
		if fails(volts) {
			failed++
		}
	}
	return float64(failed) / starts
}

// newSearch is the search of threshold.lua, over all voltages of a fresh to a flat cell.
func newSearch(t *testing.T, rate float64) *failrate.Search {
	t.Helper()
	s, err := failrate.NewSearch(failrate.SearchOptions{LowVolts: gridLow, HighVolts: gridLow + gridStep*(gridVoltages-1), StepVolts: 0.02, Rate: rate})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// look does one cycle.
func look(t *testing.T, s *failrate.Search, volts float64, fails trial) {
	t.Helper()
	if err := s.Add(volts, fails(volts)); err != nil {
		t.Fatal(err)
	}
}

// known is what a search knows so far.
func known(t *testing.T, s *failrate.Search) failrate.Interval {
	t.Helper()
	e, err := s.Estimate(runner.Confidence)
	if err != nil {
		t.Fatal(err)
	}
	return e.Volts
}

func width(i failrate.Interval) float64 { return i.High - i.Low }

const gridVoltages, gridEach, gridLow, gridStep = 10, 20, 1.8, 0.2

// On the units of the crystal model, warm and cold, a search knows the threshold as well as a grid of ten voltages from
// 1.8 to 3.6 V does after 20 cycles at each, with at most a third of the grid's cycles. Both are judged by the same
// estimate. With RINGUP_LONG=1 it takes 200 units.
func TestSearchNeedsAThirdOfAGrid(t *testing.T) {
	each := 12
	if os.Getenv("RINGUP_LONG") == "1" {
		each = 40 // of five kinds
	}
	for _, rate := range []float64{0.5, 0.1} {
		t.Run(fmt.Sprintf("%g of starts fail", rate), func(t *testing.T) {
			t.Parallel()
			searched, held, all := 0, 0, 0
			for i, name := range crystal.Units() {
				random := rand.New(rand.NewPCG(73728, uint64(i)))
				unit, err := crystal.NewUnit(name)
				if err != nil {
					t.Fatal(err)
				}
				before, widths := searched, 0.0
				for range each {
					celsius := -14 + 39*random.Float64()
					var fails trial = func(volts float64) bool {
						p := unit.PowerUp(crystal.Surroundings{SupplyVolts: volts, RestSeconds: huntRest, AmbientCelsius: celsius}, random)
						return p.Outcome().Failed()
					}
					grid, s := newSearch(t, rate), newSearch(t, rate)
					for k := range gridVoltages * gridEach {
						look(t, grid, gridLow+gridStep*float64(k%gridVoltages), fails)
					}
					wanted := width(known(t, grid))
					widths += wanted
					limits := failrate.Interval{High: math.Inf(1)}
					for ; width(limits) > wanted; searched++ {
						look(t, s, s.Next(), fails)
						limits = known(t, s)
					}
					all++
					if fails.share(limits.Low) >= rate && fails.share(limits.High) <= rate {
						held++
					}
				}
				t.Logf("%s: %d cycles by search, %d by grid; %.3f V wide", name, (searched-before)/each, gridVoltages*gridEach, widths/float64(each))
			}
			gridded := all * gridVoltages * gridEach
			t.Logf("%d units: %.1f cycles by search, %d by grid (%.3f); limits hold the truth in %d", all, float64(searched)/float64(all), gridded/all, float64(searched)/float64(gridded), held)
			if searched*3 > gridded {
				t.Errorf("%d cycles by search, %d by grid: more than a third", searched, gridded)
			}
			// 95 % less three standard errors: a search ends when its limits happen to be narrow, and a unit's curve is
			// not quite the logistic one.
			if least := (0.95 - 3*math.Sqrt(0.95*0.05/float64(all))) * float64(all); float64(held) < least {
				t.Errorf("limits of 95 %% hold the truth in %d of %d", held, all)
			}
		})
	}
}
