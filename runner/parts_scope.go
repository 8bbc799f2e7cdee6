package runner

import (
	"context"
	"encoding/json"
	"math"
	"slices"
	"strings"

	"ringup/drivers"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

// armArguments are what a script's own record is armed for.
type armArguments struct {
	Volts float64 `json:"volts"`
	Watch float64 `json:"watch"`
}

// callScopeArm has the scope wait for the rail's rise, as a cycle does.
func (s *Session) callScopeArm(ctx context.Context, a struct {
	Watch *float64 `json:"watch"`
}) (json.RawMessage, error) {
	switch {
	case s.rig.Scope == nil:
		return nil, misuse("scope.arm", "without a scope", "the bench file has none; cycle judges by supply current and lamp there")
	case !drivers.ReadsBack(s.rig.Supply):
		return nil, misuse("scope.arm", "with a relay that nothing reads back", "on this bench only scope and rail probe confirm that the supply is off, so the scope is not free for a script; use cycle")
	case s.own.volts == 0:
		return nil, misuse("scope.arm", "without a voltage", "call supply.set first: the volts scale the screen and the trigger")
	case s.own.on:
		return nil, misuse("scope.arm", "while the supply is on", "it waits for the rail's rise; call supply.off first")
	}
	c := s.condition(cycleArguments{Volts: s.own.volts, Watch: a.Watch})
	armed := armArguments{c.volts, c.watch}
	result, ok, err := s.part(ctx, "scope.arm", armed, func(ctx context.Context) (outcome, error) {
		if err := s.stopRecord(ctx); err != nil {
			return outcome{}, err
		}
		b := s.rig.Bench
		s.own.armedHere = true // also if it is not sure
		return outcome{}, s.rig.Scope.Arm(ctx, envelopeRecord(b, CapturePlan(b, s.rig.Scope, armed.Watch), armed.Volts, armed.Watch))
	})
	if ok {
		s.own.armed, s.own.came = &armed, false
	}
	return result, err
}

// byWitnesses has lamp and supply current judge a start, and nobody look at the clock.
const byWitnesses = "witnesses"

type fetchArguments struct {
	JudgeBy string `json:"judge_by,omitempty"`
	Samples int    `json:"samples,omitempty"`
}

// callScopeFetch waits for the end of the watch window, reads what the scope has recorded and, while the supply is on,
// what a cycle reads then: supply, steady record, lamp. It judges the start.
func (s *Session) callScopeFetch(ctx context.Context, a fetchArguments) (json.RawMessage, error) {
	if s.own.armed == nil {
		return nil, misuse("scope.fetch", "without a record", "call scope.arm before the supply comes on; each record is fetched once, and supply.set, supply.off with a rest, cycle, soak, threshold, hunt and ask give it up")
	}
	if !s.own.came {
		return nil, misuse("scope.fetch", "before the supply came on", "the scope waits for the rail; call supply.on between scope.arm and scope.fetch")
	}
	want := condition{volts: s.own.armed.Volts, watch: s.own.armed.Watch}
	result, ok, err := s.part(ctx, "scope.fetch", a, func(ctx context.Context) (outcome, error) {
		if err := s.stillOn(); err != nil {
			return outcome{}, err
		}
		if !s.own.armedHere {
			return outcome{}, errInterrupted
		}
		c := &s.own.cycle
		e, err := s.ownEvidence(ctx, want, a.JudgeBy != byWitnesses)
		if err != nil {
			return outcome{}, err
		}
		c.SetVolts, c.WatchSeconds = want.volts, want.watch
		if c.Judgement = s.judge(e, want); a.JudgeBy == byWitnesses {
			c.Judgement = judgeByWitnesses(e, s.expect(want), c.Judgement)
		}
		s.own.keep(e)
		return outcome{result: fetchResult(*c, e, a.Samples)}, nil
	})
	if ok {
		s.own.armed, s.own.fetched = nil, true
		s.own.armedHere = false
	}
	return result, err
}

// keep holds on to the records for the logbook.
func (o *ownCycle) keep(e verdict.Evidence) {
	for _, w := range []logbook.Waveform{{Kind: "rail", Trace: e.Rail}, {Kind: "clock", Trace: e.Clock}, {Kind: "steady", Trace: e.Steady}, {Kind: "lamp", Trace: e.Lamp}} {
		if len(w.Trace.Min) > 0 {
			o.waves = append(o.waves, w)
		}
	}
}

// ownEvidence gathers what the instruments saw of a start of the script's own. What needs the unit on is left out once it
// is off.
func (s *Session) ownEvidence(ctx context.Context, want condition, clock bool) (verdict.Evidence, error) {
	e := verdict.Evidence{SupplyVolts: math.NaN(), SupplyAmps: math.NaN()}
	on := s.own.cycle.PoweredOn
	if s.energised {
		if err := s.clock.Sleep(ctx, max(0, on.Add(seconds(want.watch)).Sub(s.clock.Now()))); err != nil {
			return e, err
		}
		reading, err := s.look(ctx)
		if err != nil {
			return e, err
		}
		e.SupplyVolts, e.SupplyAmps = reading.Volts, reading.Amps
	}
	s.own.cycle.Phases["watch"] = s.clock.Now().Sub(on).Seconds()
	err := s.readStart(ctx, want, clock, &e, s.phases(s.own.cycle.Phases))
	return e, err
}

// readStart reads what the scope recorded of a start and takes, of a unit that is still on, the steady record and that
// of the lamp. Without clock the clock's channel is not read.
func (s *Session) readStart(ctx context.Context, want condition, clock bool, e *verdict.Evidence, phase func(string)) error {
	b := s.rig.Bench
	triggered, err := s.acquired(ctx)
	if err != nil {
		return err
	}
	phase("watch")
	if !triggered {
		// The rail never crossed the trigger level. What the supply reads tells whether that is the supply's fault or the
		// scope's, and the verdict says which. Where the supply reads nothing, a look at the rail does.
		if err := s.rig.Scope.Stop(ctx); err != nil || !math.IsNaN(e.SupplyVolts) {
			return err
		}
		e.Rail, err = s.capture(ctx, untriggeredRail(b, want.volts))
		return err
	}
	if e.Rail, err = s.fetch(ctx, b.Rail.Channel); err != nil {
		return err
	}
	if clock {
		if e.Clock, err = s.fetch(ctx, b.Clock.Channel); err != nil {
			return err
		}
		if s.energised {
			if err := s.steady(ctx, CapturePlan(b, s.rig.Scope, want.watch), want.volts, e); err != nil {
				return err
			}
		}
	}
	phase("fetch")
	if b.Lamp != nil && s.energised {
		if e.Lamp, err = s.capture(ctx, lampRecord(b, want.volts)); err != nil {
			return err
		}
		phase("lamp")
	}
	return nil
}

// judgeByWitnesses judges a start of which the clock was not looked at. byClock is what Judge says of it all the same:
// a rail that did not come up is unpowered either way.
func judgeByWitnesses(e verdict.Evidence, x verdict.Expect, byClock verdict.Judgement) verdict.Judgement {
	if byClock.Verdict == verdict.Unpowered {
		return byClock
	}
	j := verdict.JudgeWithoutScope(e, x)
	j.Reason = strings.TrimSuffix(j.Reason, "; judged without a scope") + "; the clock was not looked at"
	j.Warnings = []string{"judged by the supply current and the lamp alone, without start time and frequency"}
	return j
}

// fetchResult is what a script sees of a start of its own.
func fetchResult(c logbook.Cycle, e verdict.Evidence, samples int) any {
	return struct {
		judged
		Rail  *shownTrace `json:"rail"`
		Clock *shownTrace `json:"clock"`
	}{judgedOf(c), showTrace(e.Rail, samples), showTrace(e.Clock, samples)}
}

// shownTrace is a record as a script sees it: how large it is and how far it swings; on request the lowest and highest
// volts in each of a number of equal stretches.
type shownTrace struct {
	Start float64    `json:"start_s"` // from the trigger, negative before it
	Step  float64    `json:"step_s"`  // of the stretches, if there are any
	Count int        `json:"count"`
	Low   *float64   `json:"low_v"`
	High  *float64   `json:"high_v"`
	Lows  []*float64 `json:"lows,omitempty"`
	Highs []*float64 `json:"highs,omitempty"`
}

// showTrace sums a record up in so many stretches, or in none. It is nil for no record.
func showTrace(t verdict.Trace, stretches int) *shownTrace {
	n := len(t.Min)
	if n == 0 {
		return nil
	}
	low, high := extremes(t, 0, n)
	shown := shownTrace{Start: t.StartSeconds, Step: t.StepSeconds, Count: n, Low: measured(low), High: measured(high)}
	if stretches == 0 {
		return &shown
	}
	each := (n + stretches - 1) / stretches
	shown.Step, shown.Count = float64(each)*t.StepSeconds, (n+each-1)/each
	for from := 0; from < n; from += each {
		low, high := extremes(t, from, min(from+each, n))
		shown.Lows, shown.Highs = append(shown.Lows, measured(low)), append(shown.Highs, measured(high))
	}
	return &shown
}

// extremes are the lowest and highest volts in a stretch of a record, to a tenth of a millivolt: finer than the
// converter of any scope at these voltages, and short enough to be recorded.
func extremes(t verdict.Trace, from, to int) (low, high float64) {
	tenth := func(volts float64) float64 { return math.Round(volts*1e4) / 1e4 }
	return tenth(slices.Min(t.Min[from:to])), tenth(slices.Max(t.Max[from:to]))
}
