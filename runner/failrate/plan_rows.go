package failrate

import "encoding/json"

// PlanRow is what a plan does from a number of cycles on, until the next row.
type PlanRow struct {
	FromCycles    int  `json:"from_cycles"`
	AcceptAtMost  *int `json:"accept_at_most"`  // nil: it cannot accept yet
	RejectAtLeast *int `json:"reject_at_least"` // nil: it cannot reject yet
}

// Rows returns the plan as a table for the bench: a row wherever a limit changes.
func (p *Plan) Rows() []PlanRow {
	var rows []PlanRow
	possible := func(n int) (accept, reject *int) {
		a, r := p.Limits(n)
		if a >= 0 {
			accept = &a
		}
		if r <= n {
			reject = &r
		}
		return accept, reject
	}
	same := func(a, b *int) bool { return a == b || a != nil && b != nil && *a == *b }
	for n := 1; n <= p.MostCycles; n++ {
		accept, reject := possible(n)
		if n > 1 {
			if last := rows[len(rows)-1]; same(accept, last.AcceptAtMost) && same(reject, last.RejectAtLeast) {
				continue
			}
		}
		rows = append(rows, PlanRow{n, accept, reject})
	}
	return rows
}

// MarshalJSON implements [json.Marshaler]: what was asked, what the plan does,
// and its table.
func (p *Plan) MarshalJSON() ([]byte, error) {
	alpha, beta := p.Risks()
	return json.Marshal(struct {
		AcceptRate  float64          `json:"accept_rate"`
		RejectRate  float64          `json:"reject_rate"`
		Alpha       float64          `json:"alpha"`
		Beta        float64          `json:"beta"`
		ExactAlpha  float64          `json:"exact_alpha"`
		ExactBeta   float64          `json:"exact_beta"`
		MostCycles  int              `json:"most_cycles"`
		FirstAccept int              `json:"first_accept"`
		Curve       []Characteristic `json:"characteristic"`
		Rows        []PlanRow        `json:"limits"`
		Convention  string           `json:"convention"`
	}{p.AcceptRate, p.RejectRate, p.Alpha, p.Beta, alpha, beta, p.MostCycles, p.FirstAccept(), p.Curve(), p.Rows(), planConvention})
}

const planConvention = "sequential probability ratio test cut off at most_cycles; risks and expected cycles are exact for the limits as listed"
