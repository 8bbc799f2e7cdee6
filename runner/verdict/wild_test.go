package verdict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"ringup/runner/verdict/internal/vectors"
)

// wild is one power-up with everything drawn by chance, recorded at full rate in
// 8 bits, with what the records should be found to show.
type wild struct {
	evidence Evidence
	expect   Expect

	decibels  float64 // signal of the nominal amplitude to noise
	perPeriod float64 // samples
	truth     Verdict
	start     float64 // s, NaN if none
	hertz     float64
	amplitude float64 // V, steady
	window    float64 // s
	bound     float64 // Hz, Cramer-Rao, for the samples after the growth
}

// wildness makes the record of a seed.
func wildness(seed uint64) wild {
	rng := rand.New(rand.NewPCG(seed, 1057))
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	chance := func(p float64) bool { return rng.Float64() < p }
	const (
		nominal, required, set = 1.5, 0.8, 3.6
		low, high, before      = -1.26, 4.86, 0.08
		code                   = (high - low) / 255
	)
	w := wild{decibels: between(6, 40), perPeriod: 2.5 * math.Pow(20, rng.Float64()), start: math.NaN(), hertz: expectedHertz}
	n := 12_000 + rng.IntN(8_000)
	step := 1 / (w.perPeriod * expectedHertz)
	w.window = float64(n) * step / (1 + before)
	T := w.window
	noise := nominal / math.Sqrt2 * math.Pow(10, -w.decibels/20)
	limit := 0.6 * T
	w.expect = Expect{
		SetVolts: set, RailFraction: 0.5, ClockHertz: expectedHertz, FrequencyWithin: 0.01,
		AmplitudeMinVolts: required, StartWithinSeconds: limit, WatchSeconds: T,
	}

	tau := T * between(0.003, 0.03)
	start, end, decay := between(max(5*tau, 0.05*T), 0.95*T), math.Inf(1), T*between(0.005, 0.03)
	w.amplitude = nominal * between(0.9, 1.05)
	switch kind := rng.IntN(6); kind {
	case 0:
		w.amplitude, w.truth = 0, Silent
	case 1:
		w.amplitude, w.truth = required*between(0.4, 1.4), Started
		start = between(max(5*tau, 0.05*T), 0.9*limit)
		if w.amplitude < required {
			w.truth = Weak
		}
	case 2:
		start = between(max(5*tau, 0.05*T), 0.9*limit)
		shift := between(-0.03, 0.03)
		switch {
		case chance(0.3) && w.perPeriod > 7:
			shift = 2
		case chance(0.5):
			shift = between(-0.4, 0.08)
		}
		w.hertz *= 1 + shift
		w.truth = OffFrequency
		if math.Abs(shift) <= 0.01 {
			w.truth = Started
		}
	case 3:
		start = between(max(5*tau, 0.05*T), 0.4*T)
		end, w.truth = between(start+0.12*T, 0.8*T), DroppedOut
	default:
		w.truth = Started
		if start > limit {
			w.truth = Late
		}
	}
	if w.truth != Silent && w.truth != Weak && w.truth != OffFrequency {
		w.start = start
	}
	envelope := logistic(w.amplitude, tau, start)
	ramp, settle := T*between(0.002, 0.02), T*between(0.002, 0.03)
	second, hum, humPeriods := 0.0, 0.0, between(0.5, 3)
	if chance(0.3) {
		second = between(0, 0.1)
	}
	if chance(0.3) {
		hum = between(0, 0.2)
	}
	jolt, tail := 0.0, 0.0
	if chance(0.3) {
		jolt = between(0, 1) // the rail's edge coupled into the probe
	}
	if chance(0.3) {
		tail = between(-0.2, 0.2) // a probe that is not compensated
	}
	phase, turn := 2*math.Pi*rng.Float64(), 2*math.Pi*w.hertz*step
	clock, rail := make([]uint8, n), make([]uint8, n)
	quantised := func(v, low, high float64) uint8 {
		return uint8(min(255, max(0, math.Round((v-low)/(high-low)*255))))
	}
	for i := range n {
		t := float64(i)*step - before*T
		r := set * min(1, max(0, t/ramp+0.5))
		v, a := 0.0, 0.0
		if t > 0 {
			a = envelope(t)
			if t > end {
				a *= math.Exp(-(t - end) / decay)
			}
			since := t + ramp/2
			v = set/2*(1-math.Exp(-since/settle)) + tail*math.Exp(-t/(0.1*T)) +
				jolt*math.Exp(-t/(0.003*T))*math.Cos(2*math.Pi*t/(0.002*T))
		}
		v += hum * math.Sin(2*math.Pi*humPeriods*t/T)
		if a > 0 {
			p := phase + turn*float64(i)
			v += a * (math.Cos(p) + second*math.Cos(2*p))
		}
		clock[i] = quantised(v+noise*rng.NormFloat64(), low, high)
		rail[i] = quantised(r+0.012*rng.NormFloat64(), -0.9, 4.5)
	}
	record := func(codes []uint8, low, high float64) Record {
		per := (high - low) / 255
		return Record{
			StartSeconds: -before * T, StepSeconds: step, Codes8: codes,
			ZeroCode: -low / per, VoltsPerCode: per, LowCode: 0, HighCode: 255,
		}
	}
	w.evidence = Evidence{
		ClockRecord: record(clock, low, high), RailRecord: record(rail, -0.9, 4.5),
		SupplyVolts: set, SupplyAmps: math.NaN(),
	}
	settled := math.Floor((T - start - 2*tau) / step)
	sigma := math.Hypot(noise, code/math.Sqrt(12))
	w.bound = math.Sqrt(6/(settled*(settled*settled-1))) * sigma / (math.Pi * w.amplitude * step)
	return w
}

// otherwise draws a record from the generator of the corpus, which knows nothing
// of the one above.
func otherwise(seed uint64) wild {
	r, l, truth := vectors.Random(seed)
	w := wild{
		evidence: evidenceOf(r, l), expect: expectOf(l), decibels: truth.SignalToNoise, perPeriod: truth.SamplesPerPeriod,
		truth: Verdict(truth.Verdict), start: truth.StartSeconds, hertz: truth.FrequencyHertz,
		amplitude: truth.AmplitudeVolts, window: l.WatchSeconds,
	}
	w.bound = truth.FrequencyBoundHertz(w.evidence.ClockRecord.StepSeconds)
	return w
}

// excused reports whether a measure lies within three times its own standard
// uncertainty of a limit, so that either verdict is right.
func (w wild) excused(j Judgement) bool {
	near := func(v, sd, limit float64) bool { return math.Abs(v-limit) <= 3*sd }
	x := w.expect
	return near(j.StartSeconds, j.SD.StartSeconds, x.StartWithinSeconds) ||
		near(j.AmplitudeVolts, j.SD.AmplitudeVolts, x.AmplitudeMinVolts) ||
		near(math.Abs(j.FrequencyHertz/x.ClockHertz-1), j.SD.FrequencyHertz/x.ClockHertz, x.FrequencyWithin)
}

// pull gathers errors over their stated uncertainties.
type pull struct{ n, sum, beyond float64 }

func (p *pull) add(err, sd float64) {
	p.n++
	p.sum += err * err / (sd * sd)
	if math.Abs(err) > 3*sd {
		p.beyond++
	}
}

func (p pull) String() string {
	return fmt.Sprintf("%.2f rms, %.1f %% beyond 3 sd of %.0f", math.Sqrt(p.sum/p.n), 100*p.beyond/p.n, p.n)
}

// In records of 6 to 40 dB and 2.5 to 50 samples a period no verdict is wrong
// from 20 dB on, and less than one in a thousand from 10 dB on; the start is
// right to an envelope sample or 2 % of the window; the frequency's error is at
// most 1.5 times the least possible.
func TestWildRecords(t *testing.T) {
	records := 1000
	if os.Getenv("RINGUP_LONG") == "1" {
		records = 20_000
	}
	t.Run("ours", func(t *testing.T) { judgeWild(t, records, wildness) })
	t.Run("the corpus's", func(t *testing.T) { judgeWild(t, records, otherwise) })
}

func judgeWild(t *testing.T, records int, draw func(seed uint64) wild) {
	type band struct{ records, wrong, turned, near, off, beyond int }
	bands := map[int]*band{0: {}, 10: {}, 20: {}, 30: {}}
	var frequency, start, frequencyPull, amplitudePull pull
	for seed := range uint64(records) {
		w := draw(seed)
		j := Judge(w.evidence, w.expect)
		wellFormed(t, j)
		b := bands[min(30, max(0, int(w.decibels/10)*10))]
		b.records++
		near := w.excused(j)
		if near {
			b.near++
		}
		if near && j.Verdict != w.truth {
			b.turned++
		}
		if j.Verdict != w.truth && !near {
			b.wrong++
			if w.decibels >= 10 {
				t.Logf("record %d, %.1f dB, %.1f a period: %s, want %s: %s", seed, w.decibels, w.perPeriod, j.Verdict, w.truth, j.Reason)
			}
		}
		if j.Verdict != w.truth || w.decibels < 10 {
			continue
		}
		if !math.IsNaN(j.StartSeconds) && !math.IsNaN(w.start) {
			err := j.StartSeconds - w.start
			per := max(fewestInBin, math.Ceil(periodsPerBin*w.perPeriod))
			if tolerance := max(per*w.evidence.ClockRecord.StepSeconds, 0.02*w.window); math.Abs(err) > tolerance {
				b.off++
				if math.Abs(err) > 3*j.SD.StartSeconds {
					b.beyond++
				}
				t.Logf("record %d, %.1f dB, %.1f a period: start off by %.1f %% of the window, standard uncertainty %.1f %%",
					seed, w.decibels, w.perPeriod, 100*err/w.window, 100*j.SD.StartSeconds/w.window)
			}
			start.add(err, j.SD.StartSeconds)
		}
		if w.truth == Started || w.truth == OffFrequency {
			frequency.add(j.FrequencyHertz-w.hertz, w.bound)
			frequencyPull.add(j.FrequencyHertz-w.hertz, j.SD.FrequencyHertz)
			amplitudePull.add(j.AmplitudeVolts-w.amplitude, j.SD.AmplitudeVolts)
		}
	}
	for _, from := range []int{0, 10, 20, 30} {
		b := bands[from]
		t.Logf("%2d dB and more: %5d records, %d wrong, %d starts off; %.2f %% within three times their uncertainty of a limit, %d of them judged the other way",
			max(6, from), b.records, b.wrong, b.off, 100*float64(b.near)/float64(b.records), b.turned)
	}
	ratio := math.Sqrt(frequency.sum / frequency.n)
	t.Logf("frequency error %.3f times the Cramer-Rao bound (%v records)", ratio, frequency.n)
	t.Logf("errors over stated uncertainties: start %v; frequency %v; amplitude %v", start, frequencyPull, amplitudePull)
	if bands[20].wrong+bands[30].wrong > 0 {
		t.Errorf("%d wrong verdicts at 20 dB and more", bands[20].wrong+bands[30].wrong)
	}
	if b := bands[10]; 1000*b.wrong > b.records {
		t.Errorf("%d of %d verdicts wrong from 10 to 20 dB, allowed are 0.1 %%", b.wrong, b.records)
	}
	// Where a clock grows over a third of the window in noise, even all samples
	// together tell its start no better than to a percent or so.
	if bands[10].beyond+bands[20].beyond+bands[30].beyond > 0 || 1000*(bands[20].off+bands[30].off) > records || 500*bands[10].off > 2*records {
		t.Errorf("starts off by more than an envelope sample and 2 %% of the window")
	}
	if !(ratio <= 1.5) {
		t.Errorf("frequency error %.3f times the Cramer-Rao bound, allowed are 1.5", ratio)
	}
}
