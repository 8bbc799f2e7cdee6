package crystal

import "math"

// FaultLimit is how much of one fault an otherwise unchanged circuit bears.
// Values that do not exist are NaN.
type FaultLimit struct {
	Fault     string
	Symbol    string  // as in Symbols; "Rcontact" for the supply contact
	HighIsBad bool    // bad above the limits; else below
	Margin    float64 // ohms at which the gain margin falls to 1
	Start     float64 // ohms at which there is no usable clock within the time-out
	Again     float64 // a crack only: above this it starts again, the capacitor simply gone
}

// faultSteps of equal ratio over the decades of a fault's resistance.
const faultSteps = 160

// FaultLimits of the single faults, each alone: crystal resistance, film across
// the crystal, a crack in either capacitor, leaks from A, contact resistance.
// The contact carries the boot current; it needs the law of gm.
func (c Circuit) FaultLimits() []FaultLimit {
	boot := soundSupply().BootAmps
	faults := []struct {
		FaultLimit
		put       func(d *Circuit, ohms float64)
		low, high float64
	}{
		{FaultLimit{Fault: "crystal resistance", Symbol: "R1", HighIsBad: true}, func(d *Circuit, r float64) { d.Crystal.R1 = r }, 1, 1e6},
		{FaultLimit{Fault: "film across the crystal", Symbol: "Rleak"}, func(d *Circuit, r float64) { d.Net.Rleak = r }, 100, 1e8},
		{FaultLimit{Fault: "crack in CA", Symbol: "RA", HighIsBad: true}, func(d *Circuit, r float64) { d.Net.RA = r }, 0.1, 1e7},
		{FaultLimit{Fault: "crack in CB", Symbol: "RB", HighIsBad: true}, func(d *Circuit, r float64) { d.Net.RB = r }, 0.1, 1e7},
		{FaultLimit{Fault: "leak from A to ground", Symbol: "RgA"}, func(d *Circuit, r float64) { d.Net.RgA = r }, 1e3, 1e9},
		{FaultLimit{Fault: "leak from A to the supply", Symbol: "RvA"}, func(d *Circuit, r float64) { d.Net.RvA = r }, 1e3, 1e9},
		{FaultLimit{Fault: "contact resistance", Symbol: "Rcontact", HighIsBad: true}, func(d *Circuit, r float64) { d.SupplyVolts = max(0, d.SupplyVolts-boot*r) }, 0.1, 1e4},
	}
	list := make([]FaultLimit, 0, len(faults))
	for _, f := range faults {
		l := f.FaultLimit
		l.Margin, l.Start, l.Again = math.NaN(), math.NaN(), math.NaN()
		if l.Symbol != "Rcontact" || c.Gm == 0 {
			with := func(good func(*Circuit) bool) func(float64) bool {
				return func(ohms float64) bool {
					d := c
					f.put(&d, ohms)
					return good(&d)
				}
			}
			margin := with(func(d *Circuit) bool { o := d.operate(); return o.margin() > 1 })
			start := with((*Circuit).inTime)
			l.Margin, _ = l.edges(f.low, f.high, margin)
			l.Start, l.Again = l.edges(f.low, f.high, start)
		}
		list = append(list, l)
	}
	return list
}

// edges walks from the sound end of a fault's range to the bad one: where it
// first is no longer good, and where it is good again.
func (l *FaultLimit) edges(low, high float64, good func(float64) bool) (first, again float64) {
	first, again = math.NaN(), math.NaN()
	from, to := math.Log(low), math.Log(high)
	if !l.HighIsBad {
		from, to = to, from
	}
	at := func(x float64) bool { return good(math.Exp(x)) }
	if !at(from) {
		return first, again
	}
	was := true
	for i := 1; i <= faultSteps; i++ {
		before := from + (to-from)*float64(i-1)/faultSteps
		here := from + (to-from)*float64(i)/faultSteps
		is := at(here)
		if is == was {
			continue
		}
		edge := math.Exp(boundary(before, here, func(x float64) bool { return at(x) == was }))
		if was = is; !is {
			first = edge
		} else {
			return first, edge
		}
	}
	return first, again
}
