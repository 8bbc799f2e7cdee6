package verdict

import (
	"math"
	"math/rand/v2"
	"runtime"
	"testing"
)

// million is a start in a record of 1 Mpt of 8-bit codes at 100 MS/s, with the
// rail beside it in as many.
func million() (Evidence, Expect) {
	const n, rate, low, high = 1 << 20, 100e6, -1.26, 4.86
	per := (high - low) / 255
	rng := rand.New(rand.NewPCG(1, 1<<20))
	clock, rail := make([]uint8, n), make([]uint8, n)
	amplitude := logistic(1.6, 200e-6, 3e-3)
	for i := range n {
		t := float64(i)/rate - 0.8e-3
		r, v := 3.6*min(1, max(0, t/100e-6+0.5)), 0.0
		if t > 0 {
			v = 1.8*(1-math.Exp(-t/100e-6)) + amplitude(t)*math.Cos(2*math.Pi*expectedHertz*t)
		}
		clock[i] = uint8(math.Round((v + .02*rng.NormFloat64() - low) / per))
		rail[i] = uint8(math.Round((r + .02*rng.NormFloat64() - low) / per))
	}
	record := Record{StartSeconds: -0.8e-3, StepSeconds: 1 / rate, ZeroCode: -low / per, VoltsPerCode: per, HighCode: 255}
	e := Evidence{ClockRecord: record, RailRecord: record, SupplyVolts: 3.6, SupplyAmps: math.NaN()}
	e.ClockRecord.Codes8, e.RailRecord.Codes8 = clock, rail
	return e, Expect{
		SetVolts: 3.6, RailFraction: 0.5, ClockHertz: expectedHertz, FrequencyWithin: 0.01,
		AmplitudeMinVolts: 0.8, StartWithinSeconds: 8e-3, WatchSeconds: 9.5e-3,
	}
}

// What is taken of a million codes is a few bins, not a copy of them in volts.
func TestMemoryOfMillion(t *testing.T) {
	e, x := million()
	j := Judge(e, x)
	if j.Verdict != Started || math.Abs(j.StartSeconds-3e-3) > 10e-6 || math.Abs(j.FrequencyHertz-expectedHertz) > 4*j.SD.FrequencyHertz {
		t.Fatalf("%s after %v s at %v Hz (sd %v): %s", j.Verdict, j.StartSeconds, j.FrequencyHertz, j.SD.FrequencyHertz, j.Reason)
	}
	if n := testing.AllocsPerRun(3, func() { Judge(e, x) }); n > 500 {
		t.Errorf("%v allocations", n)
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	Judge(e, x)
	runtime.ReadMemStats(&after)
	samples := e.ClockRecord.Len() + e.RailRecord.Len()
	if extra := after.TotalAlloc - before.TotalAlloc; 2*extra > uint64(samples) {
		t.Errorf("%d bytes beside %d bytes of records; allowed is half as much again", extra, samples)
	}
}
