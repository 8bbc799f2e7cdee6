package crystal

import (
	"runtime"
	"sync"
)

// Grid is the conditions of a prediction: every combination of supply, ambient
// temperature and rest.
type Grid struct {
	Volts, Celsius, RestSeconds []float64
	Draws                       int // of each cell; 0 = 10 000
}

// Cell is what was predicted for one condition.
type Cell struct {
	Volts, Celsius, RestSeconds float64
	Draws                       int
	Outcomes                    map[Outcome]int
	StartShare                  float64 // of the draws; exact to about ±√(p·(1-p)/Draws)
}

// defaultDraws of each cell.
const defaultDraws = 10000

// PredictGrid asks the physics for every cell of the grid: supplies fastest,
// then temperatures, then rests. Cells share the processor's cores; chance
// depends on the seed and the cell's place alone.
func (u Unit) PredictGrid(g Grid, probe Probe, seed uint64) []Cell {
	draws := g.Draws
	if draws <= 0 {
		draws = defaultDraws
	}
	var cells []Cell
	for _, rest := range g.RestSeconds {
		for _, celsius := range g.Celsius {
			for _, volts := range g.Volts {
				cells = append(cells, Cell{Volts: volts, Celsius: celsius, RestSeconds: rest, Draws: draws})
			}
		}
	}
	work := make(chan int)
	var workers sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(cells)) {
		workers.Go(func() {
			for i := range work {
				c := &cells[i]
				s := Surroundings{SupplyVolts: c.Volts, AmbientCelsius: c.Celsius, RestSeconds: c.RestSeconds, Probe: probe}
				tally := u.tally(s, draws, seed, uint64(i)+1)
				c.Outcomes = tally
				c.StartShare = float64(tally[Starts]) / float64(draws)
			}
		})
	}
	for i := range cells {
		work <- i
	}
	close(work)
	workers.Wait()
	return cells
}
