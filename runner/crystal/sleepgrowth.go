package crystal

import "math"

// sleepSteps of equal ratio from the first amplitude to the clock level.
const sleepSteps = 64

// sleepGrowth is growth of a crystal whose resistance depends on its current:
// the times at which the log-spaced currents of the climb are reached.
type sleepGrowth struct {
	startAmps, ratio float64 // ratio is the logarithm of one step
	steps            int     // reached; sleepSteps when nothing stopped it
	seconds          [sleepSteps + 1]float64
}

// climb integrates dt = d(ln I)/α(I) from start to level by the midpoint rule.
// It reports false when a current on the way has no gain left; the amplitude
// then stays there.
func (g *sleepGrowth) climb(start, level float64, alpha func(amps float64) float64) bool {
	g.startAmps, g.ratio, g.steps = start, math.Log(level/start)/sleepSteps, 0
	step := math.Exp(g.ratio)
	amps := start * math.Sqrt(step)
	for g.steps < sleepSteps {
		a := alpha(amps)
		if a <= 0 {
			return false
		}
		g.seconds[g.steps+1] = g.seconds[g.steps] + g.ratio/a
		g.steps++
		amps *= step
	}
	return true
}

// amps is the current t seconds into the climb; it stays at the last one.
func (g *sleepGrowth) amps(t float64) float64 {
	if t >= g.end() {
		return g.startAmps * math.Exp(g.ratio*float64(g.steps))
	}
	low, high := 0, g.steps
	for high-low > 1 {
		mid := (low + high) / 2
		if g.seconds[mid] <= t {
			low = mid
		} else {
			high = mid
		}
	}
	f := (t - g.seconds[low]) / (g.seconds[high] - g.seconds[low])
	return g.startAmps * math.Exp(g.ratio*(float64(low)+f))
}

func (g *sleepGrowth) end() float64 { return g.seconds[g.steps] }
