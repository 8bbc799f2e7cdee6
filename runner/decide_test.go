package runner_test

import (
	"encoding/json"
	"errors"
	"math"
	"testing"
	"time"

	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
)

type cycleAt struct {
	Volts float64 `json:"volts"`
	Rest  float64 `json:"rest"`
}

type decide struct {
	Volts *float64 `json:"volts,omitempty"`
	Below float64  `json:"below"`
	Above float64  `json:"above"`
	Alpha float64  `json:"alpha"`
	Beta  float64  `json:"beta"`
}

type decided struct {
	Decision         failrate.Decision
	Cycles, Failures int
	DecidedCycles    int `json:"decided_cycles"`
	Low, High        float64
	Sentence         string
}

// twoOf decodes a call that returns two values.
func twoOf[A, B any](t *testing.T, s *runner.Session, name string, arguments any) (first A, second B) {
	t.Helper()
	raw, err := call(t.Context(), s, name, arguments)
	if err != nil {
		t.Fatal(err)
	}
	both := []any{&first, &second}
	if err := json.Unmarshal(raw, &both); err != nil {
		t.Fatalf("%s: %v in %s", name, err, raw)
	}
	return first, second
}

func result[T any](t *testing.T, s *runner.Session, name string, arguments any) (v T) {
	t.Helper()
	raw, err := call(t.Context(), s, name, arguments)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(raw, &v); err != nil {
		t.Fatalf("%s: %v in %s", name, err, raw)
	}
	return v
}

// resumed goes on with the run of a session that is interrupted here.
func (s *simulation) resumed(t *testing.T, session *runner.Session) *runner.Session {
	t.Helper()
	if err := session.Interrupt("the test ends"); err != nil {
		t.Fatal(err)
	}
	unfinished, err := runner.Unfinished(s.book, runner.Program{Name: "test"}, s.rig.Bench, s.seed)
	if err != nil || unfinished == nil {
		t.Fatalf("the interrupted run: %v, %v", unfinished, err)
	}
	return s.open(t, unfinished)
}

// The decision is that of the sequential plan, cycle by cycle, and stands; a resumed run has the same.
func TestDecide(t *testing.T) {
	plan := decide{Below: 0.05, Above: 0.5, Alpha: 0.05, Beta: 0.05}
	for _, c := range []struct {
		unit  string
		volts float64
		want  failrate.Decision
	}{{"healthy", 3.0, failrate.Accept}, {"healthy", 1.9, failrate.Reject}} {
		s := simulate(t, simulation{unit: c.unit, celsius: 20, rested: time.Minute, seed: 1})
		session := s.open(t, nil)
		independent, err := failrate.NewPlan(plan.Below, plan.Above, plan.Alpha, plan.Beta)
		if err != nil {
			t.Fatal(err)
		}
		test := independent.Start()
		var answers []decided
		for range 12 {
			cycle := result[struct{ Failed bool }](t, session, "cycle", cycleAt{c.volts, 3})
			want := test.Add(cycle.Failed)
			first, behind := twoOf[failrate.Decision, decided](t, session, "decide", plan)
			if first != want || behind.Decision != want || behind.Sentence != test.Sentence() {
				t.Fatalf("%s at %g V: decided %s (%s), the plan says %s", c.unit, c.volts, first, behind.Sentence, want)
			}
			answers = append(answers, behind)
		}
		last := answers[len(answers)-1]
		if last.Decision != c.want || last.DecidedCycles == 0 || last.DecidedCycles >= last.Cycles {
			t.Errorf("%s at %g V: %+v, want %s before the last cycle", c.unit, c.volts, last, c.want)
		}
		elsewhere := 2.5
		if first, _ := twoOf[failrate.Decision, decided](t, session, "decide", decide{&elsewhere, plan.Below, plan.Above, plan.Alpha, plan.Beta}); first != failrate.Continue {
			t.Errorf("without a cycle at %g V: %s", elsewhere, first)
		}
		again := s.resumed(t, session)
		for i := range answers {
			result[any](t, again, "cycle", cycleAt{c.volts, 3})
			if _, behind := twoOf[failrate.Decision, decided](t, again, "decide", plan); behind != answers[i] {
				t.Errorf("resumed, after cycle %d: %+v, first %+v", i+1, behind, answers[i])
			}
		}
	}
}

func TestDecideRefuses(t *testing.T) {
	s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: 1})
	session := s.open(t, nil)
	for _, bad := range []decide{{Below: 0.1, Above: 0.01, Alpha: 0.05, Beta: 0.05}, {Below: 0.01, Above: 0.1, Alpha: 0.6, Beta: 0.05}} {
		_, err := call(t.Context(), session, "decide", bad)
		var input *failrate.InputError
		if !errors.As(err, &input) {
			t.Errorf("%+v: got %v", bad, err)
		}
	}
}

// What a script concludes is in the logbook, and the last word counts.
func TestConclude(t *testing.T) {
	s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: 1})
	session := s.open(t, nil)
	say := func(session *runner.Session, word string, want bool) {
		t.Helper()
		if _, err := call(t.Context(), session, "conclude", map[string]string{"decision": word}); err != nil {
			t.Fatal(err)
		}
		stored, err := s.book.Run(session.Run().ID)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range []logbook.Run{session.Run(), stored} {
			if r.Accepted == nil || *r.Accepted != want {
				t.Errorf("after %s: accepted is %v", word, r.Accepted)
			}
		}
	}
	if session.Run().Accepted != nil {
		t.Error("accepted before anything was concluded")
	}
	say(session, "accept", true)
	say(session, "reject", false)
	again := s.resumed(t, session)
	for _, word := range []string{"accept", "reject"} {
		if _, err := call(t.Context(), again, "conclude", map[string]string{"decision": word}); err != nil {
			t.Fatal(err)
		}
	}
	if r := again.Run(); r.Accepted == nil || *r.Accepted {
		t.Errorf("resumed: accepted is %v, want rejected", r.Accepted)
	}
}

// Each method of rate{} is failrate's own.
func TestRateMethods(t *testing.T) {
	s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: 1})
	session := s.open(t, nil)
	for _, volts := range []float64{3.0, 1.9, 3.0, 3.0} {
		result[any](t, session, "cycle", cycleAt{volts, 3})
	}
	for _, m := range append(failrate.Methods(), "") {
		type asked struct {
			Method failrate.Method `json:"method,omitempty"`
		}
		got := result[struct {
			Cycles, Failures int
			Low, High        float64
			Method           failrate.Method
			Sentence         string
		}](t, session, "rate", asked{m})
		want, err := m.Interval(1, 4, runner.Confidence)
		if err != nil {
			t.Fatal(err)
		}
		if got.Cycles != 4 || got.Failures != 1 || math.Abs(got.Low-want.Low) > 1e-12 || math.Abs(got.High-want.High) > 1e-12 || m != "" && got.Method != m || got.Sentence == "" {
			t.Errorf("%q: %+v, want %+v", m, got, want)
		}
	}
}

// hunt{} ranks the cycles of the run, and may do some itself.
func TestHuntCall(t *testing.T) {
	s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: 1})
	session := s.open(t, nil)
	type suspect struct {
		Treatment string
		Shown     bool
		Treated   struct{ Failures, Cycles int }
		Sentence  string
	}
	_, err := call(t.Context(), session, "hunt", struct{}{})
	var input *failrate.InputError
	if !errors.As(err, &input) {
		t.Errorf("without cycles: got %v", err)
	}
	treat := func(text string) {
		if _, err := call(t.Context(), session, "treatment", map[string]string{"text": text}); err != nil {
			t.Fatal(err)
		}
	}
	type cycles struct {
		Volts  float64 `json:"volts"`
		Cycles int     `json:"cycles"`
		Rest   float64 `json:"rest"`
	}
	block := cycles{2.4, 10, 3}
	result[[]any](t, session, "soak", soak{Volts: []float64{block.Volts}, Cycles: block.Cycles, Rest: block.Rest, Watch: 0.08})
	treat("C7 chilled")
	result[[]any](t, session, "soak", soak{Volts: []float64{block.Volts}, Cycles: block.Cycles, Rest: block.Rest, Watch: 0.08})
	treat("as found")
	list, said := twoOf[[]suspect, string](t, session, "hunt", block)
	if len(list) != 1 || list[0].Treatment != "C7 chilled" || list[0].Shown || list[0].Treated.Cycles != 10 || list[0].Sentence == "" || said == "" {
		t.Errorf("%+v, %q", list, said)
	}
	if n := len(s.cycles(t, session.Run().ID)); n != 30 {
		t.Errorf("%d cycles, want 30", n)
	}
}
