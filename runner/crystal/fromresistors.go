package crystal

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
)

// ResistorStep is one step of the series-resistor test: with ohms in series
// with the crystal, starts of cycles power cycles started.
type ResistorStep struct {
	Ohms           float64
	Starts, Cycles int
}

// MarginAnswer is what the series-resistor test says.
type MarginAnswer struct {
	// The series resistor above which not every start succeeds lies between
	// these: the largest with which all did, and the smallest with which one
	// failed. InsertHigh is +Inf where none failed.
	InsertLow, InsertHigh float64
	LoadedOhms            float64  // R1·(1+C0/CL)², the crystal's resistance at its load
	Terminal              Estimate // |-R| at the crystal's pins, ohms
	Margin                Estimate // over LoadedOhms; 5 is wanted
	Decided               bool     // both sides were found
	Say                   string
}

// wantedMargin is the resistance margin that is commonly asked for: 5 times the
// crystal's largest ESR (en.wikibooks.org, Practical Electronics/Oscillators,
// "most manufacturers").
const wantedMargin = 5.0

// FromResistors evaluates a series-resistor test done by power-cycled starts:
// the resistor is in series with the crystal, and each step is a number of
// starts. Starting takes more than keeping on, so this is stricter than raising
// the resistor until a running oscillator stops. tolerance is that of the
// resistors, 0.01 for 1 %.
func (c Circuit) FromResistors(steps []ResistorStep, tolerance float64) (MarginAnswer, error) {
	var a MarginAnswer
	if len(steps) == 0 {
		return a, errors.New("no resistor was tried: give at least one step")
	}
	for _, s := range steps {
		if !(s.Ohms >= 0) || math.IsInf(s.Ohms, 0) || s.Cycles < 1 || s.Starts < 0 || s.Starts > s.Cycles {
			return a, fmt.Errorf("resistor step %g ohm, %d of %d starts: ohms must be 0 or more, cycles 1 or more, starts between 0 and cycles",
				s.Ohms, s.Starts, s.Cycles)
		}
	}
	if !(tolerance >= 0 && tolerance < 0.5) {
		return a, fmt.Errorf("resistor tolerance %g: a share between 0 and 0.5 is wanted, 0.01 for 1 %%", tolerance)
	}
	sorted := addedUp(steps)
	o := c.operate()
	load := o.x.LoadFarads(o.omega, imag(o.z))
	a.LoadedOhms = o.x.R1 * math.Pow(1+o.x.C0/load, 2)

	started, cycles := false, 0
	a.InsertHigh = math.Inf(1)
	for _, s := range sorted {
		if s.Starts < s.Cycles {
			a.InsertHigh = s.Ohms
			break
		}
		started, a.InsertLow, cycles = true, s.Ohms, s.Cycles
	}
	low, high := a.InsertLow*(1-tolerance), a.InsertHigh*(1+tolerance)
	if !started {
		low = 0
	}
	terminal := func(insert float64) float64 { return insert + a.LoadedOhms }
	switch {
	case !started:
		a.Terminal = Estimate{Value: math.NaN(), Sigma: math.NaN(), Low: 0, High: terminal(high)}
		a.Say = fmt.Sprintf("It failed with the smallest resistor tried, %s: the margin is below %.2g. Try smaller ones, down to none.",
			FormatSI(sorted[0].Ohms, "ohm"), terminal(high)/a.LoadedOhms)
	case math.IsInf(a.InsertHigh, 1):
		a.Terminal = Estimate{Value: math.NaN(), Sigma: math.NaN(), Low: terminal(low), High: math.Inf(1)}
		a.Say = fmt.Sprintf("It started with every resistor tried, up to %s: the margin is at least %.3g. Go on with larger ones.",
			FormatSI(a.InsertLow, "ohm"), terminal(low)/a.LoadedOhms)
	default:
		a.Decided = true
		middle := (a.InsertLow + a.InsertHigh) / 2
		// Both the bracket and the tolerance are rectangular.
		sigma := math.Hypot((a.InsertHigh-a.InsertLow)/math.Sqrt(12), middle*tolerance/math.Sqrt(3))
		a.Terminal = Estimate{Value: terminal(middle), Sigma: sigma, Low: terminal(low), High: terminal(high)}
	}
	a.Margin = Estimate{
		Value: a.Terminal.Value / a.LoadedOhms, Sigma: a.Terminal.Sigma / a.LoadedOhms,
		Low: a.Terminal.Low / a.LoadedOhms, High: a.Terminal.High / a.LoadedOhms,
	}
	if a.Decided {
		enough := "between the two lies the 5 that is wanted: try resistors in between"
		if a.Margin.Low >= wantedMargin {
			enough = "at least the 5 that is wanted"
		} else if a.Margin.High < wantedMargin {
			enough = "less than the 5 that is wanted"
		}
		a.Say = fmt.Sprintf("Margin %.3g (%.3g to %.3g), %s. All %d starts with %s succeeded, so with 95 %% confidence fewer than %.2g %% fail there.",
			a.Margin.Value, a.Margin.Low, a.Margin.High, enough, cycles, FormatSI(a.InsertLow, "ohm"),
			100*(1-math.Pow(0.05, 1/float64(cycles))))
	}
	return a, nil
}

// addedUp returns the steps by resistance, those with the same resistor as one.
func addedUp(steps []ResistorStep) []ResistorStep {
	var sum []ResistorStep
	for _, s := range slices.SortedFunc(slices.Values(steps), func(a, b ResistorStep) int { return cmp.Compare(a.Ohms, b.Ohms) }) {
		if k := len(sum) - 1; k >= 0 && sum[k].Ohms == s.Ohms {
			sum[k].Starts, sum[k].Cycles = sum[k].Starts+s.Starts, sum[k].Cycles+s.Cycles
		} else {
			sum = append(sum, s)
		}
	}
	return sum
}
