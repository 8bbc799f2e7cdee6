package simbench

import (
	"math"
	"strconv"
)

// The converter: eight bits, the middle of the screen at code 128.
const (
	codeLow, codeZero, codeHigh = 0, 128, 255
	codeCount                   = 256
)

func (c channelSettings) voltsPerCode() float64 { return c.rangeVolts / codeCount }

// AC coupling is a first-order high-pass of this time constant (10 Hz); before a record it is followed for a few of
// them.
const (
	dcTau           = 16e-3
	dcSettleSeconds = 5 * dcTau
	dcSettleSteps   = 200
)

// knotSeconds is how far apart the slow parts of a signal are computed in full; between they are interpolated. It is
// far below any growth or decay time of the unit.
const knotSeconds = 5e-6

// instant is a channel's signal at one moment.
type instant struct {
	stretch          *stretch
	t                float64 // seconds into the stretch
	level, amplitude float64 // volts as scaled by the channel's attenuation
}

// codes renders channel n of a complete record, and keeps it: the same record always answers the same bytes.
func (r *record) codes(n int, s *scope) []byte {
	if r.bytes[n] == nil {
		channel := r.channels[n]
		p := painter{record: r, channel: channel, signal: r.signals[n]}
		p.sigma = noiseCodes*channel.voltsPerCode() + noiseVolts*channel.attenuation
		p.dice = dice{source: s.luck.source("scope noise "+strconv.Itoa(n), r.at.UnixNano())}
		if r.peak {
			r.bytes[n] = p.peaks(s.extreme)
		} else {
			r.bytes[n] = p.samples()
		}
	}
	return r.bytes[n]
}

// painter turns one channel of a record into codes.
type painter struct {
	*record
	channel channelSettings
	signal  signal
	sigma   float64 // noise of one sample, volts
	dice    dice
}

func (p *painter) step() float64 { return p.sweepSeconds / p.points }

// code is the converter's answer to a voltage.
func (p *painter) code(volts float64) byte {
	c := math.Round((volts-p.channel.offsetVolts)/p.channel.voltsPerCode()) + codeZero
	return byte(min(max(c, codeLow), codeHigh))
}

// samples renders plain samples: the true oscillation with its phase, so that slow sampling aliases by itself.
func (p *painter) samples() []byte {
	codes := make([]byte, int(p.points))
	square := p.signal.square()
	for i, at := range p.instants(len(codes)) {
		v := at.level
		if at.amplitude != 0 {
			v += at.amplitude * at.stretch.carrier(at.t, square)
		}
		codes[i] = p.code(v + p.sigma*normalTable[p.dice.next()])
	}
	return codes
}

// shortBinCycles is below how many periods a bin of the peak detector is looked at sample by sample.
const shortBinCycles = 4

// peaks renders the peak detector: of each bin the lowest and the highest of the samples that fell into it. A bin of
// many periods holds the full swing of the oscillation, and the noise adds the extreme of its samples.
func (p *painter) peaks(e *extremes) []byte {
	bins := int(p.points)
	codes := make([]byte, 2*bins)
	extreme := e.of(math.Round(p.step() * peakRawRate))
	edges := p.instants(bins + 1)
	for i := range bins {
		a, b := &edges[i], &edges[i+1]
		low := min(a.level-a.amplitude, b.level-b.amplitude)
		high := max(a.level+a.amplitude, b.level+b.amplitude)
		if (a.amplitude != 0 || b.amplitude != 0) && p.step()*b.stretch.up.Hertz() < shortBinCycles {
			low, high = p.shortBin(a, b)
		}
		codes[2*i] = p.code(low - p.sigma*extreme[p.dice.next()])
		codes[2*i+1] = p.code(high + p.sigma*extreme[p.dice.next()])
	}
	return codes
}

// shortBin finds the extremes of a bin that holds few periods, from the samples inside it.
func (p *painter) shortBin(a, b *instant) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	n := max(int(math.Round(p.step()*peakRawRate)), 1)
	for i := range n {
		x := float64(i) / float64(n)
		v := a.level + x*(b.level-a.level) +
			(a.amplitude+x*(b.amplitude-a.amplitude))*a.stretch.carrier(a.t+x*p.step(), p.signal.square())
		low, high = min(low, v), max(high, v)
	}
	return low, high
}

// instants computes the slow parts of the signal at n moments, from the record's start, one step apart.
func (p *painter) instants(n int) []instant {
	list := make([]instant, n)
	stride := min(max(int(knotSeconds/p.step()), 1), n)
	if _, jumps := p.signal.(compensationSignal); jumps {
		stride = 1 // between two knots there may be an edge
	}
	follow := p.follower()
	list[0] = follow(p.startSeconds)
	for from := 0; from < n-1; from += stride {
		to := min(from+stride, n-1)
		list[to] = follow(p.startSeconds + float64(to)*p.step())
		a, b := &list[from], &list[to]
		for i := from + 1; i < to; i++ {
			if a.stretch != b.stretch { // power went on or off between the knots
				list[i] = follow(p.startSeconds + float64(i)*p.step())
				continue
			}
			x := float64(i-from) / float64(to-from)
			list[i] = instant{a.stretch, a.t + x*(b.t-a.t), a.level + x*(b.level-a.level),
				a.amplitude + x*(b.amplitude-a.amplitude)}
		}
	}
	if p.channel.acCoupled {
		p.blockDC(list)
	}
	return list
}

// follower returns a function that computes the signal at a moment, in seconds after the trigger.
func (p *painter) follower() func(t float64) instant {
	begins := make([]float64, len(p.past))
	for n := range p.past {
		begins[n] = p.past[n].from.Sub(p.at).Seconds()
	}
	return func(t float64) instant {
		n := len(begins) - 1
		for n > 0 && begins[n] > t {
			n--
		}
		at := instant{stretch: &p.past[n], t: max(t-begins[n], 0)}
		at.level, at.amplitude = p.signal.at(at.stretch, at.t)
		at.level *= p.channel.attenuation
		at.amplitude *= p.channel.attenuation
		return at
	}
}

// blockDC takes off the levels what the coupling capacitor holds.
func (p *painter) blockDC(list []instant) {
	follow := p.follower()
	held := follow(p.startSeconds - dcSettleSeconds).level
	settle := 1 - math.Exp(-dcSettleSeconds/dcSettleSteps/dcTau)
	for i := range dcSettleSteps {
		t := p.startSeconds - dcSettleSeconds*(1-float64(i+1)/dcSettleSteps)
		held += (follow(t).level - held) * settle
	}
	settle = 1 - math.Exp(-p.step()/dcTau)
	for i := range list {
		level := list[i].level
		list[i].level -= held
		held += (level - held) * settle
	}
}
