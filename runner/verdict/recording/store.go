package recording

import (
	"math"
	"slices"

	"ringup/runner/verdict"
)

const (
	exactSamples = 1 << 20 // up to so many samples are kept as they were written
	mostSamples  = 1 << 28 // of one channel
	mostBins     = 1 << 20 // of a peak-detect record; more are merged in pairs
	mostGap      = 1 << 22 // samples never taken, in a row
	middleCode   = 1 << 15
)

// store takes the samples of one plain channel, in volts. A long record goes
// over to 16-bit codes, a quarter of the memory; their scale is set by what was
// seen so far and doubled whenever a sample does not fit, so that at the end the
// record spans at least a quarter of the codes.
type store struct {
	volts     []float64
	codes     []uint16
	low, high float64
	zero      float64 // V, of middleCode
	scale     float64 // V a code
	gaps      []verdict.Gap
	expect    int // samples to make room for
}

func (s *store) len() int { return len(s.volts) + len(s.codes) }

func (s *store) add(v float64) {
	if s.codes != nil {
		c := math.Round((v-s.zero)/s.scale) + middleCode
		for !(c >= 0 && c <= math.MaxUint16) {
			s.widen()
			c = math.Round((v-s.zero)/s.scale) + middleCode
		}
		s.codes = append(s.codes, uint16(c))
		return
	}
	if len(s.volts) == 0 {
		s.low, s.high = v, v
		s.volts = slices.Grow(s.volts, min(s.expect, exactSamples))
	}
	s.low, s.high = min(s.low, v), max(s.high, v)
	s.volts = append(s.volts, v)
	if len(s.volts) == exactSamples {
		s.quantise()
	}
}

func (s *store) quantise() {
	const room = 1 << 14 // codes that what was seen so far takes
	s.zero = s.low/2 + s.high/2
	s.scale = max((s.high-s.low)/room, 1e-9*math.Abs(s.zero), 1e-12)
	s.codes = make([]uint16, 0, max(s.expect, 2*exactSamples))
	for _, v := range s.volts {
		s.codes = append(s.codes, uint16(math.Round((v-s.zero)/s.scale)+middleCode))
	}
	s.volts = nil
}

func (s *store) widen() {
	s.scale *= 2
	for i, c := range s.codes {
		s.codes[i] = uint16((int(c)-middleCode)>>1 + middleCode)
	}
}

// skip notes n samples that were never taken.
func (s *store) skip(n int) {
	from := s.len()
	if k := len(s.gaps); k > 0 && s.gaps[k-1].To == from {
		s.gaps[k-1].To += n
	} else {
		s.gaps = append(s.gaps, verdict.Gap{From: from, To: from + n})
	}
	for range n {
		switch {
		case len(s.codes) > 0:
			s.codes = append(s.codes, s.codes[len(s.codes)-1])
		case len(s.volts) > 0:
			s.add(s.volts[len(s.volts)-1])
		default:
			s.add(0)
		}
	}
}

// missing counts the samples that were never taken.
func (s *store) missing() int {
	n := 0
	for _, g := range s.gaps {
		n += g.To - g.From
	}
	return n
}

// trim leaves out samples that are missing at the end: the channel ends there.
func (s *store) trim() {
	k := len(s.gaps) - 1
	if k < 0 || s.gaps[k].To != s.len() {
		return
	}
	if s.codes != nil {
		s.codes = s.codes[:s.gaps[k].From]
	} else {
		s.volts = s.volts[:s.gaps[k].From]
	}
	s.gaps = s.gaps[:k]
}

func (s *store) record(start, step float64) verdict.Record {
	r := verdict.Record{StartSeconds: start, StepSeconds: step, Volts: s.volts, Codes16: s.codes, Gaps: s.gaps}
	if s.codes != nil {
		r.VoltsPerCode, r.ZeroCode = s.scale, middleCode-s.zero/s.scale
	}
	return r
}

// peaks takes the bins of one peak-detect channel, in volts.
type peaks struct {
	min, max []float64
	merged   int // how many bins of the file are one here
	pending  int // of them seen of the last one
	missing  int // bins of the file without a value
	trailing int // of them since the last one with a value
}

func (p *peaks) add(low, high float64) {
	if p.merged == 0 {
		p.merged = 1
	}
	if low > high {
		low, high = high, low
	}
	if p.pending > 0 {
		last := len(p.min) - 1
		p.min[last], p.max[last] = min(p.min[last], low), max(p.max[last], high)
	} else {
		if len(p.min) == mostBins {
			p.merge()
		}
		p.min, p.max = append(p.min, low), append(p.max, high)
	}
	p.pending = (p.pending + 1) % p.merged
	p.trailing = 0
}

func (p *peaks) merge() {
	n := len(p.min) / 2
	for i := range n {
		p.min[i], p.max[i] = min(p.min[2*i], p.min[2*i+1]), max(p.max[2*i], p.max[2*i+1])
	}
	p.min, p.max = p.min[:n], p.max[:n]
	p.merged *= 2
}

// skip repeats the last bin n times, for bins that were never taken.
func (p *peaks) skip(n int) {
	p.missing += n
	low, high := 0.0, 0.0
	if k := len(p.min); k > 0 {
		low, high = p.min[k-1], p.max[k-1]
	}
	trailing := p.trailing + n
	for range n {
		p.add(low, high)
	}
	p.trailing = trailing
}

// trim leaves out bins that are missing at the end: the channel ends there.
func (p *peaks) trim() {
	n := p.trailing / max(1, p.merged)
	p.min, p.max = p.min[:len(p.min)-n], p.max[:len(p.max)-n]
	p.missing -= p.trailing
	p.trailing = 0
}

func (p *peaks) trace(start, step float64) verdict.Trace {
	t := verdict.Trace{StartSeconds: start, StepSeconds: step * float64(max(1, p.merged)), Min: p.min, Max: p.max}
	if total := len(p.min) * max(1, p.merged); total > 0 && p.missing > total/20 {
		// A trace has no gaps; so much of it is missing that it cannot be judged.
		t.Min[len(t.Min)-1], t.Max[len(t.Max)-1] = math.NaN(), math.NaN()
	}
	return t
}
