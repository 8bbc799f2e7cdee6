package failrate

import (
	"math/rand/v2"
	"testing"
)

// How far cycles with a change in their middle stray from those without one is
// distributed as Kolmogorov's statistic. Of 400 cycles, half of which fail, 114 in
// the first half and 86 in the second are at 1.4 on its scale, which has a
// probability of 1 - 0.960318 (Smirnov, Ann. Math. Statist. 19 (1948) 279).
func TestNightChangeP(t *testing.T) {
	failed := make([]bool, 400)
	for i := range 200 { // evenly spread, so that no other cut shows more
		failed[i] = (i+1)*114/200 > i*114/200
		failed[200+i] = (i+1)*86/200 > i*86/200
	}
	n, err := JudgeNight(failed, .95)
	if err != nil || n.Change.After != 200 || n.Change.K != 114*114-86*86 {
		t.Fatalf("%+v, %v", n, err)
	}
	wantNear(t, "p of the change", n.ChangeP, 1-.960318, 1e-3)
}

// Independent stretches of many cycles differ like normal values. Clusters are then
// seen as often as the level says, although neighbouring pairs share a stretch.
func TestClusteringLevel(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 2))
	const stretches, nights = 20, 4000
	pairs := make([]sides, stretches)
	for i := range pairs {
		pairs[i] = sides{a: make([]Cycle, 100), b: make([]Cycle, 100)}
	}
	seen := 0
	for range nights {
		last := random.NormFloat64()
		if clusteringOf(pairs, func(sides) float64 {
			before := last
			last = random.NormFloat64()
			return square(last-before) / 2
		}).correlation > 0 {
			seen++
		}
	}
	if share := float64(seen) / nights; share < .08 || share > .12 { // four standard errors
		t.Errorf("clusters seen in %.1f %% of nights, want %v", 100*share, clusteringLevel)
	}
}
