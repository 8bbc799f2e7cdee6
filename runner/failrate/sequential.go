package failrate

import "fmt"

// Decision is what a sequential plan says after a cycle.
type Decision string

// The decisions.
const (
	Continue Decision = "continue" // not enough seen
	Accept   Decision = "accept"   // the unit passes
	Reject   Decision = "reject"   // it fails
)

// Sequential follows a plan through a run. Not safe for concurrent use.
type Sequential struct {
	plan             *Plan
	decision         Decision
	decidedAt        int // cycles until the decision
	decidedFailures  int
	failures, cycles int
}

// Start begins a run by the plan.
func (p *Plan) Start() *Sequential { return &Sequential{plan: p, decision: Continue} }

// Add counts one cycle (only cycles that count) and returns the decision. The
// first accept or reject stands: cycles after it are counted and change the
// interval, not the decision, since the plan's risks are those of its first answer.
func (s *Sequential) Add(failed bool) Decision {
	s.cycles++
	if failed {
		s.failures++
	}
	if s.decision != Continue {
		return s.decision
	}
	accept, reject := s.plan.Limits(s.cycles)
	switch {
	case s.failures <= accept:
		s.decision = Accept
	case s.failures >= reject:
		s.decision = Reject
	}
	if s.decision != Continue {
		s.decidedAt, s.decidedFailures = s.cycles, s.failures
	}
	return s.decision
}

// Decision returns the decision so far.
func (s *Sequential) Decision() Decision { return s.decision }

// Plan returns the plan that is followed.
func (s *Sequential) Plan() *Plan { return s.plan }

// Counts returns the failures and cycles added so far.
func (s *Sequential) Counts() (failures, cycles int) { return s.failures, s.cycles }

// DecidedAfter returns the failures and cycles at the decision, 0 and 0 before
// it.
func (s *Sequential) DecidedAfter() (failures, cycles int) { return s.decidedFailures, s.decidedAt }

// Rate returns the failure rate of all cycles added, with the interval that
// holds although the run's length depended on what was seen ([Anytime]).
// A confidence that cannot be is refused with an [*InputError].
func (s *Sequential) Rate(confidence float64) (Rate, error) {
	return NewRate(MethodAnytime, s.failures, s.cycles, 0, confidence)
}

// Sentence says the decision with the risk that it is wrong.
func (s *Sequential) Sentence() string {
	p := s.plan
	alpha, beta := p.Risks()
	after := fmt.Sprintf("after %s in %s", counted(s.decidedFailures, "failure"), counted(s.decidedAt, "cycle"))
	switch s.decision {
	case Accept:
		return fmt.Sprintf("accepted %s; a unit that fails at %s is accepted in %s of runs", after, Percent(p.RejectRate), percentUp(beta))
	case Reject:
		return fmt.Sprintf("rejected %s; a unit that fails at %s is rejected in %s of runs", after, Percent(p.AcceptRate), percentUp(alpha))
	}
	accept, _ := p.Limits(p.MostCycles)
	return fmt.Sprintf("not decided after %s in %s; decided after %s cycles at the latest, where up to %s are accepted",
		counted(s.failures, "failure"), counted(s.cycles, "cycle"), Count(p.MostCycles), counted(accept, "failure"))
}
