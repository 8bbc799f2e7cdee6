package runner

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"time"

	"ringup/runner/failrate"
	"ringup/runner/logbook"
)

// Call serves one call of a script. arguments is a JSON object in SI units whose form the scripts room has
// checked; line is the script's, for the logbook. It returns the call's result as JSON.
func (s *Session) Call(ctx context.Context, call string, arguments json.RawMessage, line int) (json.RawMessage, error) {
	s.line = line
	serve, ok := calls[call]
	if !ok {
		return nil, fmt.Errorf("there is no call %q", call)
	}
	switch call {
	case "soak", "cycle", "threshold", "hunt", "ask":
		if err := s.endOwn(ctx); err != nil {
			return nil, err
		}
	}
	return serve(s, ctx, arguments)
}

// calls maps each call of a script to what serves it.
var calls = map[string]func(*Session, context.Context, json.RawMessage) (json.RawMessage, error){
	"soak":      with((*Session).callSoak),
	"cycle":     with((*Session).callCycle),
	"rate":      with((*Session).callRate),
	"decide":    with((*Session).callDecide),
	"conclude":  with((*Session).callConclude),
	"threshold": with((*Session).callThreshold),
	"hunt":      with((*Session).callHunt),
	"wait":      with((*Session).callWait),
	"mark":      with((*Session).callMark),
	"treatment": with((*Session).callTreatment),
	"ask":       with((*Session).callAsk),
	"log":       with((*Session).callLog),
	"now":       with((*Session).callNow),
	"random":    with((*Session).callRandom),
	"compare":   with((*Session).callCompare),

	"supply.set":       with((*Session).callSupplySet),
	"supply.on":        with((*Session).callSupplyOn),
	"supply.off":       with((*Session).callSupplyOff),
	"supply.read":      with((*Session).callSupplyRead),
	"scope.arm":        with((*Session).callScopeArm),
	"scope.fetch":      with((*Session).callScopeFetch),
	"record":           with((*Session).callRecord),
	"thermometer.read": with((*Session).callThermometerRead),
}

// with decodes a call's arguments into the type its function wants.
func with[A any](serve func(*Session, context.Context, A) (json.RawMessage, error)) func(*Session, context.Context, json.RawMessage) (json.RawMessage, error) {
	return func(s *Session, ctx context.Context, raw json.RawMessage) (json.RawMessage, error) {
		var arguments A
		if len(raw) > 0 {
			if err := json.Unmarshal(raw, &arguments); err != nil {
				return nil, fmt.Errorf("arguments %s: %w", raw, err)
			}
		}
		return serve(s, ctx, arguments)
	}
}

type cycleArguments struct {
	Volts float64  `json:"volts"`
	Rest  *float64 `json:"rest"`
	Watch *float64 `json:"watch"`
}

// condition fills in what the script left out.
func (s *Session) condition(a cycleArguments) condition {
	return condition{volts: a.Volts, rest: or(a.Rest, defaultRestSeconds), watch: or(a.Watch, defaultWatch*s.rig.Bench.Expect.StartWithinSeconds)}
}

func or(v *float64, other float64) float64 {
	if v == nil {
		return other
	}
	return *v
}

func (s *Session) callCycle(ctx context.Context, a cycleArguments) (json.RawMessage, error) {
	if planned := int(s.number.Load()) + 1; planned > s.planned {
		s.plan(planned - s.planned)
	}
	return s.cycle(ctx, s.condition(a))
}

// judged is what a script sees of a judgement. What was not measured is null.
type judged struct {
	Verdict   string   `json:"verdict"`
	Reason    string   `json:"reason"`
	Counted   bool     `json:"counted"`
	Failed    bool     `json:"failed"`
	Start     *float64 `json:"start_s"`
	Frequency *float64 `json:"frequency_hz"`
	Amplitude *float64 `json:"amplitude_v"`
	Growth    *float64 `json:"growth_s"`
	Lamp      string   `json:"lamp"`
	Volts     *float64 `json:"volts"`
	Amps      *float64 `json:"amps"`
	Warnings  []string `json:"warnings,omitempty"`
	Disagree  bool     `json:"disagree,omitempty"`
}

func judgedOf(c logbook.Cycle) judged {
	return judged{
		string(c.Verdict), c.Reason, c.Verdict.Counted(), c.Verdict.Failed(), measured(c.StartSeconds), measured(c.FrequencyHertz),
		measured(c.AmplitudeVolts), measured(c.GrowthSeconds), string(c.Lamp), measured(c.SupplyVolts), measured(c.SupplyAmps), c.Warnings, c.Disagree,
	}
}

// cycleResult is what a script sees of a cycle. messages are the last ones of an instrument that failed; with the result
// they are in the logbook.
func cycleResult(c logbook.Cycle, messages []string) any {
	return struct {
		Number    int     `json:"number"`
		SetVolts  float64 `json:"set_volts"`
		Treatment string  `json:"treatment"`
		judged
		AmbientDeg *float64 `json:"ambient_c"`
		Messages   []string `json:"messages,omitempty"`
	}{c.Number, c.SetVolts, c.Treatment, judgedOf(c), measured(c.AmbientCelsius), messages}
}

// measured is nil, null in JSON, for what was not measured.
func measured(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// callRate needs no ordinal: it follows from the cycles before it.
func (s *Session) callRate(_ context.Context, a struct {
	selection
	Method failrate.Method `json:"method"`
}) (json.RawMessage, error) {
	rate, err := shownRate(s.tally.Of(a.match), a.Method)
	if err != nil {
		return nil, err
	}
	return json.Marshal(rate)
}

// callWait leaves the supply as it is: off, unless the script has switched it on.
func (s *Session) callWait(ctx context.Context, a struct {
	Seconds float64 `json:"duration"`
}) (json.RawMessage, error) {
	if s.own.on {
		result, _, err := s.part(ctx, "wait", a, func(ctx context.Context) (outcome, error) {
			return outcome{}, s.waitOn(ctx, s.clock.Now().Add(seconds(a.Seconds)))
		})
		return result, err
	}
	return s.step(ctx, "wait", a, func(ctx context.Context) (outcome, error) {
		return outcome{}, s.restOrHold(ctx, s.clock.Now().Add(seconds(a.Seconds)))
	})
}

// restOrHold waits, supply off, until t, and holds meanwhile where that is wanted.
func (s *Session) restOrHold(ctx context.Context, t time.Time) error {
	for {
		err := s.rest(ctx, t)
		if !errors.Is(err, errHeld) {
			return err
		}
		if err := s.holdIfWanted(ctx); err != nil {
			return err
		}
	}
}

type textArgument struct {
	Text string `json:"text"`
}

func (s *Session) callMark(ctx context.Context, a textArgument) (json.RawMessage, error) {
	return s.marked(ctx, "mark", a)
}

func (s *Session) callTreatment(ctx context.Context, a textArgument) (json.RawMessage, error) {
	result, err := s.marked(ctx, "treatment", a)
	if err == nil {
		s.setTreatment(a.Text)
	}
	return result, err
}

func (s *Session) marked(ctx context.Context, kind string, a textArgument) (json.RawMessage, error) {
	return s.step(ctx, kind, a, func(context.Context) (outcome, error) {
		return outcome{mark: &logbook.Mark{Run: s.run.ID, At: s.clock.Now(), Text: a.Text, Kind: kind, AfterCycle: int(s.number.Load())}}, nil
	})
}

// callAsk holds the run, supply off, until a person answers or the time-out passes.
func (s *Session) callAsk(ctx context.Context, a struct {
	Text    string   `json:"text"`
	Timeout *float64 `json:"timeout"`
}) (json.RawMessage, error) {
	return s.step(ctx, "ask", a, func(ctx context.Context) (outcome, error) {
		if err := s.off(ctx); err != nil {
			return outcome{}, err
		}
		s.setQuestion(a.Text)
		why := hold{cause: asks, text: a.Text}.reason()
		if err := s.setState("held", why); err != nil {
			return outcome{}, err
		}
		s.publish(Event{Kind: Held, Question: a.Text, Reason: why})
		answer, err := s.awaitAnswer(ctx, a.Timeout)
		s.setQuestion("")
		if err != nil {
			return outcome{}, err
		}
		if err := s.goOn(); err != nil {
			return outcome{}, err
		}
		s.publish(Event{Kind: Released})
		out := outcome{result: answer}
		if answer != nil {
			out.mark = &logbook.Mark{Run: s.run.ID, At: s.clock.Now(), Text: strconv.Quote(*answer) + " to: " + a.Text, Kind: "answer", AfterCycle: int(s.number.Load())}
		}
		return out, nil
	})
}

// awaitAnswer returns nil if nobody answered in time.
func (s *Session) awaitAnswer(ctx context.Context, timeout *float64) (*string, error) {
	var expired <-chan error
	if timeout != nil {
		expired = s.after(ctx, seconds(*timeout))
	}
	select {
	case text := <-s.answers:
		return &text, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	case err := <-expired:
		return nil, err
	}
}

// after sends once d of the run's clock has passed.
func (s *Session) after(ctx context.Context, d time.Duration) <-chan error {
	done := make(chan error, 1)
	go func() { done <- s.clock.Sleep(ctx, d) }()
	return done
}

// callLog prints once: a replayed line was printed when it was new.
func (s *Session) callLog(ctx context.Context, a textArgument) (json.RawMessage, error) {
	return s.step(ctx, "log", a, func(context.Context) (outcome, error) {
		s.publish(Event{Kind: Logged, Reason: a.Text})
		return outcome{}, nil
	})
}

func (s *Session) callNow(ctx context.Context, _ struct{}) (json.RawMessage, error) {
	return s.step(ctx, "now", struct{}{}, func(context.Context) (outcome, error) {
		return outcome{result: float64(s.clock.Now().UnixNano()) / 1e9}, nil
	})
}

func (s *Session) callRandom(ctx context.Context, _ struct{}) (json.RawMessage, error) {
	return s.step(ctx, "random", struct{}{}, func(context.Context) (outcome, error) {
		return outcome{result: s.chance().Float64()}, nil
	})
}

// chance depends on the run's seed and the ordinal alone.
func (s *Session) chance() *rand.Rand { return rand.New(rand.NewPCG(s.seed, uint64(s.ordinal))) }

// plan announces more cycles.
func (s *Session) plan(more int) {
	s.planned += more
	if s.ordinal < len(s.recorded) {
		return // the logbook has had it since the first time
	}
	s.mu.Lock()
	s.run.PlannedCycles = s.planned
	s.mu.Unlock()
	// Only a convenience for people: a failure to note it shows up at the next commit anyway.
	_ = s.book.SetPlanned(s.run.ID, s.planned)
	s.publish(Event{Kind: Planned, Progress: s.progress()})
}
