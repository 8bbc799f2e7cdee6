package runner

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"

	"ringup/runner/failrate"
)

// soakArguments is a soak: so many cycles at each of the voltages, or as many as it takes.
type soakArguments struct {
	Title  string    `json:"title"`
	Volts  []float64 `json:"volts"`
	Cycles int       `json:"cycles"`
	Order  string    `json:"order"`
	Rest   *float64  `json:"rest"`
	Watch  *float64  `json:"watch"`
	// Left out of what is recorded where they are not given, as before there were any.
	UntilDecided *planArguments `json:"until_decided,omitempty"`
	UntilWidth   *float64       `json:"until_width,omitempty"`
	StopAt       string         `json:"stop_at,omitempty"`
}

// callSoak returns the rate at each voltage, in the order of a.Volts. It is a step of its own, which fixes the order,
// followed by one step for each cycle. So it resumes at the first cycle that is not in the logbook.
func (s *Session) callSoak(ctx context.Context, a soakArguments) (json.RawMessage, error) {
	for _, v := range a.Volts {
		if err := s.allowed(v); err != nil {
			return nil, err
		}
	}
	if a.UntilDecided != nil {
		if _, err := s.planFor(*a.UntilDecided); err != nil {
			return nil, err
		}
	}
	begun := s.clock.Now()
	raw, err := s.step(ctx, "soak", a, func(context.Context) (outcome, error) {
		return outcome{result: s.chance().Uint64() >> 11}, nil // within what JSON numbers hold exactly
	})
	if err != nil {
		return nil, err
	}
	if s.ordinal <= len(s.recorded) {
		begun = s.recorded[s.ordinal-1].Begun
	}
	end, err := s.soakEndOf(a, begun)
	if err != nil {
		return nil, err
	}
	var seed uint64
	if err := json.Unmarshal(raw, &seed); err != nil {
		return nil, fmt.Errorf("the recorded order of the soak: %w", err)
	}
	order, err := soakOrder(a.Order, len(a.Volts), a.Cycles, seed)
	if err != nil {
		return nil, err
	}
	s.plan(len(order))
	tallies := make([]*failrate.Tally, len(a.Volts))
	for i := range tallies {
		tallies[i] = failrate.NewTally(Confidence)
	}
	for n, i := range order {
		if end.enough[i] {
			continue
		}
		if up, err := s.timeIsUp(ctx, end); err != nil {
			return nil, err
		} else if up {
			s.plan(-left(order[n:], func(c int) bool { return !end.enough[c] }))
			break
		}
		raw, err := s.cycle(ctx, s.condition(cycleArguments{a.Volts[i], a.Rest, a.Watch}))
		if err != nil {
			return nil, err
		}
		o, err := recordedObservation(raw)
		if err != nil {
			return nil, err
		}
		tallies[i].Add(o)
		if o.Counted && end.add(i, o.Failed) {
			s.plan(-left(order[n+1:], func(c int) bool { return c == i }))
		}
	}
	method := failrate.MethodClopperPearson
	if end.sequential() {
		method = failrate.MethodAnytime
	}
	rates := make([]any, len(a.Volts))
	for i, volts := range a.Volts {
		c := tallies[i].Of(nil)
		c.Volts, c.Treatment = volts, s.Treatment()
		if rates[i], err = shownRate(c, method); err != nil {
			return nil, err
		}
	}
	return json.Marshal(rates)
}

// recordedObservation reads a cycle's result back: it may come from the logbook.
func recordedObservation(raw json.RawMessage) (failrate.Observation, error) {
	var r struct {
		Volts     float64  `json:"set_volts"`
		Treatment string   `json:"treatment"`
		Verdict   string   `json:"verdict"`
		Counted   bool     `json:"counted"`
		Failed    bool     `json:"failed"`
		Start     *float64 `json:"start_s"`
	}
	err := json.Unmarshal(raw, &r)
	return failrate.Observation{
		Volts: r.Volts, Treatment: r.Treatment, Verdict: r.Verdict, Counted: r.Counted, Failed: r.Failed, StartSeconds: or(r.Start, math.NaN()),
	}, err
}

// soakOrder lists, cycle by cycle, which of the conditions is done. Interleaved takes them in turn, so that
// drift does not pass for an effect of the voltage; shuffled draws each round's order anew; blocked does one
// after the other.
func soakOrder(order string, conditions, cycles int, seed uint64) ([]int, error) {
	list := make([]int, 0, conditions*cycles)
	rng := rand.New(rand.NewPCG(seed, 0))
	switch order {
	case "", "interleaved":
		for range cycles {
			for c := range conditions {
				list = append(list, c)
			}
		}
	case "shuffled":
		for range cycles {
			list = append(list, rng.Perm(conditions)...)
		}
	case "blocked":
		for c := range conditions {
			for range cycles {
				list = append(list, c)
			}
		}
	default:
		return nil, fmt.Errorf("order %q: allowed are interleaved, shuffled, blocked", order)
	}
	return list, nil
}
