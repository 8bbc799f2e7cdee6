package main

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"ringup/dashboards/prometheus/promcheck"
	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/logbook"
	"ringup/runner/simbench"
)

// A night with a question in it, so that the hold shows, too.
const boardNight = `
soak { volts = { 3.6, 2.4, 2.2 }, cycles = 20, rest = "35 s" }
ask("Chill C7 and keep it cold, then answer.")
treatment("C7 chilled")
soak { volts = { 2.2 }, cycles = 10, rest = "10 s" }
`

// A real Prometheus scrapes a paced virtual night, in which a question waits and the scope falls silent. Every query of
// board and rules must have an answer, and what Prometheus counts must be what the logbook has.
func TestBoardAgainstPrometheus(t *testing.T) {
	folder := t.TempDir()
	b, err := bench.Parse("bench.toml", []byte(demoBench))
	if err != nil {
		t.Fatal(err)
	}
	book, err := logbook.Open(filepath.Join(folder, "logbook.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	desk := newDesk(book)
	address := freePort(t)
	_, stop, err := desk.listen(listening{address: address}, book.Path(), t.Output())
	if err != nil {
		t.Fatal(err)
	}
	defer stop()

	rules := "../../dashboards/prometheus/"
	prometheus := promcheck.Start(t, "http://"+address+"/metrics", rules+"rules.yml", rules+"alerts.yml")
	held := make(chan string, 10)
	watch := runner.Observers{desk, observerFunc(func(e runner.Event) {
		if e.Kind == runner.Held {
			held <- e.Reason
		}
	})}
	const pace = 200 // 35 s of rest pass in 0.2 s, so that the night lasts some scrapes
	standing, err := stand(t.Context(), b, options{}, past{}, pace, watch)
	if err != nil {
		t.Fatal(err)
	}
	defer standing.close()
	sessions := make(chan *runner.Session, 1)
	ended := make(chan error, 1)
	var run logbook.Run
	go func() {
		e := execution{
			standing: standing, book: book, program: runner.Program{Name: "night.lua", Text: boardNight}, watch: watch, seed: 1,
			started: func(s *runner.Session) { desk.attach(s); sessions <- s },
		}
		var err error
		run, err = e.do(context.WithoutCancel(t.Context()))
		ended <- err
	}()
	session := <-sessions
	await := func(reason string) {
		t.Helper()
		select {
		case got := <-held:
			if !strings.HasPrefix(got, reason) {
				t.Fatalf("the run holds for %q, want %q", got, reason)
			}
		case err := <-ended:
			t.Fatalf("the run ended before it held for %q: %v", reason, err)
		}
	}
	ask := func(queries []promcheck.Query, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		prometheus.CheckAll(t, queries)
	}
	await("asks")
	ask(promcheck.RuleQueries(rules + "rules.yml"))
	ask(promcheck.BoardQueries("../../dashboards/grafana/boards/soak-tonight.json"))
	const errors = `sum(ringup_instrument_errors_total{role="scope", kind="timeout"})`
	if before := prometheus.Query(t, errors); len(before) != 1 || before[0].Value != 0 {
		t.Errorf("time-outs of the scope before it fell silent: %v, want 0", before)
	}
	standing.sim.Faults().Silence(simbench.Scope, true)
	if err := session.Answer("done"); err != nil {
		t.Fatal(err)
	}
	await("lost link")
	ask(promcheck.RuleQueries(rules + "alerts.yml"))
	if after := prometheus.Query(t, errors); len(after) != 1 || after[0].Value == 0 {
		t.Errorf("time-outs of the scope after it fell silent: %v, want some", after)
	}
	if down := prometheus.Query(t, `ringup_instrument_up == 0`); len(down) != 1 || down[0].Labels["role"] != "scope" {
		t.Errorf("down is %v, want the scope alone", down)
	}
	standing.sim.Faults().Silence(simbench.Scope, false)
	if err := <-ended; err != nil {
		t.Fatal(err)
	}

	scrapes := prometheus.Query(t, `sum_over_time(up[1h])`)[0].Value
	prometheus.WaitScraped(t, int(scrapes)+2) // one may have been under way when the run ended
	for _, role := range []string{"supply", "scope", "thermometer"} {
		// A dozen messages a cycle at the least, and none takes as long as a second but the scope's that were not answered.
		q := prometheus.Query(t, `ringup_instrument_query_seconds_count{role="`+role+`"}`)
		slow := prometheus.Query(t, `ringup_instrument_query_seconds_count{role="`+role+`"} - on (role) ringup_instrument_query_seconds_bucket{role="`+role+`", le=~"1|1.0"}`)
		if len(q) != 1 || q[0].Value < 90 || len(slow) != 1 || (slow[0].Value > 0) != (role == "scope") {
			t.Errorf("messages to and from the %s: %v, longer than a second: %v", role, q, slow)
		}
	}
	counted := map[string]float64{}
	for _, s := range prometheus.Query(t, `sum by (treatment, volts, verdict) (ringup_cycles_total) > 0`) {
		counted[strings.Join([]string{s.Labels["treatment"], s.Labels["volts"], s.Labels["verdict"]}, "|")] = s.Value
	}
	inBook := map[string]float64{}
	err = book.EachCycle(run.ID, func(c logbook.Cycle) error {
		inBook[fmt.Sprintf("%s|%.1f|%s", c.Treatment, c.SetVolts, c.Verdict)]++
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if fmt.Sprint(counted) != fmt.Sprint(inBook) || len(inBook) == 0 {
		t.Errorf("prometheus counts\n%v\nthe logbook has\n%v", counted, inBook)
	}
}

// observerFunc makes a function a runner.Observer.
type observerFunc func(runner.Event)

func (f observerFunc) Observe(e runner.Event) { f(e) }
