package crystal

import "math/rand/v2"

// Predict asks the physics directly: n power-ups with independent chance from
// seed, and how many had which outcome.
func (u Unit) Predict(s Surroundings, n int, seed uint64) map[Outcome]int {
	rng := rand.New(rand.NewPCG(seed, 0))
	counts := make(map[Outcome]int, len(outcomeNames))
	for range n {
		p := u.PowerUp(s, rng)
		counts[p.Outcome()]++
	}
	return counts
}
