package main

import (
	"strings"

	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

// The label matchers of the chosen bench, and of the chosen run on it.
const (
	onBench     = `{instance=~"$bench"}`
	ofRun       = `{instance=~"$bench", run=~"$run"}`
	ofTreatment = `{instance=~"$bench", run=~"$run", treatment=~"$treatment"}`
)

func headline() []panel {
	return []panel{
		number("State", "What the run is doing. Held: it waits, supply off, for a person or an instrument.", count,
			func(b *stat.PanelBuilder) { b.TextMode(common.BigValueTextModeName) },
			target{`ringup_run_state{instance=~"$bench", run=~"$run"} == 1`, "{{state}}"}),
		number("Failed", "Failed share of all counted cycles of the run, all voltages and treatments together.", ratio,
			func(b *stat.PanelBuilder) { b.Decimals(1) },
			target{`sum(run_treatment_volts:ringup_cycles_failed:sum` + ofRun + `) / sum(run_treatment_volts:ringup_cycles_counted:sum` + ofRun + `)`, "failed"}),
		number("Cycles", "Cycles in the logbook, and how many the script has announced.", count, nil,
			target{`sum(ringup_cycles_total` + ofRun + `)`, "done"},
			target{`ringup_cycles_planned` + onBench, "planned"}),
		number("Expected end", "By the bench's clock.", moment, nil,
			target{`last_over_time(ringup_run_expected_end_timestamp_seconds` + onBench + `[$__range]) * 1000`, "expected end"}),
		number("Last cycle ago", "Grows while nothing is measured: a hold, a stall, or a run that has ended.", seconds,
			func(b *stat.PanelBuilder) {
				b.Decimals(0).Thresholds(steps(dashboard.Threshold{Color: "text"}, above(1800, "orange")))
			},
			target{`time() - ringup_last_cycle_timestamp_seconds` + onBench, "last cycle"}),
		number("Supply output", "Read back from the supply. Off counts only once the supply has said so.", count,
			func(b *stat.PanelBuilder) {
				b.Mappings(words(map[string]string{"0": "not confirmed off", "1": "on", "2": "off, confirmed"}))
				b.Thresholds(steps(dashboard.Threshold{Color: "red"}, above(1, "text")))
			},
			target{`clamp_max(ringup_supply_output` + onBench + ` + 2 * ringup_supply_confirmed_off` + onBench + `, 2)`, "supply"}),
	}
}

func failure() []panel {
	return []panel{
		graph(12, "Failure ratio by volts", "Estimate from all cycles of the run so far, treatments apart.", ratio,
			func(b *timeseries.PanelBuilder) { b.Min(0).AxisSoftMax(0.1) },
			target{`ringup_failure_ratio{instance=~"$bench", run=~"$run", bound="estimate"}`, "{{volts}} V, {{treatment}}"}),
		graph(12, "Failure ratio in the last hour", "The same over the last hour only, so that drift through the night shows.", ratio,
			func(b *timeseries.PanelBuilder) { b.Min(0).AxisSoftMax(0.1) },
			target{`run_treatment_volts:ringup_failure_ratio:rate1h` + ofRun, "{{volts}} V, {{treatment}}"}),
		interval(),
		graph(24, "Cycles per hour by verdict", "Unpowered and unread are faults of bench or instrument and count neither way.", count,
			func(b *timeseries.PanelBuilder) {
				colored(b).Min(0).AxisLabel("cycles per hour").FillOpacity(40).LineWidth(0).
					Stacking(common.NewStackingConfigBuilder().Mode(common.StackingModeNormal).Group("A"))
			},
			target{`3600 * sum by (verdict) (rate(ringup_cycles_total` + ofRun + `[$__rate_interval]))`, "{{verdict}}"}),
	}
}

// verdictColors keep a verdict's colour the same whichever of them a run has: green for a start, warm for failures, grey
// for what does not count.
var verdictColors = []struct{ verdict, color string }{
	{"started", "green"}, {"late", "yellow"}, {"silent", "red"}, {"weak", "orange"}, {"off-frequency", "purple"},
	{"dropped-out", "dark-red"}, {"unpowered", "#808080"}, {"unread", "#b0b0b0"},
}

func colored(b *timeseries.PanelBuilder) *timeseries.PanelBuilder {
	for _, c := range verdictColors {
		b.OverrideByName(c.verdict, []dashboard.DynamicConfigValue{{Id: "color", Value: map[string]string{"mode": "fixed", "fixedColor": c.color}}})
	}
	return b
}

// quantile is a histogram's, of native buckets where Prometheus has those, else of the classic ones.
func quantile(q, histogram, by string) string {
	sum := func(selected, labels string) string {
		return `histogram_quantile(` + q + `, sum by (` + labels + `) (rate(` + selected + onBench + `[$__rate_interval])))`
	}
	return sum(histogram, by) + ` or ` + sum(histogram+"_bucket", strings.TrimPrefix(by+", le", ", "))
}

// interval is one panel per voltage: the estimate inside its confidence band, for the chosen treatment.
func interval() panel {
	return graph(24, "$volts V: how sure", "Estimate and exact confidence interval. Zero failures so far still leave an upper limit.", ratio,
		func(b *timeseries.PanelBuilder) {
			hidden := dashboard.DynamicConfigValue{Id: "custom.lineWidth", Value: 0}
			b.Min(0).AxisSoftMax(0.1).Repeat("volts").RepeatDirection(dashboard.PanelRepeatDirectionH).MaxPerRow(6).
				OverrideByName("upper limit", []dashboard.DynamicConfigValue{hidden,
					{Id: "custom.fillBelowTo", Value: "lower limit"}, {Id: "custom.fillOpacity", Value: 25}}).
				OverrideByName("lower limit", []dashboard.DynamicConfigValue{hidden})
		},
		target{bound("low"), "lower limit"}, target{bound("estimate"), "estimate"}, target{bound("high"), "upper limit"})
}

func bound(of string) string {
	return `ringup_failure_ratio{instance=~"$bench", run=~"$run", treatment=~"$treatment", volts=~"$volts", bound="` + of + `"}`
}

func clock() []panel {
	return []panel{
		graph(12, "Start time by volts, median", "Rail threshold to 90 % of steady amplitude, over the last hour, of cycles that started. Moves long before failures do.", seconds,
			func(b *timeseries.PanelBuilder) { b.Min(0) },
			target{`run_treatment_volts:ringup_start_seconds:p50_1h` + ofTreatment, "{{volts}} V"}),
		graph(12, "Start time by volts, 95th percentile", "The slow tail of the same. Cycles that never started are not in it.", seconds,
			func(b *timeseries.PanelBuilder) { b.Min(0) },
			target{`run_treatment_volts:ringup_start_seconds:p95_1h` + ofTreatment, "{{volts}} V"}),
		graph(12, "Clock frequency", "Last cycle. A gap is a cycle without a steady clock.", hertz,
			func(b *timeseries.PanelBuilder) { b.Decimals(6) },
			target{`ringup_clock_hertz` + onBench, "frequency"}),
		graph(12, "Clock amplitude", "Last cycle, half of peak to peak.", volts,
			func(b *timeseries.PanelBuilder) { b.Min(0) },
			target{`ringup_clock_volts` + onBench, "amplitude"}),
	}
}

func bench() []panel {
	onRight := []dashboard.DynamicConfigValue{{Id: "unit", Value: amperes}, {Id: "custom.axisPlacement", Value: "right"}}
	return []panel{
		graph(6, "Ambient", "Air temperature at the unit, where a thermometer is fitted.", celsius, nil,
			target{`ringup_ambient_celsius` + onBench, "ambient"}),
		graph(6, "Supply", "As the supply reads itself back.", volts,
			func(b *timeseries.PanelBuilder) { b.Min(0).OverrideByName("amperes", onRight) },
			target{`ringup_supply_volts` + onBench, "volts"},
			target{`ringup_supply_amperes` + onBench, "amperes"}),
		graph(6, "Time of a cycle", "What a cycle's time goes into, by the bench's clock: rest and watch are as the script asks, the others are the bench's own.", seconds,
			func(b *timeseries.PanelBuilder) {
				b.Min(0).FillOpacity(40).LineWidth(0).
					Stacking(common.NewStackingConfigBuilder().Mode(common.StackingModeNormal).Group("A"))
			},
			target{perCycle, "{{phase}}"}),
		graph(6, "Active and held", "1 while a run is active; 1 while it is held.", count,
			func(b *timeseries.PanelBuilder) {
				b.Min(0).Max(1).Decimals(0).FillOpacity(15).LineInterpolation(common.LineInterpolationStepAfter)
			},
			target{`ringup_run_active` + onBench, "active"},
			target{`sum(ringup_run_state{instance=~"$bench", run=~"$run", state="held"})`, "held"}),
	}
}

// perCycle is the mean of each phase, of native buckets or of classic ones.
const perCycle = `sum by (phase) (histogram_sum(rate(ringup_cycle_phase_seconds` + onBench + `[$__rate_interval]))) / sum by (phase) (histogram_count(rate(ringup_cycle_phase_seconds` + onBench + `[$__rate_interval])))` +
	` or sum by (phase) (rate(ringup_cycle_phase_seconds_sum` + onBench + `[$__rate_interval])) / sum by (phase) (rate(ringup_cycle_phase_seconds_count` + onBench + `[$__rate_interval]))`

func instruments() []panel {
	return []panel{
		graph(6, "Instrument answers", "1 if the instrument answered the last command or query.", count,
			func(b *timeseries.PanelBuilder) {
				b.Min(0).Max(1).Decimals(0).LineInterpolation(common.LineInterpolationStepAfter)
			},
			target{`ringup_instrument_up` + onBench, "{{role}}"}),
		graph(6, "Instrument errors", "Commands and queries that went wrong, by kind.", count,
			func(b *timeseries.PanelBuilder) { b.Min(0) },
			target{`sum by (role, kind) (increase(ringup_instrument_errors_total` + onBench + `[$__rate_interval]))`, "{{role}} {{kind}}"}),
		graph(6, "Query time, 99th percentile", "One command or query on the wire.", seconds,
			func(b *timeseries.PanelBuilder) { b.Min(0) },
			target{quantile("0.99", "ringup_instrument_query_seconds", "role"), "{{role}}"}),
		graph(6, "Logbook commit, 99th percentile", "Time until a cycle is safely on disk; size of the logbook on the right.", seconds,
			func(b *timeseries.PanelBuilder) {
				b.Min(0).OverrideByName("size", []dashboard.DynamicConfigValue{{Id: "unit", Value: octets}, {Id: "custom.axisPlacement", Value: "right"}})
			},
			target{quantile("0.99", "ringup_logbook_commit_seconds", ""), "commit"},
			target{`ringup_logbook_bytes` + onBench, "size"}),
	}
}
