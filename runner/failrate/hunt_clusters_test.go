package failrate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// clusteredHunt simulates two rounds of a hunt among eight sound parts on a unit that
// keeps a mood through each stretch: the logit of its failure rate has a standard
// deviation from stretch to stretch, and its start times move along.
func clusteredHunt(random *rand.Rand, deviation float64) (cycles []Cycle) {
	do := func(name string, n int) {
		mood := deviation * random.NormFloat64()
		for range n {
			c := Cycle{Treatment: name, Volts: 2.2, StartSeconds: .03 * math.Exp(.25*random.NormFloat64()+.15*mood), GrowthSeconds: math.NaN()}
			if random.Float64() < 1/(1+math.Exp(1.1-mood)) {
				c.Failed, c.StartSeconds = true, math.NaN()
			}
			cycles = append(cycles, c)
		}
	}
	do("as found", 8)
	for i := range 8 {
		do(fmt.Sprint("part ", i), 14)
		do("as found", 8)
	}
	for i := range 2 {
		do(fmt.Sprint("part ", i), 36)
		do("as found", 16)
	}
	return cycles
}

// Sound parts are not accused because a unit's failures come in clusters.
func TestHuntOfClusteredFailures(t *testing.T) {
	hunts := 150
	if longRun() {
		hunts = 4000
	}
	for _, c := range []struct{ deviation, most float64 }{
		{0, .05}, {.3, .05}, {.6, .06}, // independent tests accuse in 0.3, 2 and 11 % of hunts
		{1, .15}, // and here in 40 %: nine pairs of stretches tell the correlation only roughly
	} {
		random := rand.New(rand.NewPCG(6, 3))
		accused, clustered := 0, 0
		for range hunts {
			h, err := Hunt(clusteredHunt(random, c.deviation), HuntOptions{Base: "as found", Confidence: .95, LeastStartRatio: 1.35})
			if err != nil {
				t.Fatal(err)
			}
			if h.Shown {
				accused++
			}
			if h.Clustered {
				clustered++
			}
		}
		t.Logf("standard deviation %v: %.1f %% of hunts accuse, clusters seen in %.0f %%", c.deviation, 100*float64(accused)/float64(hunts), 100*float64(clustered)/float64(hunts))
		if most := c.most + 2*math.Sqrt(c.most*(1-c.most)/float64(hunts)); float64(accused) > most*float64(hunts) {
			t.Errorf("standard deviation %v: %d of %d hunts accuse a sound part", c.deviation, accused, hunts)
		}
		if c.deviation == 1 && clustered < hunts*4/5 {
			t.Errorf("clusters are seen in %d of %d hunts", clustered, hunts)
		}
	}
}
