package drivers

import (
	"errors"
	"fmt"
	"math"

	"ringup/drivers/scpi"
)

// ErrNoRecord says that the scope has no record of the channel.
var ErrNoRecord = errors.New("the scope has no record of this channel")

// longestRecord is more points than a scope of this use stores.
const longestRecord = 1 << 27

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
	case !isWhole(f["low_code"], 0, 255) || !isWhole(f["high_code"], f["low_code"]+1, 255):
		return frame{}, fmt.Errorf("%w: the preamble says codes from %g to %g; 0 to 255 are possible", scpi.ErrGarbled, f["low_code"], f["high_code"])
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

// scale turns codes into volts. A block of another length than the preamble
// says is not this record.
func (f frame) scale(codes []byte) (Waveform, error) {
	want := f.points
	if f.peak {
		want *= 2
	}
	if len(codes) != want {
		return Waveform{}, fmt.Errorf("%w: %d bytes of data came, the preamble says %d", scpi.ErrGarbled, len(codes), want)
	}
	// With 256 codes a table is quicker than arithmetic, and exact.
	var table [256]float64
	for c := range table {
		table[c] = f.volts(c)
	}
	low, high := f.volts(f.lowCode), f.volts(f.highCode)
	w := Waveform{
		StartSeconds: f.startSeconds, StepSeconds: f.stepSeconds,
		LowVolts: min(low, high), HighVolts: max(low, high), Codes: f.highCode - f.lowCode + 1,
		Min: make([]float64, f.points),
	}
	if !f.peak {
		for i, c := range codes {
			w.Min[i] = table[c]
		}
		w.Max = w.Min
		return w, nil
	}
	w.Max = make([]float64, f.points)
	for i := range w.Min {
		a, b := table[codes[2*i]], table[codes[2*i+1]]
		w.Min[i], w.Max[i] = min(a, b), max(a, b)
	}
	return w, nil
}
