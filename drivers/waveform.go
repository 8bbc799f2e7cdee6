package drivers

import (
	"errors"
	"fmt"
	"math"

	"ringup/drivers/dialect"
	"ringup/drivers/scpi"
)

// ErrNoRecord says that the scope has no record of the channel.
var ErrNoRecord = errors.New("the scope has no record of this channel")

// longestRecord is more points than a scope of this use stores.
const longestRecord = 1 << 27

// The codes that 16 bits can hold, signed or not.
const lowestCode, highestCode = -1 << 15, 1<<16 - 1

// frame is how a record's codes become volts and seconds.
type frame struct {
	points                         int
	startSeconds, stepSeconds      float64
	voltsPerCode, codeZero, offset float64
	lowCode, highCode              int
	peak                           bool
}

// readFrame checks a preamble.
func readFrame(f map[string]float64) (frame, error) {
	for name, v := range f {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return frame{}, fmt.Errorf("%w: the preamble's %s is %v", scpi.ErrGarbled, name, v)
		}
	}
	switch {
	case f["valid"] != 1:
		return frame{}, ErrNoRecord
	case !isWhole(f["points"], 1, longestRecord):
		return frame{}, fmt.Errorf("%w: the preamble says %g points; a whole number from 1 is possible", scpi.ErrGarbled, f["points"])
	case f["step_seconds"] <= 0:
		return frame{}, fmt.Errorf("%w: the preamble says %g s from sample to sample", scpi.ErrGarbled, f["step_seconds"])
	case f["volts_per_code"] == 0:
		return frame{}, fmt.Errorf("%w: the preamble says 0 V per code", scpi.ErrGarbled)
	case !isWhole(f["low_code"], lowestCode, highestCode) || !isWhole(f["high_code"], f["low_code"]+1, highestCode):
		return frame{}, fmt.Errorf("%w: the preamble says codes from %g to %g; %d to %d are possible", scpi.ErrGarbled, f["low_code"], f["high_code"], lowestCode, highestCode)
	case f["detector"] != 0 && f["detector"] != 1:
		return frame{}, fmt.Errorf("%w: the preamble says detector %g; 0 (samples) and 1 (peak) are possible", scpi.ErrGarbled, f["detector"])
	}
	return frame{
		points: int(f["points"]), startSeconds: f["start_seconds"], stepSeconds: f["step_seconds"],
		voltsPerCode: f["volts_per_code"], codeZero: f["code_zero"], offset: f["offset_volts"],
		lowCode: int(f["low_code"]), highCode: int(f["high_code"]), peak: f["detector"] == 1,
	}, nil
}

func (f frame) volts(code int) float64 {
	return (float64(code)-f.codeZero)*f.voltsPerCode + f.offset
}

// samples is how many codes the record has.
func (f frame) samples() int {
	if f.peak {
		return 2 * f.points
	}
	return f.points
}

// scale turns codes into volts. Another number of them than the preamble says
// is not this record, nor are samples that cannot hold the preamble's codes.
func (f frame) scale(data dialect.Reply) (Waveform, error) {
	codes := data.Samples
	switch {
	case len(codes) != f.samples():
		return Waveform{}, fmt.Errorf("%w: %d samples came, the preamble says %d", scpi.ErrGarbled, len(codes), f.samples())
	case f.lowCode < data.LowestCode || f.highCode > data.HighestCode:
		return Waveform{}, fmt.Errorf("%w: the preamble says codes from %d to %d; the samples can hold %d to %d", scpi.ErrGarbled, f.lowCode, f.highCode, data.LowestCode, data.HighestCode)
	}
	low, high := f.volts(f.lowCode), f.volts(f.highCode)
	w := Waveform{
		StartSeconds: f.startSeconds, StepSeconds: f.stepSeconds,
		LowVolts: min(low, high), HighVolts: max(low, high), Codes: f.highCode - f.lowCode + 1,
		Min: make([]float64, f.points),
	}
	if !f.peak {
		for i, c := range codes {
			w.Min[i] = f.volts(int(c))
		}
		w.Max = w.Min
		return w, nil
	}
	w.Max = make([]float64, f.points)
	for i := range w.Min {
		a, b := f.volts(int(codes[2*i])), f.volts(int(codes[2*i+1]))
		w.Min[i], w.Max[i] = min(a, b), max(a, b)
	}
	return w, nil
}
