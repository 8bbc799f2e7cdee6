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
)

// A night with a question in it, so that the hold shows, too.
const boardNight = `
soak { volts = { 3.6, 2.4, 2.2 }, cycles = 20, rest = "35 s" }
ask("Chill C7 and keep it cold, then answer.")
treatment("C7 chilled")
soak { volts = { 2.2 }, cycles = 10, rest = "10 s" }
`

// A real Prometheus scrapes a paced virtual night. Every query of board and rules must have an answer, and what
// Prometheus counts must be what the logbook has.
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
	stop, err := desk.listen(address, book.Path(), t.Output())
	if err != nil {
		t.Fatal(err)
	}
	defer stop()

	rules := "../../dashboards/prometheus/"
	prometheus := promcheck.Start(t, "http://"+address+"/metrics", rules+"rules.yml", rules+"alerts.yml")
	held := make(chan struct{}, 1)
	watch := runner.Observers{desk, observerFunc(func(e runner.Event) {
		if e.Kind == runner.Held {
			held <- struct{}{}
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
	select {
	case <-held:
	case err := <-ended:
		t.Fatalf("the run ended before its question: %v", err)
	}

	for _, read := range []func() ([]promcheck.Query, error){
		func() ([]promcheck.Query, error) { return promcheck.RuleQueries(rules + "rules.yml") },
		func() ([]promcheck.Query, error) { return promcheck.RuleQueries(rules + "alerts.yml") },
		func() ([]promcheck.Query, error) {
			return promcheck.BoardQueries("../../dashboards/grafana/boards/soak-tonight.json")
		},
	} {
		queries, err := read()
		if err != nil {
			t.Fatal(err)
		}
		prometheus.CheckAll(t, queries)
	}
	if err := session.Answer("done"); err != nil {
		t.Fatal(err)
	}
	if err := <-ended; err != nil {
		t.Fatal(err)
	}

	scrapes := prometheus.Query(t, `sum_over_time(up[1h])`)[0].Value
	prometheus.WaitScraped(t, int(scrapes)+2) // one may have been under way when the run ended
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
