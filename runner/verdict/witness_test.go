package verdict

import (
	"math"
	"strings"
	"testing"
)

// blinking is a lamp record of 2.4 s.
func blinking(hertz float64) Trace {
	return sampled(480, 200, func(t float64) float64 {
		if math.Mod(t*hertz+.3, 1) < .5 {
			return 2
		}
		return .02
	})
}

func steadyLamp(volts float64) Trace {
	return sampled(480, 200, func(float64) float64 { return volts })
}

var bands = CurrentBands{Off: Band{0, 20e-6}, Hung: Band{5.5e-3, 7e-3}, Running: Band{2.5e-3, 3.7e-3}}

// Lamp and current leave the verdict as it is, and flag what contradicts it.
func TestWitnesses(t *testing.T) {
	silent := healthy()
	silent.steady = 0
	late := healthy()
	late.tau, late.startsAt = 1e-3, 70e-3
	for name, c := range map[string]struct {
		scene  scene
		lamp   Trace
		amps   float64
		want   Verdict
		reason string // what Reason holds where they disagree
	}{
		"all agree":                 {healthy(), blinking(1), 3.1e-3, Started, ""},
		"no witness":                {healthy(), Trace{}, math.NaN(), Started, ""},
		"current between bands":     {healthy(), blinking(1), 4.5e-3, Started, ""},
		"runs, lamp dark":           {healthy(), steadyLamp(.02), 3.1e-3, Started, "but the lamp stays dark"},
		"runs, lamp does not blink": {healthy(), steadyLamp(2), 3.1e-3, Started, "does not blink"},
		"runs, lamp three times as fast": {healthy(), blinking(3), 3.1e-3, Started,
			"the lamp blinks at 3.0"},
		"runs, current of a hung unit": {healthy(), blinking(1), 6.2e-3, Started, "the supply current of 6.20 mA is that of a unit that hangs"},
		"runs, no current":             {healthy(), Trace{}, 3e-6, Started, "no unit at all"},
		"both against it":              {healthy(), steadyLamp(.02), 6.2e-3, Started, "dark, and the supply current"},
		"silent, agreed":               {silent, steadyLamp(.02), 6.2e-3, Silent, ""},
		"silent, lamp blinks":          {silent, blinking(1), 6.2e-3, Silent, "but the lamp blinks"},
		"silent, current of running":   {silent, Trace{}, 3.1e-3, Silent, "is that of a running unit"},
		"late says nothing":            {late, steadyLamp(.02), 6.2e-3, Late, ""},
	} {
		t.Run(name, func(t *testing.T) {
			e, x := c.scene.evidence(), c.scene.expect()
			e.Lamp, e.SupplyAmps = c.lamp, c.amps
			x.LampHertz, x.Current = 1, bands
			j := Judge(e, x)
			if j.Verdict != c.want || j.Disagree != (c.reason != "") || !strings.Contains(j.Reason, c.reason) {
				t.Errorf("%s, disagree %v: %q", j.Verdict, j.Disagree, j.Reason)
			}
			if j.Disagree && !strings.Contains(strings.Join(j.Warnings, "\n"), "disagree") {
				t.Errorf("warnings %q", j.Warnings)
			}
		})
	}
}

func TestJudgeWithoutScope(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		lamp        Trace
		volts, amps float64
		want        Verdict
		reason      string
		disagree    bool
	}{
		"runs":                   {Trace{}, 3.6, 3.1e-3, Started, "running unit; judged without a scope", false},
		"hangs":                  {Trace{}, 3.6, 6.2e-3, Silent, "hangs; judged without a scope", false},
		"neither":                {Trace{}, 3.6, 4.5e-3, Unread, "fits neither", false},
		"off":                    {Trace{}, 3.6, 3e-6, Unread, "a lead is off", false},
		"nothing read":           {Trace{}, nan, nan, Unread, "was not read", false},
		"supply low":             {Trace{}, 3.0, 3.1e-3, Unpowered, "reads 3.00 V, set 3.60 V", false},
		"lamp alone":             {blinking(1), nan, nan, Started, "the lamp blinks", false},
		"lamp dark alone":        {steadyLamp(.02), nan, nan, Silent, "dark", false},
		"lamp against current":   {steadyLamp(.02), 3.6, 3.1e-3, Unread, "disagree", true},
		"lamp and current agree": {blinking(1), 3.6, 3.1e-3, Started, "running", false},
	} {
		j := JudgeWithoutScope(Evidence{Lamp: c.lamp, SupplyVolts: c.volts, SupplyAmps: c.amps},
			Expect{SetVolts: 3.6, LampHertz: 1, Current: bands})
		if j.Verdict != c.want || j.Disagree != c.disagree || !strings.Contains(j.Reason, c.reason) {
			t.Errorf("%s: %s, disagree %v: %q", name, j.Verdict, j.Disagree, j.Reason)
		}
		if !math.IsNaN(j.StartSeconds) || j.Censored != (j.Verdict != Started) || !strings.Contains(strings.Join(j.Warnings, "\n"), "no scope") {
			t.Errorf("%s: start %v, censored %v, warnings %q", name, j.StartSeconds, j.Censored, j.Warnings)
		}
	}
}

func TestLearnCurrent(t *testing.T) {
	cycles := func(n int, v Verdict, amps float64) []Judgement {
		var js []Judgement
		for i := range n {
			js = append(js, Judgement{Verdict: v, SupplyAmps: amps * (1 + .01*float64(i%3))})
		}
		return js
	}
	good := cycles(FewestToLearn, Started, 3.1e-3)
	if b := LearnCurrent(Expect{LampHertz: 1}, good[1:]); b.Running.Known() || b.Hung.Known() {
		t.Errorf("learned %+v of too few cycles", b)
	}
	b := LearnCurrent(Expect{LampHertz: 1}, append(good, cycles(FewestToLearn, Silent, 6.2e-3)...))
	if !b.Running.Holds(3.1e-3) || b.Running.Holds(6.2e-3) || !b.Hung.Holds(6.2e-3) || b.Hung.Holds(3.1e-3) {
		t.Errorf("learned %+v", b)
	}
	// A witness that was contradicted teaches nothing, and what came later changes nothing.
	spoiled := cycles(FewestToLearn, Started, 50e-3)
	for i := range spoiled {
		spoiled[i].Lamp = Dark
	}
	if again := LearnCurrent(Expect{LampHertz: 1}, append(spoiled, append(good, cycles(9, Started, 9e-3)...)...)); again.Running != b.Running {
		t.Errorf("learned %+v, want %+v", again.Running, b.Running)
	}
	if same := LearnCurrent(Expect{LampHertz: 1}, append(good, cycles(FewestToLearn, Silent, 3.2e-3)...)); same.Running.Known() || same.Hung.Known() {
		t.Errorf("learned %+v of currents that tell nothing apart", same)
	}
	given := CurrentBands{Running: Band{1e-3, 2e-3}}
	if kept := LearnCurrent(Expect{Current: given}, good); kept.Running != given.Running {
		t.Errorf("the bench file's band became %+v", kept.Running)
	}
}
