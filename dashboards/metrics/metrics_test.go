package metrics

import (
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"

	"ringup/drivers"
	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

// night is when the made-up run begins; the wall clock of the tests stands still at the same moment.
var night = time.Date(2026, 1, 15, 22, 0, 0, 0, time.UTC)

func newTestMetrics() *Metrics {
	m := New("test")
	m.now = func() time.Time { return night }
	return m
}

func run(id int64, state string) logbook.Run {
	return logbook.Run{ID: id, Script: "soak.lua", Unit: "river-level logger 0231", State: state}
}

// tallied is a condition with a known interval, so that the tests see whether the right number lands in the right series.
func tallied(volts float64, verdicts map[string]int) failrate.Condition {
	return failrate.Condition{Volts: volts, Treatment: "as found", Estimate: 0.25, Low: 0.05, High: 0.6, Confidence: 0.95, Verdicts: verdicts}
}

func started(runID int64, number int, volts float64) logbook.Cycle {
	return logbook.Cycle{
		Run: runID, Number: number, Treatment: "as found", SetVolts: volts,
		Judgement: verdict.Judgement{Verdict: verdict.Started, StartSeconds: 0.0121, FrequencyHertz: 7.3728e6, AmplitudeVolts: 1.1},
		Phases:    map[string]float64{"rest": 3, "watch": 0.08},
	}
}

func silent(runID int64, number int, volts float64) logbook.Cycle {
	c := started(runID, number, volts)
	nan := math.NaN()
	c.Judgement = verdict.Judgement{Verdict: verdict.Silent, Censored: true, StartSeconds: nan, FrequencyHertz: nan, AmplitudeVolts: nan}
	return c
}

// feedRun hands m the events of a short run: a good start, a failure, a reading, a hold, an error on the wire.
func feedRun(m *Metrics, id int64) {
	at := night
	observe := func(e runner.Event) {
		e.At = at
		m.Observe(e)
		at = at.Add(time.Second)
	}
	observe(runner.Event{Kind: runner.RunStarted, Run: run(id, "running")})
	observe(runner.Event{Kind: runner.Planned, Progress: runner.Progress{Planned: 4, ExpectedEnd: night.Add(time.Hour)}})
	observe(runner.Event{Kind: runner.Ambient, Celsius: 4.5})
	observe(runner.Event{Kind: runner.Exchanged, Exchange: drivers.Exchange{Role: "supply", Command: "OUTP?", Elapsed: 300 * time.Microsecond}})
	observe(runner.Event{Kind: runner.Exchanged, Exchange: drivers.Exchange{Role: "scope", Command: "INIT", Elapsed: time.Second, Kind: "timeout"}})
	observe(runner.Event{Kind: runner.CycleBegun, Cycle: started(id, 1, 2.4)})
	observe(runner.Event{Kind: runner.SupplyRead, Output: true, Volts: 2.401, Amps: 0.004})
	observe(runner.Event{Kind: runner.CycleDone, Cycle: started(id, 1, 2.4),
		Progress: runner.Progress{Done: 1, Planned: 4, Conditions: []failrate.Condition{tallied(2.4, map[string]int{"started": 1})}}})
	observe(runner.Event{Kind: runner.Committed, CommitSeconds: 0.0004, LogbookBytes: 65536})
	observe(runner.Event{Kind: runner.CycleDone, Cycle: silent(id, 2, 2.4),
		Progress: runner.Progress{Done: 2, Planned: 4, ExpectedEnd: night.Add(time.Hour),
			Conditions: []failrate.Condition{tallied(2.4, map[string]int{"started": 1, "silent": 1})}}})
	observe(runner.Event{Kind: runner.SupplyRead, Output: false, ConfirmedOff: true})
	observe(runner.Event{Kind: runner.Marked, Mark: logbook.Mark{Text: "C7 chilled"}})
	observe(runner.Event{Kind: runner.Held, Run: run(id, "held"), Reason: "fit 27 pF at C7", Question: "fit 27 pF at C7"})
}

func TestPromtoolFindsNothing(t *testing.T) {
	promtool, err := exec.LookPath("promtool")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("promtool is missing: install the Debian package prometheus")
		}
		t.Skip("promtool is missing: install the Debian package prometheus")
	}
	m := newTestMetrics()
	feedRun(m, 1)
	command := exec.Command(promtool, "check", "metrics")
	command.Stdin = strings.NewReader(scrape(t, m, ""))
	if out, err := command.CombinedOutput(); err != nil || len(out) != 0 {
		t.Errorf("promtool check metrics: %v\n%s", err, out)
	}
}

func TestLint(t *testing.T) {
	m := newTestMetrics()
	feedRun(m, 1)
	problems, err := testutil.GatherAndLint(m.registry)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
}

// TestNames holds the list of metrics: boards, alerts and people's own queries depend on every name.
func TestNames(t *testing.T) {
	m := newTestMetrics()
	feedRun(m, 1)
	// The cycle before was silent; one with a clock brings the rest of the series, but for one that a held run has not.
	m.Observe(runner.Event{Kind: runner.CycleDone, At: night, Cycle: started(1, 3, 2.4), Progress: runner.Progress{Done: 3, Planned: 4, ExpectedEnd: night}})
	var got []string
	gather := func() {
		families, err := m.registry.Gather()
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range families {
			if strings.HasPrefix(f.GetName(), "ringup_") {
				got = append(got, f.GetName())
			}
		}
	}
	gather()
	m.Observe(runner.Event{Kind: runner.Released, Run: run(1, "running")})
	gather()
	slices.Sort(got)
	got = slices.Compact(got)
	golden, err := os.ReadFile("testdata/names.txt")
	if err != nil {
		t.Fatal(err)
	}
	if want := strings.Fields(string(golden)); !slices.Equal(got, want) {
		t.Errorf("metrics are\n%s\nwant those of testdata/names.txt:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestWhatAScrapeSays(t *testing.T) {
	m := newTestMetrics()
	feedRun(m, 7)
	page := scrape(t, m, "")
	for _, want := range []string{
		`ringup_run_info{run="7",script="soak.lua",treatment="as found",unit="river-level logger 0231"} 1`,
		`ringup_run_state{run="7",state="held"} 1`,
		`ringup_run_state{run="7",state="running"} 0`,
		`ringup_run_active 1`,
		`ringup_cycles_total{run="7",treatment="as found",verdict="started",volts="2.4"} 1`,
		`ringup_cycles_total{run="7",treatment="as found",verdict="silent",volts="2.4"} 1`,
		`ringup_cycles_total{run="7",treatment="as found",verdict="late",volts="2.4"} 0`,
		`ringup_failure_ratio{bound="high",run="7",treatment="as found",volts="2.4"} 0.6`,
		`ringup_failure_ratio{bound="low",run="7",treatment="as found",volts="2.4"} 0.05`,
		`ringup_start_seconds_bucket{run="7",treatment="as found",volts="2.4",le="0.01"} 0`,
		`ringup_start_seconds_bucket{run="7",treatment="as found",volts="2.4",le="0.0125"} 1`,
		`ringup_start_seconds_count{run="7",treatment="as found",volts="2.4"} 1`,
		`ringup_hold{reason="fit 27 pF at C7"} 1`,
		`ringup_ambient_celsius 4.5`,
		`ringup_supply_volts 2.401`, // while it was on
		`ringup_supply_output 0`,
		`ringup_supply_confirmed_off 1`,
		`ringup_instrument_up{role="scope"} 0`,
		`ringup_instrument_up{role="supply"} 1`,
		`ringup_instrument_errors_total{kind="timeout",role="scope"} 1`,
		`ringup_instrument_errors_total{kind="gone",role="scope"} 0`,
		`ringup_cycles_planned 4`,
		`ringup_marks_total 1`,
		`ringup_logbook_bytes 65536`,
		`ringup_last_cycle_timestamp_seconds 1.7685144e+09`,
		`ringup_run_expected_end_timestamp_seconds 1.768518e+09`,
		`ringup_cycle_expected_seconds 1795.5`, // an hour less nine seconds for the two that are left
	} {
		if !slices.Contains(strings.Split(page, "\n"), want) {
			t.Errorf("scrape lacks %s", want)
		}
	}
	// The last cycle had no steady clock, so it has no frequency: absent, not 0 and not the one before.
	if strings.Contains(page, "\nringup_clock_hertz ") {
		t.Error("ringup_clock_hertz is there after a silent cycle")
	}
}

func TestZerosBeforeTheFirstCycleEnds(t *testing.T) {
	m := newTestMetrics()
	m.Observe(runner.Event{Kind: runner.RunStarted, Run: run(1, "running")})
	m.Observe(runner.Event{Kind: runner.CycleBegun, Cycle: started(1, 1, 0.1+0.2)})
	page := scrape(t, m, "")
	for _, v := range verdict.Verdicts {
		want := `ringup_cycles_total{run="1",treatment="as found",verdict="` + string(v) + `",volts="0.3"} 0`
		if !strings.Contains(page, want+"\n") {
			t.Errorf("scrape lacks %s", want)
		}
	}
}

func TestCountsAfterRestartAreTheLogbooks(t *testing.T) {
	m := newTestMetrics()
	before := []failrate.Condition{tallied(2.4, map[string]int{"started": 150, "silent": 50})}
	m.Observe(runner.Event{Kind: runner.RunStarted, Run: run(1, "running"), Progress: runner.Progress{Done: 200, Conditions: before}})
	after := []failrate.Condition{tallied(2.4, map[string]int{"started": 150, "silent": 51})}
	m.Observe(runner.Event{Kind: runner.CycleDone, Cycle: silent(1, 201, 2.4), Progress: runner.Progress{Done: 201, Conditions: after}})
	for v, want := range map[string]float64{"started": 150, "silent": 51, "unread": 0} {
		if got := testutil.ToFloat64(m.cycles.WithLabelValues("1", "as found", "2.4", v)); got != want {
			t.Errorf("%s cycles: %g, want %g", v, got, want)
		}
	}
}

func TestOnlyCurrentAndLastRunHaveSeries(t *testing.T) {
	m := newTestMetrics()
	for id := int64(1); id <= 4; id++ {
		feedRun(m, id)
		m.Observe(runner.Event{Kind: runner.RunEnded, Run: run(id, "done")})
	}
	page := scrape(t, m, "")
	for _, gone := range []string{`run="1"`, `run="2"`} {
		if strings.Contains(page, gone) {
			t.Errorf("series of %s are still there", gone)
		}
	}
	for _, kept := range []string{`ringup_run_state{run="3",state="done"} 1`, `ringup_run_state{run="4",state="done"} 1`, "ringup_run_active 0"} {
		if !strings.Contains(page, kept+"\n") {
			t.Errorf("scrape lacks %s", kept)
		}
	}
	if strings.Contains(page, "ringup_hold{") {
		t.Error("a hold outlives its run")
	}
}

// TestManyConditions has a script that never sets the same voltage twice.
func TestManyConditions(t *testing.T) {
	m := newTestMetrics()
	m.Observe(runner.Event{Kind: runner.RunStarted, Run: run(1, "running")})
	const cycles = mostConditions + 50
	var conditions []failrate.Condition
	for i := range cycles {
		volts := 2 + float64(i)/1000
		conditions = append(conditions, tallied(volts, map[string]int{"started": 1}))
		m.Observe(runner.Event{Kind: runner.CycleBegun, Cycle: started(1, i+1, volts)})
		m.Observe(runner.Event{Kind: runner.CycleDone, Cycle: started(1, i+1, volts), Progress: runner.Progress{Done: i + 1, Conditions: conditions}})
	}
	page := scrape(t, m, "")
	sum := 0
	for line := range strings.Lines(page) {
		if strings.HasPrefix(line, "ringup_cycles_total{") && strings.HasSuffix(line, " 1\n") {
			sum++
		}
	}
	if want := `ringup_cycles_total{run="1",treatment="other",verdict="started",volts="other"} 50`; sum != mostConditions || !strings.Contains(page, want+"\n") {
		t.Errorf("%d conditions have a series of their own, want %d, and %s", sum, mostConditions, want)
	}
	if strings.Contains(page, `ringup_failure_ratio{bound="low",run="1",treatment="other"`) {
		t.Error("the conditions beyond have a failure ratio together")
	}
	if want := `ringup_start_seconds_count{run="1",treatment="other",volts="other"} 50`; !strings.Contains(page, want+"\n") {
		t.Errorf("scrape lacks %s", want)
	}
}

// TestGoing: what an alert takes for a stall must neither begin before the run does nor outlast a hold.
func TestGoing(t *testing.T) {
	m := newTestMetrics()
	const name = "\nringup_run_going_since_timestamp_seconds "
	for _, step := range []struct {
		e    runner.Event
		want bool
	}{
		{runner.Event{Kind: runner.RunStarted, Run: run(1, "running")}, true},
		{runner.Event{Kind: runner.Held, Run: run(1, "held"), Reason: "by a person"}, false},
		{runner.Event{Kind: runner.Released, Run: run(1, "running")}, true},
		{runner.Event{Kind: runner.RunEnded, Run: run(1, "done")}, false},
	} {
		m.Observe(step.e)
		if got := strings.Contains(scrape(t, m, ""), name); got != step.want {
			t.Errorf("after %s: going %t, want %t", step.e.Kind, got, step.want)
		}
	}
}

func TestCycleNumberIsExemplar(t *testing.T) {
	m := newTestMetrics()
	feedRun(m, 1)
	page := scrape(t, m, "application/openmetrics-text; version=1.0.0")
	for _, want := range []string{
		`verdict="silent",volts="2.4"} 1.0 # {cycle="2"} 1.0`,
		`le="0.0125"} 1 # {cycle="1"} 0.0121`,
	} {
		if !strings.Contains(page, want) {
			t.Errorf("OpenMetrics scrape lacks %s", want)
		}
	}
}

func TestLabelsThatAreNotText(t *testing.T) {
	m := newTestMetrics()
	r := run(1, "running")
	r.Unit = "logger \xff"
	m.Observe(runner.Event{Kind: runner.RunStarted, Run: r})
	m.Observe(runner.Event{Kind: runner.Held, Run: r, Reason: strings.Repeat("é", 500)})
	page := scrape(t, m, "")
	if !strings.Contains(page, "unit=\"logger \uFFFD\"") {
		t.Error("a unit name that is not UTF-8 did not come through cleaned")
	}
	if want := `ringup_hold{reason="` + strings.Repeat("é", longestLabel-1) + `…"} 1`; !strings.Contains(page, want) {
		t.Error("a long reason was not cut to the label's length")
	}
}

func scrape(t *testing.T, m *Metrics, accept string) string {
	t.Helper()
	r := httptest.NewRequest(http.MethodGet, "/metrics", nil)
	if accept != "" {
		r.Header.Set("Accept", accept)
	}
	w := httptest.NewRecorder()
	m.ServeHTTP(w, r)
	if w.Code != http.StatusOK {
		t.Fatalf("scrape: status %d: %s", w.Code, w.Body)
	}
	return w.Body.String()
}
