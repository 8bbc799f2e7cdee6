package metrics

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// vectors are all metrics of ringup's own. Even those without labels are vectors, since a vector can have no series:
// that is how "not measured" looks.
type vectors struct {
	buildInfo, runInfo, runState, runActive             *prometheus.GaugeVec
	cyclesPlanned, expectedEnd, benchClock, lastCycle   *prometheus.GaugeVec
	goingSince, cycleExpected                           *prometheus.GaugeVec
	hold, failureRatio, clockHertz, clockVolts, ambient *prometheus.GaugeVec
	supplyVolts, supplyAmperes                          *prometheus.GaugeVec
	supplyOutput, supplyConfirmedOff                    *prometheus.GaugeVec
	instrumentUp, logbookBytes                          *prometheus.GaugeVec

	cycles, marks, instrumentErrors *prometheus.CounterVec

	startSeconds, phaseSeconds, querySeconds, commitSeconds *prometheus.HistogramVec
}

// Bucket bounds in seconds, wide enough to bracket what each histogram meets. Native buckets stand beside them for
// scrapers that take those.
var (
	startBuckets  = []float64{.002, .003, .004, .005, .0065, .008, .01, .0125, .016, .02, .025, .0325, .04, .05, .065, .08, .1, .15, .25, .5, 1}
	phaseBuckets  = []float64{.001, .003, .01, .03, .1, .3, 1, 3, 10, 30, 100, 300, 1000, 3600}
	queryBuckets  = []float64{.00005, .0001, .00025, .0005, .001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5}
	commitBuckets = []float64{.0001, .00025, .0005, .001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5}
)

func newVectors() vectors {
	return vectors{
		buildInfo: gauge("ringup_build_info", "Version of ringup and of Go it was built with; always 1.", "version", "go_version"),
		runInfo:   gauge("ringup_run_info", "The run's script and unit and what was last done to the unit; always 1.", "run", "script", "unit", "treatment"),
		runState:  gauge("ringup_run_state", "1 for the state the run is in, 0 for the others.", "run", "state"),
		runActive: gauge("ringup_run_active", "1 while a run is running or held, else 0."),

		cyclesPlanned: gauge("ringup_cycles_planned", "Cycles the run's script has announced so far."),
		expectedEnd:   gauge("ringup_run_expected_end_timestamp_seconds", "When the run should end, by the bench's clock."),
		benchClock:    gauge("ringup_bench_clock_timestamp_seconds", "The bench's clock at the last event; it differs from the wall clock on a simulated bench only."),
		lastCycle:     gauge("ringup_last_cycle_timestamp_seconds", "Wall-clock time at which the last cycle was in the logbook."),

		goingSince:    gauge("ringup_run_going_since_timestamp_seconds", "Wall-clock time at which the run last began or was let go on; absent while none is on or it is held."),
		cycleExpected: gauge("ringup_cycle_expected_seconds", "Time from one cycle to the next that the rest of the run is expected to take, by the bench's clock."),

		hold:         gauge("ringup_hold", "1 while the run waits, supply off, for the reason named.", "reason"),
		failureRatio: gauge("ringup_failure_ratio", "Failed share of the counted cycles, and the limits of its exact confidence interval.", "run", "treatment", "volts", "bound"),
		clockHertz:   gauge("ringup_clock_hertz", "Clock frequency in the last cycle."),
		clockVolts:   gauge("ringup_clock_volts", "Clock amplitude, half of peak to peak, in the last cycle."),
		ambient:      gauge("ringup_ambient_celsius", "Air temperature at the unit."),

		supplyVolts:        gauge("ringup_supply_volts", "Voltage the supply last measured while its output was on."),
		supplyAmperes:      gauge("ringup_supply_amperes", "Current the supply last measured while its output was on."),
		supplyOutput:       gauge("ringup_supply_output", "1 while the supply's output is on."),
		supplyConfirmedOff: gauge("ringup_supply_confirmed_off", "1 if the supply's output was read back as off and not switched on since."),

		instrumentUp: gauge("ringup_instrument_up", "1 if the instrument answered the last command or query.", "role"),
		logbookBytes: gauge("ringup_logbook_bytes", "Size of the logbook on disk."),

		cycles:           counter("ringup_cycles_total", "Cycles in the logbook by what they showed.", "run", "treatment", "volts", "verdict"),
		marks:            counter("ringup_marks_total", "Marks put into the logbook."),
		instrumentErrors: counter("ringup_instrument_errors_total", "Commands and queries that an instrument did not answer as it should.", "role", "kind"),

		startSeconds:  histogram("ringup_start_seconds", "Rail threshold to 90 % of steady clock amplitude, of the cycles in which the clock started.", startBuckets, "run", "treatment", "volts"),
		phaseSeconds:  histogram("ringup_cycle_phase_seconds", "Time each phase of a cycle took, by the bench's clock.", phaseBuckets, "phase"),
		querySeconds:  histogram("ringup_instrument_query_seconds", "Time one command or query took on the wire.", queryBuckets, "role"),
		commitSeconds: histogram("ringup_logbook_commit_seconds", "Time one logbook commit took.", commitBuckets),
	}
}

func (v vectors) all() []prometheus.Collector {
	return []prometheus.Collector{
		v.buildInfo, v.runInfo, v.runState, v.runActive, v.cyclesPlanned, v.expectedEnd, v.benchClock, v.lastCycle, v.goingSince, v.cycleExpected,
		v.hold, v.failureRatio, v.clockHertz, v.clockVolts, v.ambient, v.supplyVolts, v.supplyAmperes, v.supplyOutput,
		v.supplyConfirmedOff, v.instrumentUp, v.logbookBytes, v.cycles, v.marks, v.instrumentErrors, v.startSeconds,
		v.phaseSeconds, v.querySeconds, v.commitSeconds,
	}
}

func gauge(name, help string, labels ...string) *prometheus.GaugeVec {
	return prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: name, Help: help}, labels)
}

func counter(name, help string, labels ...string) *prometheus.CounterVec {
	return prometheus.NewCounterVec(prometheus.CounterOpts{Name: name, Help: help}, labels)
}

// histogram has classic and native buckets. The native ones are limited in number and widened at most once an hour,
// since they would otherwise grow with every outlier of a night.
func histogram(name, help string, buckets []float64, labels ...string) *prometheus.HistogramVec {
	return prometheus.NewHistogramVec(prometheus.HistogramOpts{
		Name: name, Help: help, Buckets: buckets,
		NativeHistogramBucketFactor:     1.1,
		NativeHistogramMaxBucketNumber:  160,
		NativeHistogramMinResetDuration: time.Hour,
	}, labels)
}
