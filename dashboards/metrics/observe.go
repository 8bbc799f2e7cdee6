package metrics

import (
	"math"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"ringup/runner"
	"ringup/runner/logbook"
)

// runStates are the states a run can be in, as the logbook names them.
var runStates = []string{"running", "held", "done", "failed", "stopped"}

// errorKinds are the ways an exchange with an instrument can fail; all are shown as 0 from the first exchange on,
// so that the first error is seen as an increase.
var errorKinds = []string{"timeout", "gone", "garbled", "refused"}

// Observe implements runner.Observer. It only sets numbers in memory.
func (m *Metrics) Observe(e runner.Event) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if !e.At.IsZero() {
		setTime(m.benchClock, e.At)
	}
	switch e.Kind {
	case runner.RunStarted:
		m.startRun(e.Run)
		m.setProgress(e, 0)
	case runner.Planned:
		m.setProgress(e, 0)
	case runner.CycleBegun:
		m.setTreatment(e.Cycle.Treatment)
		m.openCondition(e.Cycle)
	case runner.CycleDone:
		m.setTreatment(e.Cycle.Treatment)
		m.setProgress(e, e.Cycle.Number)
		m.addCycle(e.Cycle)
	case runner.Marked:
		m.marks.WithLabelValues().Inc()
	case runner.Held:
		m.setState(e.Run)
		m.hold.Reset()
		m.hold.WithLabelValues(clean(e.Reason)).Set(1)
		m.goingSince.Reset()
	case runner.Released:
		m.setState(e.Run)
		m.hold.Reset()
		setTime(m.goingSince, m.now())
	case runner.RunEnded:
		m.setProgress(e, 0)
		m.setState(e.Run)
		m.hold.Reset()
		m.runActive.WithLabelValues().Set(0)
		m.expectedEnd.Reset()
		m.cycleExpected.Reset()
		m.goingSince.Reset()
	case runner.SupplyRead:
		setBool(m.supplyOutput, e.Output)
		setBool(m.supplyConfirmedOff, e.ConfirmedOff)
		if e.Output { // switched off it is not measured, and the last reading stands
			setMeasured(m.supplyVolts, e.Volts)
			setMeasured(m.supplyAmperes, e.Amps)
		}
	case runner.Ambient:
		setMeasured(m.ambient, e.Celsius)
	case runner.Exchanged:
		m.addExchange(e)
	case runner.Committed:
		m.commitSeconds.WithLabelValues().Observe(e.CommitSeconds)
		m.logbookBytes.WithLabelValues().Set(float64(e.LogbookBytes))
	}
}

// startRun gives the run its series and takes them from the run before the last.
func (m *Metrics) startRun(run logbook.Run) {
	id := runLabel(run.ID)
	if len(m.runs) == 0 || m.runs[len(m.runs)-1] != id {
		m.runs = append(m.runs, id)
	}
	for len(m.runs) > 2 {
		m.forget(m.runs[0])
		m.runs = m.runs[1:]
	}
	m.runInfo.DeletePartialMatch(prometheus.Labels{"run": id})
	m.runInfo.WithLabelValues(id, clean(run.Script), clean(run.Unit), "").Set(1)
	m.infoOf = infoOf{script: clean(run.Script), unit: clean(run.Unit)}
	m.setState(run)
	m.hold.Reset()
	m.runActive.WithLabelValues().Set(1)
	setTime(m.goingSince, m.now())
	m.marks.WithLabelValues() // 0 until the first
}

// forget deletes all series of a run.
func (m *Metrics) forget(run string) {
	of := prometheus.Labels{"run": run}
	m.runInfo.DeletePartialMatch(of)
	m.runState.DeletePartialMatch(of)
	m.cycles.DeletePartialMatch(of)
	m.failureRatio.DeletePartialMatch(of)
	m.startSeconds.DeletePartialMatch(of)
	delete(m.shown, run)
	for s := range m.seen {
		if s.run == run {
			delete(m.seen, s)
		}
	}
}

func (m *Metrics) setState(run logbook.Run) {
	for _, state := range runStates {
		m.runState.WithLabelValues(runLabel(run.ID), state).Set(boolValue(run.State == state))
	}
}

// setTreatment shows what was last done to the unit in the current run's info.
func (m *Metrics) setTreatment(treatment string) {
	treatment = clean(treatment)
	if len(m.runs) == 0 || m.infoOf.treatment == treatment {
		return
	}
	id := m.runs[len(m.runs)-1]
	m.infoOf.treatment = treatment
	m.runInfo.DeletePartialMatch(prometheus.Labels{"run": id})
	m.runInfo.WithLabelValues(id, m.infoOf.script, m.infoOf.unit, treatment).Set(1)
}

// addCycle sets what the last cycle showed. The counts themselves come from the progress.
func (m *Metrics) addCycle(c logbook.Cycle) {
	setTime(m.lastCycle, m.now())
	setMeasured(m.clockHertz, c.FrequencyHertz)
	setMeasured(m.clockVolts, c.AmplitudeVolts)
	if isMeasured(c.StartSeconds) && !c.Censored {
		l := m.label(condition{runLabel(c.Run), clean(c.Treatment), voltsLabel(c.SetVolts)})
		h := m.startSeconds.WithLabelValues(l.run, l.treatment, l.volts)
		h.(prometheus.ExemplarObserver).ObserveWithExemplar(c.StartSeconds, cycleExemplar(c.Number))
	}
	for phase, seconds := range c.Phases {
		if isMeasured(seconds) {
			m.phaseSeconds.WithLabelValues(clean(phase)).Observe(seconds)
		}
	}
}

func (m *Metrics) addExchange(e runner.Event) {
	role := clean(e.Exchange.Role)
	if !m.roles[role] {
		m.roles[role] = true
		for _, kind := range errorKinds {
			m.instrumentErrors.WithLabelValues(role, kind)
		}
	}
	m.querySeconds.WithLabelValues(role).Observe(e.Exchange.Elapsed.Seconds())
	if e.Exchange.Kind != "" {
		m.instrumentErrors.WithLabelValues(role, clean(e.Exchange.Kind)).Inc()
	}
	// A refusal or a garbled reply is still an answer.
	unanswered := e.Exchange.Kind == "timeout" || e.Exchange.Kind == "gone"
	m.instrumentUp.WithLabelValues(role).Set(boolValue(!unanswered))
}

func cycleExemplar(number int) prometheus.Labels {
	return prometheus.Labels{"cycle": strconv.Itoa(number)}
}

func isMeasured(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// setMeasured sets a gauge without labels, or takes its series away if v was not measured.
func setMeasured(g *prometheus.GaugeVec, v float64) {
	if !isMeasured(v) {
		g.Reset()
		return
	}
	g.WithLabelValues().Set(v)
}

func setTime(g *prometheus.GaugeVec, t time.Time) {
	g.WithLabelValues().Set(float64(t.UnixNano()) / 1e9)
}

func setBool(g *prometheus.GaugeVec, v bool) { g.WithLabelValues().Set(boolValue(v)) }

func boolValue(v bool) float64 {
	if v {
		return 1
	}
	return 0
}
