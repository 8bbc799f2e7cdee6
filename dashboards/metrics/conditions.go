package metrics

import (
	"github.com/prometheus/client_golang/prometheus"

	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

// condition is a condition of a run as labels.
type condition struct{ run, treatment, volts string }

// series is one verdict of a condition. It names the condition itself, also where that has no series of its own.
type series struct {
	condition
	verdict string
}

// mostConditions bounds the conditions of one run with series of their own, which each need about 40. A script that
// draws its voltages or names a treatment for each cycle would otherwise fill the memory of ringup and of Prometheus.
const mostConditions = 200

// other is treatment and volts of all conditions beyond.
const other = "other"

// infoOf is what ringup_run_info says of the current run besides its number.
type infoOf struct{ script, unit, treatment string }

// label is what a condition's series are called.
func (m *Metrics) label(c condition) condition {
	shown := m.shown[c.run]
	switch {
	case shown[c]:
		return c
	case len(shown) >= mostConditions:
		return condition{c.run, other, other}
	case shown == nil:
		shown = map[condition]bool{}
		m.shown[c.run] = shown
	}
	shown[c] = true
	return c
}

// openCondition shows a condition's verdicts as 0 before its first cycle ends. Without that a rate over the first
// failure would be missed, since a counter that appears as 1 has not increased.
func (m *Metrics) openCondition(c logbook.Cycle) {
	m.openCounters(m.label(condition{runLabel(c.Run), clean(c.Treatment), voltsLabel(c.SetVolts)}))
}

func (m *Metrics) openCounters(c condition) {
	for _, v := range verdict.Verdicts {
		m.cycles.WithLabelValues(c.run, c.treatment, c.volts, string(v))
	}
}

// setProgress brings counters and failure ratios to the logbook's totals. The cycle number, if not 0, is the one that
// brought the increase and goes along as its exemplar.
func (m *Metrics) setProgress(e runner.Event, cycle int) {
	p := e.Progress
	m.cyclesPlanned.WithLabelValues().Set(float64(p.Planned))
	m.expectedEnd.Reset()
	m.cycleExpected.Reset()
	if !p.ExpectedEnd.IsZero() {
		setTime(m.expectedEnd, p.ExpectedEnd)
		if left := p.Planned - p.Done; left > 0 {
			m.cycleExpected.WithLabelValues().Set(p.ExpectedEnd.Sub(e.At).Seconds() / float64(left))
		}
	}
	if len(m.runs) == 0 {
		return // no run has begun, so there is none to count for
	}
	run := m.runs[len(m.runs)-1]
	for _, c := range p.Conditions {
		m.setCondition(run, c, cycle)
	}
}

func (m *Metrics) setCondition(run string, c failrate.Condition, cycle int) {
	of := condition{run, clean(c.Treatment), voltsLabel(c.Volts)}
	as := m.label(of)
	m.openCounters(as)
	for v, n := range c.Verdicts {
		s := series{of, clean(v)}
		increase := n - m.seen[s]
		if increase <= 0 {
			continue
		}
		m.seen[s] = n
		counter := m.cycles.WithLabelValues(as.run, as.treatment, as.volts, s.verdict)
		if cycle != 0 {
			counter.(prometheus.ExemplarAdder).AddWithExemplar(float64(increase), cycleExemplar(cycle))
		} else {
			counter.Add(float64(increase))
		}
	}
	if as != of {
		return // several conditions together have no ratio
	}
	for bound, value := range map[string]float64{"low": c.Low, "estimate": c.Estimate, "high": c.High} {
		if isMeasured(value) {
			m.failureRatio.WithLabelValues(as.run, as.treatment, as.volts, bound).Set(value)
		}
	}
}
