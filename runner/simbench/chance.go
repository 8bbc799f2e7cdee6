package simbench

import (
	"hash/fnv"
	"math/rand/v2"
	"time"
)

// chance is where every random number of the simulated bench comes from. What it yields depends on the seed, on what
// the numbers are for and on the time they are for, never on how many were drawn before: a run that was interrupted
// goes on in the very night it began in.
type chance struct{ seed uint64 }

// at returns a generator for one purpose at one moment.
func (c chance) at(purpose string, t time.Time) *rand.Rand {
	return c.knot(purpose, t.UnixNano())
}

// knot returns a generator for one purpose at the n-th point of a grid.
func (c chance) knot(purpose string, n int64) *rand.Rand {
	return rand.New(c.source(purpose, n))
}

// source is the bare generator behind knot, for callers that need many bits quickly.
func (c chance) source(purpose string, n int64) *rand.PCG {
	h := fnv.New64a()
	h.Write([]byte(purpose))
	return rand.NewPCG(mix(c.seed^h.Sum64()), mix(uint64(n)))
}

// mix spreads neighbouring numbers over all 64 bits (the finaliser of SplitMix64; Steele, Lea, Flood 2014).
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}
