package prometheus_test

import (
	"math"
	"net/http"
	"net/http/httptest"
	"slices"
	"sync"
	"testing"
	"time"

	"ringup/dashboards/metrics"
	"ringup/dashboards/prometheus/promcheck"
	"ringup/drivers"
	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

const board = "../grafana/boards/soak-tonight.json"

// TestEveryQueryHasAnAnswer asks a real Prometheus every query of board and rules while a made-up run goes on.
func TestEveryQueryHasAnAnswer(t *testing.T) {
	t.Parallel()
	night := newMadeUpNight()
	server := httptest.NewServer(night)
	t.Cleanup(server.Close)
	p := promcheck.Start(t, server.URL+"/metrics", "rules.yml", "alerts.yml")
	p.WaitScraped(t, 3)
	for _, read := range []func() ([]promcheck.Query, error){
		func() ([]promcheck.Query, error) { return promcheck.RuleQueries("rules.yml") },
		func() ([]promcheck.Query, error) { return promcheck.RuleQueries("alerts.yml") },
		func() ([]promcheck.Query, error) { return promcheck.BoardQueries(board) },
	} {
		queries, err := read()
		if err != nil {
			t.Fatal(err)
		}
		p.CheckAll(t, queries)
	}
	night.stop()
	scrapes := p.Query(t, `sum_over_time(up[1h])`)[0].Value
	p.WaitScraped(t, int(scrapes)+2) // one may have been under way when the night stopped
	got := p.Query(t, `sum(ringup_cycles_total)`)
	if len(got) != 1 || got[0].Value != float64(night.cycles) {
		t.Errorf("prometheus counts %v cycles, the run made %d", got, night.cycles)
	}
}

// TestNativeHistograms has a Prometheus that takes native histograms instead of classic buckets: start times are finer
// there, and rules and board must not go blank.
func TestNativeHistograms(t *testing.T) {
	t.Parallel()
	night := newMadeUpNight()
	server := httptest.NewServer(night)
	t.Cleanup(server.Close)
	p := promcheck.StartNative(t, server.URL+"/metrics", "rules.yml")
	p.WaitScraped(t, 3)
	for _, read := range []func() ([]promcheck.Query, error){
		func() ([]promcheck.Query, error) { return promcheck.RuleQueries("rules.yml") },
		func() ([]promcheck.Query, error) { return promcheck.BoardQueries(board) },
	} {
		queries, err := read()
		if err != nil {
			t.Fatal(err)
		}
		p.CheckAll(t, queries)
	}
	if classic := p.Query(t, `ringup_start_seconds_bucket`); len(classic) != 0 {
		t.Errorf("this Prometheus keeps %d classic buckets; has the test lost its subject?", len(classic))
	}
	night.stop()
	// All starts at 2.4 V take 12.5 ms. Native buckets are at most 10 % apart; the classic ones around it are 10 and 12.5 ms.
	median := p.Query(t, `histogram_quantile(0.5, sum by (volts) (ringup_start_seconds{volts="2.4"}))`)
	if len(median) != 1 || math.Abs(median[0].Value/0.0125-1) > 0.1 {
		t.Errorf("the native median is %v, want 12.5 ms within a bucket", median)
	}
	started := p.Query(t, `histogram_count(ringup_start_seconds{volts="2.4"}) == on (volts) ringup_cycles_total{volts="2.4", verdict="started"}`)
	if len(started) != 1 {
		t.Error("the native histogram does not count the starts at 2.4 V")
	}
}

func TestSelectors(t *testing.T) {
	got := promcheck.Selectors(`sum by (run) (rate(ringup_a_total{x="1"}[5m])) / run_volts:ringup_b:sum unless up{job="ringup"} == 0`)
	if want := []string{`ringup_a_total{x="1"}`, `run_volts:ringup_b:sum`, `up{job="ringup"}`}; !slices.Equal(got, want) {
		t.Errorf("selectors are %q, want %q", got, want)
	}
}

// madeUpNight is a metrics page whose run goes on by one cycle at each scrape, so that time passes for the page
// exactly as fast as somebody looks.
type madeUpNight struct {
	page *metrics.Metrics

	mu      sync.Mutex
	cycles  int
	scrapes int
	stopped bool
	tally   map[float64]map[string]int
}

func newMadeUpNight() *madeUpNight {
	n := &madeUpNight{page: metrics.New("test"), tally: map[float64]map[string]int{}}
	n.observe(runner.Event{Kind: runner.RunStarted, Run: logbook.Run{ID: 1, Script: "soak.lua", Unit: "river-level logger 0231", State: "running"}})
	return n
}

// madeUpHolds are the reasons for which the run is held during the first scrapes.
var madeUpHolds = []string{"asks: fit 27 pF at C7", "lost link: the scope does not answer"}

func (n *madeUpNight) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.scrapes < len(madeUpHolds) {
		n.observe(runner.Event{Kind: runner.Held, Run: logbook.Run{ID: 1, State: "held"}, Reason: madeUpHolds[n.scrapes]})
	}
	if !n.stopped {
		n.cycle()
	}
	n.page.ServeHTTP(w, r)
	if n.scrapes++; n.scrapes == len(madeUpHolds) {
		n.observe(runner.Event{Kind: runner.Released, Run: logbook.Run{ID: 1, State: "running"}})
	}
}

func (n *madeUpNight) stop() {
	n.mu.Lock()
	n.stopped = true
	n.mu.Unlock()
}

func (n *madeUpNight) observe(e runner.Event) {
	e.At = time.Now()
	n.page.Observe(e)
}

// cycle makes one cycle at each of two voltages; every third start at the lower one fails.
func (n *madeUpNight) cycle() {
	for _, volts := range []float64{3.6, 2.4} {
		n.cycles++
		c := logbook.Cycle{Run: 1, Number: n.cycles, Treatment: "as found", SetVolts: volts, Phases: map[string]float64{"rest": 3},
			Judgement: verdict.Judgement{Verdict: verdict.Started, StartSeconds: 0.03 / volts, FrequencyHertz: 7.3728e6, AmplitudeVolts: volts / 2}}
		n.observe(runner.Event{Kind: runner.CycleBegun, Cycle: c})
		for _, role := range []string{"supply", "scope", "thermometer"} {
			n.observe(runner.Event{Kind: runner.Exchanged, Exchange: drivers.Exchange{Role: role, Elapsed: 200 * time.Microsecond}})
		}
		n.observe(runner.Event{Kind: runner.SupplyRead, Output: true, Volts: volts, Amps: 0.004})
		n.observe(runner.Event{Kind: runner.SupplyRead, ConfirmedOff: true})
		n.observe(runner.Event{Kind: runner.Ambient, Celsius: 4})
		if volts == 2.4 && n.cycles%3 == 0 {
			c.Judgement = verdict.Judgement{Verdict: verdict.Silent, Censored: true, StartSeconds: math.NaN(), FrequencyHertz: 7.3728e6, AmplitudeVolts: 0.01}
		}
		n.count(volts, string(c.Verdict))
		n.observe(runner.Event{Kind: runner.Committed, CommitSeconds: 0.0005, LogbookBytes: int64(4096 * n.cycles)})
		n.observe(runner.Event{Kind: runner.CycleDone, Cycle: c, Progress: runner.Progress{
			Done: n.cycles, Planned: 1000, ExpectedEnd: time.Now().Add(time.Hour), Conditions: n.conditions()}})
	}
}

func (n *madeUpNight) count(volts float64, v string) {
	if n.tally[volts] == nil {
		n.tally[volts] = map[string]int{}
	}
	n.tally[volts][v]++
}

func (n *madeUpNight) conditions() []failrate.Condition {
	var conditions []failrate.Condition
	for volts, verdicts := range n.tally {
		cycles := verdicts["started"] + verdicts["silent"]
		estimate := float64(verdicts["silent"]) / float64(cycles)
		conditions = append(conditions, failrate.Condition{Volts: volts, Treatment: "as found", Cycles: cycles, Failures: verdicts["silent"],
			Verdicts: verdicts, Estimate: estimate, Low: estimate / 2, High: (1 + estimate) / 2, Confidence: 0.95})
	}
	return conditions
}
