package crystal

import "math/rand/v2"

// Predict asks the physics directly: n power-ups with independent chance from
// seed, and how many had which outcome.
func (u Unit) Predict(s Surroundings, n int, seed uint64) map[Outcome]int {
	return u.tally(s, n, seed, 0)
}

// tally is Predict with a stream of chance of its own.
func (u *Unit) tally(s Surroundings, n int, seed, stream uint64) map[Outcome]int {
	rng := rand.New(rand.NewPCG(seed, stream))
	beta := u.Inverter.beta()
	var tally [len(outcomeNames)]int
	var p PowerUp
	for range n {
		p = PowerUp{}
		d := u.draw(&s, rng)
		p.decide(u, &s, &d, beta)
		tally[p.outcome]++
	}
	counts := make(map[Outcome]int, len(outcomeNames))
	for o, k := range tally {
		if k > 0 {
			counts[Outcome(o)] = k
		}
	}
	return counts
}
