package runner

import (
	"context"
	"encoding/json"

	"ringup/runner/failrate"
	"ringup/runner/logbook"
)

// count takes a cycle that is in the logbook into all that is known of the run.
func (s *Session) count(c logbook.Cycle) {
	s.tally.Add(observation(c))
	s.learn(c)
	if counted, ok := CountedCycle(c); ok {
		s.counted = append(s.counted, counted)
	}
}

// planArguments are those of a sequential test.
type planArguments struct {
	Below float64 `json:"below"`
	Above float64 `json:"above"`
	Alpha float64 `json:"alpha"`
	Beta  float64 `json:"beta"`
}

// planFor makes a plan, once: its exact risks take long to work out, and a script asks after every cycle.
func (s *Session) planFor(a planArguments) (*failrate.Plan, error) {
	if p, ok := s.plans[a]; ok {
		return p, nil
	}
	p, err := failrate.NewPlan(a.Below, a.Above, a.Alpha, a.Beta)
	if err != nil {
		return nil, err
	}
	if s.plans == nil {
		s.plans = map[planArguments]*failrate.Plan{}
	}
	s.plans[a] = p
	return p, nil
}

// selection names the cycles that a call asks for.
type selection struct {
	Volts     *float64 `json:"volts"`
	Treatment *string  `json:"treatment"`
}

func (w selection) match(volts float64, treatment string) bool {
	return (w.Volts == nil || sameVolts(volts, *w.Volts)) && (w.Treatment == nil || treatment == *w.Treatment)
}

func sameVolts(a, b float64) bool { return a-b < 1e-6 && b-a < 1e-6 }

type decideArguments struct {
	selection
	planArguments
}

// decision is what a script sees of a sequential test.
type decision struct {
	Decision        failrate.Decision `json:"decision"`
	Cycles          int               `json:"cycles"`
	Failures        int               `json:"failures"`
	DecidedCycles   int               `json:"decided_cycles"`
	DecidedFailures int               `json:"decided_failures"`
	MostCycles      int               `json:"most_cycles"`
	Alpha           float64           `json:"alpha"`
	Beta            float64           `json:"beta"`
	Estimate        *float64          `json:"estimate"`
	Low             float64           `json:"low"`
	High            float64           `json:"high"`
	Confidence      float64           `json:"confidence"`
	Sentence        string            `json:"sentence"`
}

// callDecide needs no ordinal: it follows from the cycles before it. It returns the decision, and the numbers behind it.
func (s *Session) callDecide(_ context.Context, a decideArguments) (json.RawMessage, error) {
	plan, err := s.planFor(a.planArguments)
	if err != nil {
		return nil, err
	}
	test := plan.Start()
	for _, c := range s.counted {
		if a.match(c.Volts, c.Treatment) {
			test.Add(c.Failed)
		}
	}
	rate, err := test.Rate(Confidence)
	if err != nil {
		return nil, err
	}
	d := decision{Decision: test.Decision(), MostCycles: plan.MostCycles, Sentence: test.Sentence(),
		Estimate: measured(rate.Interval.Estimate), Low: rate.Interval.Low, High: rate.Interval.High, Confidence: rate.Interval.Confidence}
	d.Failures, d.Cycles = test.Counts()
	d.DecidedFailures, d.DecidedCycles = test.DecidedAfter()
	d.Alpha, d.Beta = plan.Risks()
	return json.Marshal([]any{d.Decision, d})
}

// callConclude records the script's own acceptance.
func (s *Session) callConclude(ctx context.Context, a struct {
	Decision string `json:"decision"`
}) (json.RawMessage, error) {
	accepted := a.Decision == string(failrate.Accept)
	result, err := s.step(ctx, "conclude", a, func(context.Context) (outcome, error) {
		return outcome{}, s.book.SetAccepted(s.run.ID, accepted)
	})
	if err == nil {
		s.mu.Lock()
		s.run.Accepted = &accepted
		s.mu.Unlock()
	}
	return result, err
}

// callHunt does cycles while a person marks treatments, if it is asked to, and ranks what the treatments of the run
// have shown. The ranking itself needs no ordinal.
func (s *Session) callHunt(ctx context.Context, a struct {
	Title  string   `json:"title"`
	Volts  *float64 `json:"volts"`
	Cycles int      `json:"cycles"`
	Rest   *float64 `json:"rest"`
	Watch  *float64 `json:"watch"`
}) (json.RawMessage, error) {
	if (a.Cycles > 0) != (a.Volts != nil) {
		return nil, &failrate.InputError{What: "hunt", Found: "cycles without volts, or volts without cycles", Allowed: "give both to do cycles first, or neither"}
	}
	if a.Cycles > 0 {
		s.plan(a.Cycles)
	}
	for range a.Cycles {
		if _, err := s.cycle(ctx, s.condition(cycleArguments{*a.Volts, a.Rest, a.Watch})); err != nil {
			return nil, err
		}
	}
	h, err := RankTreatments(s.counted)
	if err != nil {
		return nil, err
	}
	return json.Marshal([]any{h.List(), h.Sentence()})
}
