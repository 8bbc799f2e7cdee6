package metrics

import (
	"github.com/prometheus/client_golang/prometheus"

	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

// series names one counter of ringup_cycles_total.
type series struct{ run, treatment, volts, verdict string }

// infoOf is what ringup_run_info says of the current run besides its number.
type infoOf struct{ script, unit, treatment string }

// openCondition shows a condition's verdicts as 0 before its first cycle ends. Without that a rate over the first
// failure would be missed, since a counter that appears as 1 has not increased.
func (m *Metrics) openCondition(c logbook.Cycle) {
	m.openCounters(runLabel(c.Run), clean(c.Treatment), voltsLabel(c.SetVolts))
}

func (m *Metrics) openCounters(run, treatment, volts string) {
	for _, v := range verdict.Verdicts {
		m.cycles.WithLabelValues(run, treatment, volts, string(v))
	}
}

// setProgress brings counters and failure ratios to the logbook's totals. The cycle number, if not 0, is the one that
// brought the increase and goes along as its exemplar.
func (m *Metrics) setProgress(p runner.Progress, cycle int) {
	m.cyclesPlanned.WithLabelValues().Set(float64(p.Planned))
	if p.ExpectedEnd.IsZero() {
		m.expectedEnd.Reset()
	} else {
		setTime(m.expectedEnd, p.ExpectedEnd)
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
	treatment, volts := clean(c.Treatment), voltsLabel(c.Volts)
	m.openCounters(run, treatment, volts)
	for v, n := range c.Verdicts {
		s := series{run, treatment, volts, clean(v)}
		increase := n - m.seen[s]
		if increase <= 0 {
			continue
		}
		m.seen[s] = n
		counter := m.cycles.WithLabelValues(s.run, s.treatment, s.volts, s.verdict)
		if cycle != 0 {
			counter.(prometheus.ExemplarAdder).AddWithExemplar(float64(increase), cycleExemplar(cycle))
		} else {
			counter.Add(float64(increase))
		}
	}
	for bound, value := range map[string]float64{"low": c.Low, "estimate": c.Estimate, "high": c.High} {
		if isMeasured(value) {
			m.failureRatio.WithLabelValues(run, treatment, volts, bound).Set(value)
		}
	}
}
