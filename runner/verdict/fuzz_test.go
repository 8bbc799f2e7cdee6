package verdict

import (
	"encoding/binary"
	"math"
	"slices"
	"testing"
)

// FuzzJudge feeds arbitrary bytes as records: whatever an instrument sends, a
// judgement comes out and nothing panics.
func FuzzJudge(f *testing.F) {
	good := healthy().evidence()
	bytes := func(t Trace) []byte {
		var b []byte
		for i := range t.Min {
			b = append(b, byte(255*(t.Min[i]+2)/8), byte(255*(t.Max[i]+2)/8))
		}
		return b
	}
	f.Add(bytes(good.Rail), bytes(good.Clock), bytes(good.Steady), 0, 3.6, 0.8, 43.2e-6)
	f.Add([]byte{}, []byte{}, []byte{}, 1, 0.0, 0.0, 0.0)
	f.Add([]byte{0, 0, 1, 1}, []byte{255, 255}, []byte{7}, 2, 1.0, 0.0, 1e-3)
	f.Add(make([]byte, 300), make([]byte, 300), make([]byte, 300), 3, 1e-300, 1e300, 1e-300)
	largest := binary.LittleEndian.AppendUint64(binary.LittleEndian.AppendUint64(nil, math.Float64bits(-math.MaxFloat64)), math.Float64bits(math.MaxFloat64))
	largest = slices.Repeat(largest, 40)
	f.Add(largest, largest, largest, 2|2<<3, 3.6, 0.8, 1e-3)
	codes := make([]byte, 4000)
	for i := range codes {
		codes[i] = byte(100 + min(1, float64(i)/2000)*90*math.Cos(1.3*float64(i)))
	}
	f.Add(bytes(good.Rail), codes, codes[3000:], 16384, 3.6, 0.8, 1e-5)
	f.Add([]byte{}, codes, []byte{}, 16384|32768, 0.0, 0.8, 1.4e-6)
	f.Fuzz(func(t *testing.T, rail, clock, steady []byte, shape int, set, required, step float64) {
		e := Evidence{
			Rail: arbitrary(rail, shape, step), Clock: arbitrary(clock, shape>>3, step),
			Steady: arbitrary(steady, shape>>6|1, step/5000), Lamp: arbitrary(clock, shape>>9, step*30),
			SupplyVolts: set, SupplyAmps: math.NaN(),
		}
		if shape&16384 != 0 { // the same as codes, with a gap
			e.ClockRecord = Record{StartSeconds: -step, StepSeconds: step / 50, Codes8: clock, VoltsPerCode: required / 64, ZeroCode: 99, HighCode: shape & 255}
			e.SteadyRecord = Record{StepSeconds: step / 5000, Codes8: steady, VoltsPerCode: 0.02}
			e.NoRail = shape&32768 != 0
			if n := len(clock); n > 40 {
				e.ClockRecord.Gaps = []Gap{{n / 3, n/3 + 1 + shape&7}}
			}
		}
		if shape&4096 != 0 {
			e.SupplyVolts = math.NaN()
		}
		x := Expect{
			SetVolts: set, RailFraction: 0.5, ClockHertz: 7.3728e6, FrequencyWithin: 0.01,
			AmplitudeMinVolts: required, StartWithinSeconds: step * float64(len(clock)) / 8, WatchSeconds: 80e-3,
		}
		if shape&8192 != 0 {
			x = Expect{SetVolts: set, RailFraction: required, ClockHertz: step, FrequencyWithin: math.NaN(), AmplitudeMinVolts: math.NaN()}
		}
		x.UseAlias, x.LampHertz, x.Current = shape&65536 != 0, required, CurrentBands{Running: Band{0, 1}}
		wellFormed(t, Judge(e, x))
	})
}

// arbitrary makes a record of bytes; the low three bits of shape choose how.
func arbitrary(b []byte, shape int, step float64) Trace {
	t := Trace{StepSeconds: step, StartSeconds: -step * float64(len(b)) / 20, LowVolts: -2, HighVolts: 6, Codes: 256}
	if shape&1 != 0 {
		t.LowVolts, t.HighVolts, t.Codes = 0, 0, 0
	}
	if shape&2 != 0 { // any bit pattern: infinities, not-a-numbers, the largest values
		for ; len(b) >= 16; b = b[16:] {
			u, v := binary.LittleEndian.Uint64(b), binary.LittleEndian.Uint64(b[8:])
			t.Min, t.Max = append(t.Min, math.Float64frombits(u)), append(t.Max, math.Float64frombits(v))
		}
		return t
	}
	for ; len(b) >= 2; b = b[2:] {
		low, high := float64(b[0])/255*8-2, float64(b[1])/255*8-2
		if shape&4 != 0 {
			low = high
		}
		t.Min, t.Max = append(t.Min, min(low, high)), append(t.Max, max(low, high))
	}
	if len(t.Min) > 3 && shape&5 == 5 {
		t.Min = t.Min[1:]
	}
	return t
}
