package report

import (
	"fmt"
	"math"
	"slices"

	"ringup/dashboards/plot"
	"ringup/runner"
	"ringup/runner/failrate"
)

// startTimes is one condition's row in the table of start times.
type startTimes struct {
	runner.StartTimes
	Run     int64
	Slowest float64 // seconds; NaN if nothing started
	Allowed float64 // seconds; 0 if no limit is known
	Over    int     // starts after the allowed time; of those that are late, the ones whose end was seen

	seconds []float64 // of the cycles that started
}

// describeStarts gives the start times of a run, and of those compared with it whose treatments are not a hunt.
func describeStarts(f *findings, others []*findings, allowed float64) (rows []startTimes) {
	for _, run := range append([]*findings{f}, others...) {
		if run != f && run.analysis.Hunt != nil {
			continue // its short blocks stand in its own table
		}
		for _, described := range run.analysis.Starts {
			s := startTimes{StartTimes: described, Run: run.Run.ID, Slowest: math.NaN(), Allowed: allowed}
			for _, c := range run.counted {
				if c.Treatment != s.Treatment || math.Abs(c.Volts-s.Volts) > 1e-6 || math.IsNaN(c.StartSeconds) {
					continue
				}
				s.seconds = append(s.seconds, c.StartSeconds)
				if allowed > 0 && c.StartSeconds > allowed {
					s.Over++
				}
			}
			if len(s.seconds) > 0 {
				s.Slowest = slices.Max(s.seconds)
			}
			rows = append(rows, s)
		}
	}
	return rows
}

// someLeftOut is true if a condition of the run has too few cycles for a row.
func someLeftOut(f *findings, rows []startTimes) bool {
	described, conditions := 0, 0
	for _, s := range rows {
		if s.Run == f.Run.ID {
			described++
		}
	}
	for _, c := range f.Conditions {
		if c.Cycles > 0 {
			conditions++
		}
	}
	return described < conditions
}

// NoStart counts the cycles that took longer than their window, for all that is known.
func (s startTimes) NoStart() int { return s.Cycles - s.Started }

// Half and Ninety are the times within which those shares of all cycles have started.
func (s startTimes) Half() runner.StartWithin   { return s.within(0.5) }
func (s startTimes) Ninety() runner.StartWithin { return s.within(0.9) }

func (s startTimes) within(share float64) runner.StartWithin {
	for _, w := range s.Within {
		if w.Share == share {
			return w
		}
	}
	return runner.StartWithin{Share: share}
}

// Used says how much of the allowed time the slowest start took.
func (s startTimes) Used() string {
	if math.IsNaN(s.Slowest) {
		return "–"
	}
	text := fmt.Sprintf("%.1f %%", 100*s.Slowest/s.Allowed)
	if s.Over > 0 {
		text += fmt.Sprintf(", %s over", failrate.Count(s.Over))
	}
	return text
}

// limits words the limits of such a time, "" where it has none.
func limits(w runner.StartWithin) string {
	switch {
	case w.Seconds == nil || w.Low == nil:
		return ""
	case w.High == nil:
		return milliseconds(*w.Low) + " or more"
	}
	return threeDigits(1e3**w.Low) + " to " + milliseconds(*w.High)
}

// reached words such a time; the window may be too short for it.
func reached(w runner.StartWithin) string {
	if w.Seconds == nil || w.Low == nil {
		return "not reached"
	}
	return milliseconds(*w.Seconds)
}

// slowest says how near to the allowed time the slowest start of the run came, where all came in time.
func slowest(f *findings, rows []startTimes) string {
	var worst *startTimes
	for i, s := range rows {
		switch {
		case s.Run != f.Run.ID || math.IsNaN(s.Slowest):
			continue
		case s.Over > 0 || s.Allowed == 0:
			return ""
		case worst == nil || s.Slowest > worst.Slowest:
			worst = &rows[i]
		}
	}
	if worst == nil {
		return ""
	}
	return fmt.Sprintf("The slowest start took %s, at %s: %.1f %% of the %s that are allowed.", milliseconds(worst.Slowest), volts(worst.Volts),
		100*worst.Slowest/worst.Allowed, seconds(worst.Allowed))
}

func startChart(rows []startTimes) plot.StartTimes {
	chart := plot.StartTimes{Title: "Start times by condition", Width: chartWidth}
	several := slices.ContainsFunc(rows, func(s startTimes) bool { return s.Treatment != rows[0].Treatment })
	for _, s := range rows {
		chart.AllowedSeconds = s.Allowed
		row := plot.StartRow{Label: rowLabel(s.Treatment, s.Volts, several), Seconds: s.seconds, NoStart: s.NoStart(), MedianSeconds: math.NaN()}
		if half := s.Half(); half.Seconds != nil {
			row.MedianSeconds = *half.Seconds
		}
		chart.Rows = append(chart.Rows, row)
	}
	return chart
}
