package verdict

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
)

// bin is the step of the scenes' envelope record, 43 µs.
const bin = 1.08 * 80e-3 / 2000

func TestJudge(t *testing.T) {
	const (
		never = -1 // start time: none
		any   = -2
	)
	with := func(change func(*scene)) scene {
		s := healthy()
		change(&s)
		return s
	}
	decaying := func(from float64) func(float64) float64 { // runs from 5 ms on, then rings down with 2.4 ms
		up := logistic(1.6, 250e-6, 5e-3)
		return func(t float64) float64 { return up(t) * math.Exp(-max(0, t-from)/2.4e-3) }
	}
	for name, c := range map[string]struct {
		scene  scene
		want   Verdict
		start  float64 // s
		reason string  // what the sentence must hold
	}{
		"healthy":             {healthy(), Started, 4.3e-3, "reached 90 % of 1.60 V after 4.3"},
		"no noise":            {with(func(s *scene) { s.noiseCodes = 0 }), Started, 4.3e-3, "allowed 65.0 ms"},
		"noisy":               {with(func(s *scene) { s.noiseCodes = 2 }), Started, 4.3e-3, ""},
		"slow growth":         {with(func(s *scene) { s.tau, s.startsAt = 2e-3, 45e-3 }), Started, 45e-3, "allowed 65.0 ms"},
		"AC-coupled":          {with(func(s *scene) { s.acCoupled, s.lowest, s.highest = true, -3, 3 }), Started, 4.3e-3, ""},
		"slow bias":           {with(func(s *scene) { s.biasAfter = 1e-3 }), Started, 4.3e-3, ""},
		"rail spike":          {with(func(s *scene) { s.spike = 1.5 }), Started, 4.3e-3, ""},
		"buffered clock":      {with(func(s *scene) { s.square, s.lowest, s.highest = true, -3, 3 }), Started, 4.3e-3, "1.6"},
		"just in time":        {with(func(s *scene) { s.tau, s.startsAt = 1e-3, 64.8e-3 }), Started, 64.8e-3, ""},
		"just too late":       {with(func(s *scene) { s.tau, s.startsAt = 1e-3, 65.2e-3 }), Late, 65.2e-3, "only after 65.2 ms, allowed 65.0 ms"},
		"settling at the end": {with(func(s *scene) { s.tau, s.startsAt = 2e-3, 78e-3 }), Late, 78e-3, "only after 78"},
		"growing at the end": {with(func(s *scene) { s.tau, s.startsAt = 2e-3, 81e-3; s.steadyCount = 0 }), Late, never,
			"still growing"},
		"growing, weak yet":        {with(func(s *scene) { s.tau, s.startsAt = 2e-3, 84e-3 }), Late, never, "still growing"},
		"growing slowly, weak yet": {with(func(s *scene) { s.tau, s.startsAt, s.steadyAfter = 20e-3, 110e-3, 2e-3 }), Late, never, "still growing"},
		"after the watch":          {with(func(s *scene) { s.tau, s.startsAt = 0.5e-3, 86e-3 }), Late, never, "only afterwards"},
		"silent":                   {with(func(s *scene) { s.steady = 0 }), Silent, never, "no oscillation above 80.0 mV in the 80.0 ms watched"},
		"silent, no noise":         {with(func(s *scene) { s.steady, s.noiseCodes = 0, 0 }), Silent, never, ""},
		"silent, one code":         {with(func(s *scene) { s.steady, s.noiseCodes, s.acCoupled = 0, 0, true }), Silent, never, ""},
		"silent, rail spike":       {with(func(s *scene) { s.steady, s.spike = 0, 1.5 }), Silent, never, ""},
		"silent, bias jumps":       {with(func(s *scene) { s.steady, s.ramp, s.biasAfter = 0, 10e-6, 1e-6 }), Silent, never, ""},
		"silent, slow bias":        {with(func(s *scene) { s.steady, s.biasAfter = 0, 2e-3 }), Silent, never, ""},
		"pick-up":                  {with(func(s *scene) { s.steady, s.hertz = 0.06, 2.1e6 }), Silent, never, ""},
		"weak":                     {with(func(s *scene) { s.steady = 0.5 }), Weak, never, "oscillates at 500 mV, required 800 mV"},
		"overtone":                 {with(func(s *scene) { s.hertz = 3.01 * expectedHertz }), OffFrequency, never, "runs at 22.192 MHz, expected 7.3728 MHz within 1 %"},
		"wrong crystal":            {with(func(s *scene) { s.hertz = 8e6 }), OffFrequency, never, "8.0000 MHz"},
		"within 1 %":               {with(func(s *scene) { s.hertz = 1.009 * expectedHertz }), Started, 4.3e-3, ""},
		"rings down":               {with(func(s *scene) { s.amplitude = decaying(30e-3) }), DroppedOut, 5e-3, "and stopped after 31.6 ms"},
		"stops after 1 ms":         {with(func(s *scene) { s.amplitude = decaying(6e-3) }), DroppedOut, 5e-3, ""},
		"stops as watch ends":      {with(func(s *scene) { s.amplitude = decaying(78e-3) }), DroppedOut, 5e-3, "to the end of the watch"},
		"loses half, is weak": {with(func(s *scene) {
			s.amplitude = func(t float64) float64 { return logistic(1.6, 250e-6, 5e-3)(t) - 1.1*max(0, math.Copysign(1, t-40e-3)) }
		}), DroppedOut, 5e-3, ""},
		"loses half, is good": {with(func(s *scene) {
			s.amplitude = func(t float64) float64 {
				return logistic(1.8, 250e-6, 5e-3)(t) - 0.95*max(0, math.Copysign(1, t-40e-3))
			}
		}), Started, any, "850 mV"},
		// What is left at the end counts by half of what there was.
		"loses 55 %, is weak": {with(func(s *scene) {
			s.amplitude = func(t float64) float64 {
				return logistic(1.6, 250e-6, 5e-3)(t) - 0.88*max(0, math.Copysign(1, t-40e-3))
			}
		}), DroppedOut, 5e-3, ""},
		"loses 45 %, is weak": {with(func(s *scene) {
			s.amplitude = func(t float64) float64 {
				return logistic(1.2, 250e-6, 5e-3)(t) - 0.54*max(0, math.Copysign(1, t-40e-3))
			}
		}), Weak, never, "required 800 mV"},
		"reset loop": {with(func(s *scene) {
			s.amplitude = func(t float64) float64 { return decaying(20e-3)(math.Mod(max(0, t), 32e-3)) }
		}), DroppedOut, 5e-3, "then started again"},
		"half a rail":            {with(func(s *scene) { s.railVolts = 0.6 * s.setVolts; s.steady = 0 }), Silent, never, ""}, // the supply says it is at 3.6 V
		"contact drops the rail": {with(func(s *scene) { s.railVolts = 0.9 * s.setVolts }), Started, any, ""},
	} {
		t.Run(name, func(t *testing.T) {
			j := Judge(c.scene.evidence(), c.scene.expect())
			if j.Verdict != c.want || !strings.Contains(j.Reason, c.reason) {
				t.Fatalf("%s: %q, want %s: %q", j.Verdict, j.Reason, c.want, c.reason)
			}
			wellFormed(t, j)
			switch {
			case c.start == any:
			case c.start == never:
				if !math.IsNaN(j.StartSeconds) || !j.Censored {
					t.Errorf("start %v s, censored %v; it did not start", j.StartSeconds, j.Censored)
				}
			case j.Censored || math.Abs(j.StartSeconds-c.start) > max(bin, 0.1*c.scene.tau):
				t.Errorf("start %v s, censored %v; want %v s", j.StartSeconds, j.Censored, c.start)
			}
		})
	}
}

// wellFormed holds a judgement to what every one must be.
func wellFormed(t *testing.T, j Judgement) {
	t.Helper()
	if !slices.Contains(Verdicts, j.Verdict) {
		t.Errorf("verdict %q", j.Verdict)
	}
	if j.Reason == "" || strings.ContainsAny(j.Reason, "\n") || strings.Contains(j.Reason, "%!") || strings.Contains(j.Reason, "NaN") {
		t.Errorf("reason %q is not a plain sentence", j.Reason)
	}
	if j.Censored != math.IsNaN(j.StartSeconds) {
		t.Errorf("start %v s but censored %v", j.StartSeconds, j.Censored)
	}
	if j.Verdict == Started && !(j.StartSeconds > -1e-3) {
		t.Errorf("started after %v s", j.StartSeconds)
	}
	if math.IsInf(j.StartSeconds, 0) || math.IsInf(j.GrowthSeconds, 0) || math.IsInf(j.FrequencyHertz, 0) || math.IsInf(j.DropoutSeconds, 0) {
		t.Errorf("infinite measure: %+v", j)
	}
	if j.GrowthSeconds <= 0 {
		t.Errorf("growth %v s", j.GrowthSeconds)
	}
}

func TestMeasures(t *testing.T) {
	for _, noise := range []float64{0, 0.3, 0.6} {
		for _, tau := range []float64{250e-6, 1e-3, 3e-3} {
			for seed := range uint64(4) {
				t.Run(fmt.Sprint(noise, tau, seed), func(t *testing.T) {
					s := healthy()
					s.noiseCodes, s.tau, s.startsAt, s.seed = noise, tau, 16*tau, seed
					j := Judge(s.evidence(), s.expect())
					if j.Verdict != Started {
						t.Fatalf("%s: %s", j.Verdict, j.Reason)
					}
					for _, m := range []struct {
						what              string
						got, want, within float64
					}{
						{"start", j.StartSeconds, s.startsAt, max(bin, 0.1*tau)},
						// The peaks of noise stand out less on top of a sine than alone, so a noisy
						// channel shows the first growth a little too steep.
						{"growth", j.GrowthSeconds, tau, (0.03 + 0.09*noise) * tau},
						{"amplitude", j.AmplitudeVolts, s.steady, 0.002},
						{"frequency", j.FrequencyHertz, s.hertz, 20},
						{"rail", j.RailVolts, 3.6, 0.021},
						{"rail rise", j.RailRiseSeconds, 0.8 * s.ramp, 5e-6},
						{"supply", j.SupplyVolts, 3.6, 0},
						{"current", j.SupplyAmps, 0.004, 0},
					} {
						if !(math.Abs(m.got-m.want) <= m.within) {
							t.Errorf("%s %v, want %v", m.what, m.got, m.want)
						}
					}
				})
			}
		}
	}
}

// What goes wrong with the bench or the instrument is never held against the unit.
func TestNotCounted(t *testing.T) {
	nan := math.NaN()
	good := healthy().evidence()
	silent := func() Evidence {
		s := healthy()
		s.steady = 0
		return s.evidence()
	}()
	replaced := func(v []float64, f func(i int, v float64) float64) []float64 {
		v = slices.Clone(v)
		for i := range v {
			v[i] = f(i, v[i])
		}
		return v
	}
	flat := func(t Trace, volts float64) Trace {
		t.Min = replaced(t.Min, func(int, float64) float64 { return volts })
		t.Max = t.Min
		return t
	}
	scaled := func(t Trace, by float64) Trace {
		t.Min = replaced(t.Min, func(_ int, v float64) float64 { return by * v })
		t.Max = replaced(t.Max, func(_ int, v float64) float64 { return by * v })
		return t
	}
	for name, c := range map[string]struct {
		change func(e *Evidence, x *Expect)
		want   Verdict
		reason string
	}{
		"nothing": {func(e *Evidence, x *Expect) { *e = Evidence{SupplyVolts: nan, SupplyAmps: nan} }, Unread, "the rail record is missing"},
		"no trigger, supply good": {func(e *Evidence, x *Expect) { e.Rail, e.Clock = Trace{}, Trace{} },
			Unread, "the rail record is missing"},
		"no trigger, supply dead": {func(e *Evidence, x *Expect) { e.Rail, e.Clock, e.SupplyVolts = Trace{}, Trace{}, 0.01 },
			Unpowered, "the supply reads 10.0 mV, set 3.60 V"},
		"rail low, no read-back": {func(e *Evidence, x *Expect) { e.Rail, e.SupplyVolts = scaled(e.Rail, 0.8), nan },
			Unpowered, "settled at 2.88 V, more than 5 % from the set 3.60 V"},
		"rail low, supply agrees":  {func(e *Evidence, x *Expect) { e.Rail, e.SupplyVolts = scaled(e.Rail, 0.8), 2.88 }, Unpowered, ""},
		"rail high, supply agrees": {func(e *Evidence, x *Expect) { e.Rail, e.SupplyVolts = scaled(e.Rail, 1.1), 3.96 }, Unpowered, ""},
		"rail dead, supply agrees": {func(e *Evidence, x *Expect) { e.Rail, e.SupplyVolts = scaled(e.Rail, 0.01), 0.03 }, Unpowered, "only reached"},
		"rail dead, supply good":   {func(e *Evidence, x *Expect) { e.Rail = scaled(e.Rail, 0.01) }, Unread, "rail probe off"},
		"rail collapses": {func(e *Evidence, x *Expect) {
			e.SupplyVolts = 0
			e.Rail.Min = replaced(e.Rail.Min, collapse)
			e.Rail.Max = replaced(e.Rail.Max, collapse)
		}, Unpowered, "then fell to"},
		"rail up before the record": {func(e *Evidence, x *Expect) { e.Rail = flat(e.Rail, 3.6) }, Unread, "no start to time"},
		"rail off screen": {func(e *Evidence, x *Expect) {
			e.SupplyVolts = nan
			e.Rail.HighVolts = 3.0
			e.Rail.Max = replaced(e.Rail.Max, top3)
			e.Rail.Min = replaced(e.Rail.Min, top3)
		}, Unread, "left the screen"},
		"clock missing":              {func(e *Evidence, x *Expect) { e.Clock = Trace{} }, Unread, "the clock record is missing"},
		"clock torn":                 {func(e *Evidence, x *Expect) { e.Clock.Min = e.Clock.Min[:700] }, Unread, "700 minima but 2000 maxima"},
		"clock short":                {func(e *Evidence, x *Expect) { e.Clock.Min, e.Clock.Max = e.Clock.Min[:900], e.Clock.Max[:900] }, Unread, "before the 65.0 ms allowed"},
		"clock ends before the rail": {func(e *Evidence, x *Expect) { e.Clock.Min, e.Clock.Max = e.Clock.Min[:90], e.Clock.Max[:90] }, Unread, "0 bins after the rail's rise"},
		"clock NaN":                  {func(e *Evidence, x *Expect) { e.Clock.Max = replaced(e.Clock.Max, nanAt99) }, Unread, "not a number at sample 100 of 2000"},
		"rail beyond all volts":      {func(e *Evidence, x *Expect) { e.Rail = scaled(e.Rail, 4e307) }, Unread, "V, which no probe bears, at sample"},
		"clock beyond all time":      {func(e *Evidence, x *Expect) { e.Clock.StepSeconds = 1e306 }, Unread, "no time axis"},
		"clock swapped":              {func(e *Evidence, x *Expect) { e.Clock.Min, e.Clock.Max = e.Clock.Max, e.Clock.Min }, Unread, "minimum"},
		"clock without time":         {func(e *Evidence, x *Expect) { e.Clock.StepSeconds = 0 }, Unread, "no time axis"},
		"clock flat at top":          {func(e *Evidence, x *Expect) { *e = silent; e.Clock = flat(e.Clock, e.Clock.HighVolts) }, Unread, "edge of the screen"},
		"clock flat at bottom":       {func(e *Evidence, x *Expect) { *e = silent; e.Clock = flat(e.Clock, e.Clock.LowVolts) }, Unread, "edge of the screen"},
		"clock drowned": {func(e *Evidence, x *Expect) {
			s := healthy()
			s.noiseCodes = 20
			*e = s.evidence()
			x.AmplitudeMinVolts = 0.1
		}, Unread, "too noisy"},
		"peaks off screen": {func(e *Evidence, x *Expect) {
			s := healthy()
			s.lowest, s.highest, s.steadyCount = 1.3, 2.3, 0
			*e = s.evidence()
		}, Unread, "off the screen"},
		"no set voltage": {func(e *Evidence, x *Expect) { x.SetVolts = nan }, Unread, "set voltage"},
	} {
		t.Run(name, func(t *testing.T) {
			e, x := good, healthy().expect()
			c.change(&e, &x)
			j := Judge(e, x)
			if j.Verdict != c.want || !strings.Contains(j.Reason, c.reason) {
				t.Fatalf("%s: %q, want %s: %q", j.Verdict, j.Reason, c.want, c.reason)
			}
			if j.Verdict.Counted() || j.Verdict.Failed() || !j.Censored || !math.IsNaN(j.StartSeconds) {
				t.Errorf("%+v counts", j)
			}
		})
	}
}

func collapse(i int, v float64) float64 {
	if i > 1000 {
		return 0.1
	}
	return v
}

func top3(_ int, v float64) float64 { return min(v, 3) }

func nanAt99(i int, v float64) float64 {
	if i == 99 {
		return math.NaN()
	}
	return v
}

// An instrument that gives no usable steady record leaves the frequency open,
// and the sentence says so.
func TestFrequencyNotChecked(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*scene)
		reason string
	}{
		"none":     {func(s *scene) { s.steadyCount = 0 }, "no steady record was taken"},
		"too slow": {func(s *scene) { s.steadyRate = 10e6 }, "10.0 Msamples/s, below the 18.4 Msamples/s needed"},
	} {
		s := healthy()
		c.change(&s)
		j := Judge(s.evidence(), s.expect())
		if j.Verdict != Started || !math.IsNaN(j.FrequencyHertz) || !strings.Contains(j.Reason, "frequency was not checked: ") ||
			!strings.Contains(j.Reason, c.reason) || math.Abs(j.AmplitudeVolts-1.6) > 0.03 {
			t.Errorf("%s: %s at %v Hz, %v V: %q", name, j.Verdict, j.FrequencyHertz, j.AmplitudeVolts, j.Reason)
		}
	}
}

// Peaks cut off by the screen do not hide a clock whose steady record can be fitted.
func TestClippedPeaks(t *testing.T) {
	s := healthy()
	s.lowest, s.highest = 0.5, 3.0 // the node swings 0.2 V to 3.4 V
	j := Judge(s.evidence(), s.expect())
	if j.Verdict != Started || math.Abs(j.AmplitudeVolts-1.6) > 0.02 || math.Abs(j.FrequencyHertz-s.hertz) > 50 {
		t.Errorf("%s at %v Hz, %v V: %q", j.Verdict, j.FrequencyHertz, j.AmplitudeVolts, j.Reason)
	}
}

// A stored record of plain samples is judged like a peak-detected one.
func TestPlainRecord(t *testing.T) {
	s := healthy()
	e := s.evidence()
	const rate = 2e6 // far below the clock: its envelope still shows
	n := int(1.08 * s.watch * rate)
	e.Clock.StepSeconds = 1 / rate
	e.Clock.Max = nil
	for i := range n {
		at := e.Clock.StartSeconds + float64(i)/rate + s.trigger
		a := 0.0
		if at > 0 {
			a = s.envelope()(at)
		}
		e.Clock.Max = append(e.Clock.Max, e.Clock.quantised(s.bias(at)+a*math.Cos(2*math.Pi*s.hertz*at)))
	}
	e.Clock.Min = e.Clock.Max
	j := Judge(e, s.expect())
	if j.Verdict != Started || math.Abs(j.StartSeconds-s.startsAt) > bin {
		t.Errorf("%s after %v s: %q", j.Verdict, j.StartSeconds, j.Reason)
	}
}

func TestParse(t *testing.T) {
	for _, v := range Verdicts {
		got, err := Parse(string(v))
		if err != nil || got != v {
			t.Errorf("Parse(%q) = %q, %v", v, got, err)
		}
	}
	if _, err := Parse("Started"); err == nil || !strings.Contains(err.Error(), "must be one of started, late,") {
		t.Errorf("Parse(Started): %v", err)
	}
	var counted, failed int
	for _, v := range Verdicts {
		if v.Counted() {
			counted++
		}
		if v.Failed() {
			failed++
		}
	}
	if counted != 6 || failed != 5 {
		t.Errorf("%d verdicts count and %d are failures, want 6 and 5", counted, failed)
	}
}

func BenchmarkJudge(b *testing.B) {
	s := healthy()
	e, x := s.evidence(), s.expect()
	for b.Loop() {
		Judge(e, x)
	}
}
