package failrate

import (
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"testing"
)

// Wald's constants: his example (Sequential Analysis, 1947, chapter 5), the
// NIST/SEMATECH e-Handbook's (6.2.6), and three of a bench.
func TestWaldLimits(t *testing.T) {
	for _, c := range []struct {
		accept, reject, alpha, beta float64
		h0, h1, slope               float64
	}{
		{.1, .3, .02, .03, 2.5826255205, 2.8753885298, 0.1861689417},
		{.01, .10, .05, .10, 0.9388616026, 1.2053786463, 0.0397474322},
		{.01, .05, .05, .05, 1.7837724002, 1.7837724002, 0.0249854222},
		{.001, .01, .05, .05, 1.2737473997, 1.2737473997, 0.0039149069},
		{.02, .08, .05, .10, 1.5531792524, 1.9940842182, 0.0435874902},
	} {
		h0, h1, slope := waldLimits(c.accept, c.reject, c.alpha, c.beta)
		if math.Abs(h0-c.h0) > 6e-11 || math.Abs(h1-c.h1) > 6e-11 || math.Abs(slope-c.slope) > 6e-11 {
			t.Errorf("%+v: %.12f, %.12f, %.12f", c, h0, h1, slope)
		}
	}
}

// waldCases are the published plans: rates, nominal risks.
var waldCases = map[string][4]float64{
	"wald1947": {.1, .3, .02, .03}, "nist626": {.01, .1, .05, .1}, "nist626b": {.01, .1, .05, .1},
	"benchA": {.01, .05, .05, .05}, "benchB": {.001, .01, .05, .05}, "benchC": {.02, .08, .05, .1},
}

// The limits at every number of cycles up to 500. Those of the NIST plan agree
// with the handbook's own table, to n = 26, and with a published one to n = 100.
func TestPlanLimits(t *testing.T) {
	table := readTable(t, "sprt_boundaries.csv", 342)
	names, from, accept, reject := table.text("plan"), table.numbers("from_n"), table.text("accept_le"), table.text("reject_ge")
	plans := map[string]*Plan{}
	for name, c := range waldCases {
		plans[name] = waldPlan(c[0], c[1], c[2], c[3], 600, 1)
	}
	for i, name := range names {
		last := 500
		if i+1 < len(names) && names[i+1] == name {
			last = int(from[i+1]) - 1
		}
		for n := int(from[i]); n <= last; n++ {
			a, r := plans[name].Limits(n)
			gotA, gotR := "", ""
			if a >= 0 {
				gotA = strconv.Itoa(a)
			}
			if r <= n {
				gotR = strconv.Itoa(r)
			}
			if gotA != accept[i] || gotR != reject[i] {
				t.Fatalf("%s after %d cycles: accept %q, reject %q; want %q, %q", name, n, gotA, gotR, accept[i], reject[i])
			}
		}
	}
	for name, want := range map[string]int{"wald1947": 14, "nist626": 24, "benchA": 72, "benchB": 326, "benchC": 36} {
		if got := plans[name].FirstAccept(); got != want {
			t.Errorf("%s: accepts after %d cycles without a failure, want %d", name, got, want)
		}
	}
}

// Exact operating characteristics and mean numbers of cycles, verified in exact
// rational arithmetic.
func TestPlanCharacteristics(t *testing.T) {
	table := readTable(t, "sprt_oc_asn.csv", 42)
	names, rates := table.text("plan"), table.numbers("p")
	most, allowed := table.numbers("n_trunc"), table.numbers("c_trunc")
	accept, cycles := table.numbers("Pa_truncated"), table.numbers("ASN_truncated")
	openAccept, openCycles := table.numbers("Pa_untruncated"), table.numbers("ASN_untruncated")
	for i, name := range names {
		c := waldCases[name]
		plan := waldPlan(c[0], c[1], c[2], c[3], int(most[i]), int(allowed[i]))
		got, err := plan.At(rates[i]) // the table has eleven digits of the rate
		if err != nil || math.Abs(got.Accept-accept[i]) > 1e-11 || !near(got.ExpectedCycles, cycles[i], 1e-9) || !near(got.Accept+got.Reject, 1, 1e-15) {
			t.Errorf("%s at %v: %+v, %v; want %v, %v cycles", name, rates[i], got, err, accept[i], cycles[i])
		}
		// A plan cut off so late that nothing is left is not cut off.
		open := waldPlan(c[0], c[1], c[2], c[3], 30_000, 0).at(rates[i])
		if math.Abs(open.Accept-openAccept[i]) > 6e-11 || math.Abs(open.ExpectedCycles-openCycles[i]) > 6e-9 {
			t.Errorf("%s at %v, not cut off: %+v; want %v, %v cycles", name, rates[i], open, openAccept[i], openCycles[i])
		}
	}
	// Wald's formula for the mean number ignores that limits are overshot: 16.4 for
	// the NIST plan at its reject rate, where the exact number is 22.4.
	if got := waldPlan(.01, .1, .05, .1, 30_000, 0).at(.1).ExpectedCycles; !near(got, 22.369155, 1e-7) {
		t.Errorf("NIST plan at 10 %%: %v cycles", got)
	}
}

// For any rates and risks the plan that is returned has exact risks within
// those asked for, and saves cycles against the fixed plan.
func TestPlanRisks(t *testing.T) {
	random := outsideRandom(8)
	for range outsideCases {
		accept := math.Exp(-1 - 6*random.Float64())
		reject := math.Min(.95, accept*(1.5+8*random.Float64()))
		alpha, beta := .005+.2*random.Float64(), .005+.2*random.Float64()
		plan, err := NewPlan(accept, reject, alpha, beta)
		if err != nil {
			t.Fatal(err)
		}
		fixed, err := NewFixedPlan(accept, reject, alpha, beta)
		if err != nil {
			t.Fatal(err)
		}
		if a, b := plan.Risks(); a > alpha || b > beta || plan.Alpha != alpha || plan.Beta != beta {
			t.Errorf("%v, %v: risks %v, %v; asked %v, %v", accept, reject, a, b, alpha, beta)
		}
		if a, b := binomialAtLeast(fixed.AllowedFailures+1, fixed.Cycles, accept), binomialAtMost(fixed.AllowedFailures, fixed.Cycles, reject); a > alpha ||
			b > beta*(1+1e-9) || a != fixed.Alpha || b != fixed.Beta {
			t.Errorf("%v, %v: the fixed plan %+v has risks %v, %v", accept, reject, fixed, a, b)
		}
		for _, rate := range []float64{accept, reject} {
			if c := plan.at(rate); c.ExpectedCycles > float64(fixed.Cycles) {
				t.Errorf("%v, %v: %.1f cycles at %v, the fixed plan takes %d", accept, reject, c.ExpectedCycles, rate, fixed.Cycles)
			}
		}
		// With no more cycles than the fixed plan has, the risks still hold.
		short, err := NewPlanWithin(accept, reject, alpha, beta, fixed.Cycles)
		if err != nil {
			t.Fatal(err)
		}
		if a, b := short.Risks(); a > alpha || b > beta*(1+1e-9) || short.MostCycles > fixed.Cycles {
			t.Errorf("%v, %v within %d: %d cycles, risks %v, %v; asked %v, %v", accept, reject, fixed.Cycles, short.MostCycles, a, b, alpha, beta)
		}
	}
}

// Smaller plans of fixed length than the one returned hold no such risks.
func TestFixedPlanSmallest(t *testing.T) {
	for _, c := range [][4]float64{{.01, .05, .05, .05}, {.1, .3, .02, .03}, {.02, .08, .05, .1}, {.3, .4, .1, .1}} {
		plan, err := NewFixedPlan(c[0], c[1], c[2], c[3])
		if err != nil {
			t.Fatal(err)
		}
		for n := 1; n < plan.Cycles; n++ {
			for allowed := range n {
				if binomialAtLeast(allowed+1, n, c[0]) <= c[2] && binomialAtMost(allowed, n, c[1]) <= c[3] {
					t.Fatalf("%v: %d of %d will do, NewFixedPlan says %+v", c, allowed, n, plan)
				}
			}
		}
	}
}

// The risks of test plans of fixed length for a failure rate in time, in units of
// the rate: MIL-HDBK-781A. A cycle a ten-millionth of that long makes them binomial.
func TestFixedDurationRisks(t *testing.T) {
	for _, c := range []struct {
		name        string
		ratio, time float64
		reject      int
		alpha, beta float64 // per cent, printed
	}{
		{"IX-D", 1.5, 45.0, 37, 12.0, 9.9}, {"X-D", 1.5, 29.9, 26, 10.9, 21.4}, {"XI-D", 1.5, 21.5, 18, 19.7, 19.6},
		{"XII-D", 2, 18.8, 14, 9.6, 10.6}, {"XIII-D", 2, 12.4, 10, 9.8, 20.9}, {"XIV-D", 2, 7.8, 6, 19.9, 21.0},
		{"XV-D", 3, 9.3, 6, 9.4, 9.9}, {"XVI-D", 3, 5.4, 4, 10.9, 21.3}, {"XVII-D", 3, 4.3, 3, 17.5, 19.7},
		{"XIX-D", 1.5, 8.1, 7, 29.8, 30.1}, {"XX-D", 2, 3.7, 3, 28.3, 28.5}, {"XXI-D", 3, 1.1, 1, 30.7, 33.3},
	} {
		const cycles = 10_000_000
		alpha := 100 * binomialAtLeast(c.reject, cycles, c.time/c.ratio/cycles)
		beta := 100 * binomialAtMost(c.reject-1, cycles, c.time/cycles)
		if math.Abs(alpha-c.alpha) > .051 || math.Abs(beta-c.beta) > .051 {
			t.Errorf("plan %s: risks %.3f %%, %.3f %%; printed %v, %v", c.name, alpha, beta, c.alpha, c.beta)
		}
	}
}

func TestPlanCharacteristicsOutside(t *testing.T) {
	type point struct {
		Accept, Reject []int
		Rate           float64
	}
	random := outsideRandom(9)
	var points []point
	var plans []*Plan
	for len(plans) < outsideCases {
		accept := .01 + .3*random.Float64()
		plan, err := NewPlan(accept, math.Min(.9, accept*(2.5+3*random.Float64())), .02+.1*random.Float64(), .02+.1*random.Float64())
		if err != nil {
			t.Fatal(err)
		}
		if plan.MostCycles > 200 {
			continue
		}
		c := point{Rate: random.Float64()}
		for n := 1; n <= plan.MostCycles; n++ {
			a, r := plan.Limits(n)
			c.Accept, c.Reject = append(c.Accept, a), append(c.Reject, r)
		}
		plans, points = append(plans, plan), append(points, c)
	}
	want := outside(t, `
def f(c):
    p, accept, reject, cycles = c["Rate"], 0.0, 0.0, 0.0
    open = np.array([1.0])
    for a, r in zip(c["Accept"], c["Reject"]):
        cycles += open.sum()
        open = np.append(open * (1 - p), 0) + np.append(0, open * p)
        d = np.arange(len(open))
        accept += open[d <= a].sum()
        reject += open[d >= r].sum()
        open[(d <= a) | (d >= r)] = 0
    return [accept, reject, cycles]
`, points)
	for i, c := range points {
		got := plans[i].at(c.Rate)
		if !sameAsOutside(got.Accept, want[i][0], 1e-9, 1e-5) || !sameAsOutside(got.Reject, want[i][1], 1e-9, 1e-5) ||
			!sameAsOutside(got.ExpectedCycles, want[i][2], 1e-9, 0) {
			t.Errorf("rate %v: %+v, numpy %v", c.Rate, got, want[i])
		}
	}
}

// To stop as soon as the end is certain saves cycles and changes no risk.
func TestPlanEndAt(t *testing.T) {
	for _, rate := range []float64{0, .005, .01, .03, .05, .2, 1} {
		p := waldPlan(.01, .05, .05, .05, 300, 7)
		before := p.at(rate)
		p.endAt(7)
		after := p.at(rate)
		if math.Abs(before.Accept-after.Accept) > 1e-14 || after.ExpectedCycles > before.ExpectedCycles+1e-9 {
			t.Errorf("at %v: %+v, ended early %+v", rate, before, after)
		}
	}
}

func TestPlanEdges(t *testing.T) {
	plan, err := NewPlan(.01, .05, .05, .05)
	if err != nil {
		t.Fatal(err)
	}
	if never, _ := plan.At(0); never.Accept != 1 || never.ExpectedCycles != float64(plan.FirstAccept()) {
		t.Errorf("a unit that never fails: %+v", never)
	}
	if always, _ := plan.At(1); always.Reject != 1 || always.ExpectedCycles != 2 {
		t.Errorf("a unit that always fails: %+v", always)
	}
	if a, r := plan.Limits(plan.MostCycles); a+1 != r {
		t.Errorf("at the end: accept to %d, reject from %d", a, r)
	}
	if a, r := plan.Limits(plan.MostCycles + 1000); a+1 != r {
		t.Errorf("after the end: accept to %d, reject from %d", a, r)
	}
	if a, r := plan.Limits(0); a != -1 || r != 1 {
		t.Errorf("before the first cycle: %d, %d", a, r)
	}
	curve := plan.Curve()
	for i := range curve[1:] {
		if curve[i+1].Rate <= curve[i].Rate || curve[i+1].Accept > curve[i].Accept {
			t.Errorf("curve does not fall: %+v then %+v", curve[i], curve[i+1])
		}
	}
	const want = "accepts a unit that fails at 1 % in 95 % of runs and rejects one that fails at 5 % in 95.07 % of runs; " +
		"it takes about 109 cycles for the first, 67 for the second, 73 without a failure, and never more than 272"
	if plan.Sentence() != want {
		t.Errorf("%q, want %q", plan.Sentence(), want)
	}
}

func TestPlanRefuses(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		accept, reject, alpha, beta float64
		says                        string
	}{
		{0, .05, .05, .05, "both excluded"}, {.01, 1, .05, .05, "both excluded"}, {nan, .05, .05, .05, "accept rate"},
		{.05, .01, .05, .05, "the lower of the two"}, {.05, .05, .05, .05, "the lower of the two"},
		{.01, .05, 0, .05, "alpha"}, {.01, .05, .5, .05, "alpha"}, {.01, .05, 5, .05, "5 % is 0.05"}, {.01, .05, .05, nan, "beta"},
		{1e-9, 2e-9, .05, .05, "further apart"}, {.1, .1001, .05, .05, "further apart"}, {1e-12, .9e-8, .05, .05, "further apart"},
	} {
		_, err := NewPlan(c.accept, c.reject, c.alpha, c.beta)
		wantRefused(t, c.says, err, c.says)
		_, err = NewFixedPlan(c.accept, c.reject, c.alpha, c.beta)
		wantRefused(t, c.says, err, c.says)
	}
	_, err := NewPlanWithin(.01, .05, .05, .05, 180)
	wantRefused(t, "too few cycles", err, "takes up to 181")
	_, err = NewPlanWithin(.01, .05, .05, .05, 3_000_000)
	wantRefused(t, "too many cycles", err, "2,000,000")
	plan, err := NewPlanWithin(.01, .05, .05, .05, 181)
	if err != nil {
		t.Fatal(err)
	}
	for _, rate := range []float64{-.1, 1.1, nan} {
		_, err = plan.At(rate)
		wantRefused(t, "rate", err, "from 0 to 1")
	}
}

// The rows say what the limits say, and no row repeats the one before.
func TestPlanRows(t *testing.T) {
	plan := waldPlan(.01, .1, .05, .1, 100, 3)
	rows := plan.Rows()
	at := 0
	for n := 1; n <= plan.MostCycles; n++ {
		if at+1 < len(rows) && rows[at+1].FromCycles == n {
			at++
		}
		a, r := plan.Limits(n)
		if row := rows[at]; (row.AcceptAtMost == nil) != (a < 0) || a >= 0 && *row.AcceptAtMost != a ||
			(row.RejectAtLeast == nil) != (r > n) || r <= n && *row.RejectAtLeast != r {
			t.Fatalf("after %d cycles: row %+v, limits %d and %d", n, row, a, r)
		}
	}
	// NIST/SEMATECH e-Handbook 6.2.6: impossible, reject 2 from n = 2, 3 from
	// n = 20, accept 0 from n = 24, then n = 46, 49, 71, 74, 96; cut off at 100.
	var from []int
	for _, row := range rows {
		from = append(from, row.FromCycles)
	}
	if want := []int{1, 2, 20, 24, 46, 49, 71, 74, 96, 100}; !slices.Equal(from, want) {
		t.Errorf("rows from %v, want %v", from, want)
	}
}

func TestPlanJSON(t *testing.T) {
	plan, err := NewPlan(.01, .05, .05, .05)
	if err != nil {
		t.Fatal(err)
	}
	data, err := json.Marshal(plan)
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		MostCycles int              `json:"most_cycles"`
		ExactAlpha float64          `json:"exact_alpha"`
		Curve      []Characteristic `json:"characteristic"`
		Limits     []PlanRow
	}
	if err := json.Unmarshal(data, &got); err != nil {
		t.Fatal(err)
	}
	if alpha, _ := plan.Risks(); got.MostCycles != 272 || got.ExactAlpha != alpha || !slices.Equal(got.Curve, plan.Curve()) || len(got.Limits) != len(plan.Rows()) {
		t.Errorf("%s", data)
	}
}
