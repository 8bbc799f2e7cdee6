// Package metrics turns a run's events into Prometheus metrics.
//
// It holds numbers only and never talks to an instrument: the measuring goroutine hands over each event, and a
// scrape reads what was last handed over. Names start with ringup_, units are base units, and a quantity that was
// not measured has no series at all, so that a missing thermometer never reads as zero degrees. Labels stay bounded
// because only the current run and the one before it keep their series, and only the first conditions of a run have
// series of their own.
//
// Counts come from the logbook's own totals, which every event carries, so they are right after a restart in the
// middle of a run. Histograms count from the start of this process.
package metrics

import (
	"net/http"
	"runtime"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"ringup/runner"
)

// Metrics is a runner.Observer and the handler of /metrics. It is safe for concurrent use.
type Metrics struct {
	registry *prometheus.Registry
	handler  http.Handler
	now      func() time.Time // wall clock, replaced in tests

	mu     sync.Mutex                    // guards what follows: the memory between one event and the next
	runs   []string                      // runs that have series, the current one last
	seen   map[series]int                // cycles counted so far
	shown  map[string]map[condition]bool // conditions that have series of their own, by run
	roles  map[string]bool               // instruments heard of
	infoOf infoOf

	vectors
}

var (
	_ runner.Observer = (*Metrics)(nil)
	_ http.Handler    = (*Metrics)(nil)
)

// New returns Metrics with a registry of their own; buildVersion is shown in ringup_build_info.
func New(buildVersion string) *Metrics {
	m := &Metrics{
		registry: prometheus.NewRegistry(),
		now:      time.Now,
		seen:     map[series]int{},
		shown:    map[string]map[condition]bool{},
		roles:    map[string]bool{},
		vectors:  newVectors(),
	}
	m.registry.MustRegister(m.vectors.all()...)
	m.registry.MustRegister(
		collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
	)
	m.handler = promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{
		EnableOpenMetrics: true, // the format that carries the cycle numbers (exemplars)
		Registry:          m.registry,
	})
	m.buildInfo.WithLabelValues(clean(buildVersion), runtime.Version()).Set(1)
	m.runActive.WithLabelValues().Set(0)
	return m
}

// ServeHTTP answers a scrape.
func (m *Metrics) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	m.handler.ServeHTTP(w, r)
}
