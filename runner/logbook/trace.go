package logbook

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"sync"

	"github.com/klauspost/compress/zstd"

	"ringup/runner/verdict"
)

// maxPoints bounds what a damaged row can make the reader allocate.
const maxPoints = 1 << 24

// packed is a trace as the book stores it.
type packed struct {
	kind     string
	trace    verdict.Trace // without its samples
	points   int
	encoding string // width of a sample, then "pair" where Min and Max differ
	samples  []byte
}

// The three widths. Converter codes are kept as they came; what does not lie on
// the converter's codes is rounded to single precision, 6e-8 of its value.
const (
	codes8   = "u8"
	codes16  = "u16"
	float32s = "f32"
	pair     = "pair"
)

var compressor = sync.OnceValue(func() *zstd.Encoder {
	e, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1), zstd.WithLowerEncoderMem(true))
	if err != nil {
		panic(err) // only for options that do not exist
	}
	return e
})

var decompressor = sync.OnceValue(func() *zstd.Decoder {
	d, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(8*maxPoints))
	if err != nil {
		panic(err)
	}
	return d
})

// pack compresses a trace: first all of Min, then, in a peak-detect record, all
// of Max.
func pack(kind string, t verdict.Trace) (packed, error) {
	if len(t.Min) != len(t.Max) {
		return packed{}, fmt.Errorf("waveform %q has %d lowest and %d highest samples; they must be as many", kind, len(t.Min), len(t.Max))
	}
	if len(t.Min) > maxPoints {
		return packed{}, fmt.Errorf("waveform %q has %d points; at most %d can be stored", kind, len(t.Min), maxPoints)
	}
	values := t.Min
	p := packed{kind: kind, trace: t, points: len(t.Min)}
	p.trace.Min, p.trace.Max = nil, nil
	suffix := ""
	if len(t.Min) > 0 && &t.Min[0] != &t.Max[0] {
		values = append(append(make([]float64, 0, 2*len(t.Min)), t.Min...), t.Max...)
		suffix = pair
	}
	width, plain := encode(values, t)
	p.encoding = width + suffix
	p.samples = compressor().EncodeAll(plain, nil)
	return p, nil
}

func encode(values []float64, t verdict.Trace) (width string, plain []byte) {
	if codes, ok := toCodes(values, t); ok {
		if t.Codes <= 1<<8 {
			for _, c := range codes {
				plain = append(plain, byte(c))
			}
			return codes8, plain
		}
		for _, c := range codes {
			plain = binary.LittleEndian.AppendUint16(plain, c)
		}
		return codes16, plain
	}
	for _, v := range values {
		plain = binary.LittleEndian.AppendUint32(plain, math.Float32bits(float32(v)))
	}
	return float32s, plain
}

// toCodes gives the converter codes of values, and false unless every value is one.
func toCodes(values []float64, t verdict.Trace) ([]uint16, bool) {
	if t.Codes < 2 || t.Codes > 1<<16 || !(t.HighVolts > t.LowVolts) || math.IsInf(t.HighVolts-t.LowVolts, 0) {
		return nil, false
	}
	step := (t.HighVolts - t.LowVolts) / float64(t.Codes-1)
	codes := make([]uint16, len(values))
	for i, v := range values {
		exact := (v - t.LowVolts) / step
		code := math.Round(exact)
		// A millionth of a code is far above rounding and far below noise.
		if !(math.Abs(exact-code) < 1e-6) || code < 0 || code >= float64(t.Codes) {
			return nil, false
		}
		codes[i] = uint16(code)
	}
	return codes, true
}

// errDamaged means that stored samples do not fit their description.
var errDamaged = errors.New("stored waveform is damaged")

func (p packed) unpack() (verdict.Trace, error) {
	t := p.trace
	if p.points < 0 || p.points > maxPoints {
		return t, fmt.Errorf("%w: %d points", errDamaged, p.points)
	}
	plain, err := decompressor().DecodeAll(p.samples, nil)
	if err != nil {
		return t, fmt.Errorf("%w: %w", errDamaged, err)
	}
	values, planes := p.points, 1
	width := p.encoding
	if n := len(width) - len(pair); n > 0 && width[n:] == pair {
		width, planes = width[:n], 2
	}
	values *= planes
	bytes := map[string]int{codes8: 1, codes16: 2, float32s: 4}[width]
	if bytes == 0 || len(plain) != values*bytes || (bytes < 4 && t.Codes < 2) {
		return t, fmt.Errorf("%w: %d bytes for %d points as %q", errDamaged, len(plain), p.points, p.encoding)
	}
	all := make([]float64, values)
	step := (t.HighVolts - t.LowVolts) / float64(t.Codes-1)
	for i := range all {
		switch bytes {
		case 1:
			all[i] = t.LowVolts + float64(plain[i])*step
		case 2:
			all[i] = t.LowVolts + float64(binary.LittleEndian.Uint16(plain[2*i:]))*step
		case 4:
			all[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(plain[4*i:])))
		}
	}
	t.Min, t.Max = all[:p.points:p.points], all[:p.points:p.points]
	if planes == 2 {
		t.Max = all[p.points:]
	}
	return t, nil
}
