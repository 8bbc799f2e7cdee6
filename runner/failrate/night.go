package failrate

import (
	"fmt"
	"math"
	"strings"
)

// Night is what the order of the cycles of one condition says: whether the
// failure rate drifted, changed, or came in clusters, and the rate with an
// interval that allows for it.
type Night struct {
	Counts  Counts
	Widened WidenedRate

	// Judged is false when nothing or everything failed, or with fewer than 20
	// cycles: then order says nothing and the rest is empty.
	Judged        bool
	Runs          RunsTest
	Trend         MannKendallTest
	Change        ChangePoint
	Before, After Counts // of the change
	ChangeP       float64
	Lag1          float64 // autocorrelation of failures, 0 for independent cycles
	Lag1Band      float64 // by chance it lies within ± this with 95 % probability
	AlarmAfter    int     // cycle at which a [CUSUM] for doubled odds of failing signals; 0 = never
}

// leastNight is the fewest cycles whose order is judged.
const leastNight = 20

// JudgeNight looks at the cycles of one condition, counted ones only, in the
// order they were done.
func JudgeNight(failed []bool, confidence float64) (Night, error) {
	n := Night{ChangeP: 1}
	series := make([]float64, len(failed))
	for i, f := range failed {
		n.Counts.Cycles++
		if f {
			n.Counts.Failures++
			series[i] = 1
		}
	}
	var err error
	if n.Widened, err = Widened(batchesOf(failed), confidence); err != nil {
		return Night{}, err
	}
	if n.Counts.Failures == 0 || n.Counts.Failures == n.Counts.Cycles || n.Counts.Cycles < leastNight {
		return n, nil
	}
	n.Judged = true
	if n.Runs, err = Runs(failed); err != nil {
		return Night{}, err
	}
	if n.Trend, err = MannKendall(series); err != nil {
		return Night{}, err
	}
	if n.Lag1, err = Autocorrelation(series, 1); err != nil {
		return Night{}, err
	}
	n.Lag1Band = twoSidedZ(0.95) / math.Sqrt(float64(len(series)))
	if n.Change, err = Pettitt(series); err != nil {
		return Night{}, err
	}
	for i, f := range failed {
		side := &n.Before
		if i >= n.Change.After {
			side = &n.After
		}
		side.Cycles++
		if f {
			side.Failures++
		}
	}
	n.AlarmAfter = alarmAfter(failed, n.Counts.Rate())
	// Pettitt's formula counts on values without ties, whose ranks have the
	// variance n²/12. The ranks of failures and good starts have n² p (1-p)/4.
	total, p := float64(len(failed)), n.Counts.Rate()
	n.ChangeP = min(1, 2*math.Exp(-2*n.Change.K*n.Change.K/(total*total*total*p*(1-p))))
	return n, nil
}

// leastAlarm is the rate below which the alarm is left out: its chart would need
// more cycles than a run has, and long to compute.
const leastAlarm = 0.005

// alarmAfter returns the cycle at which a chart for a rise from the run's own rate
// to twice the odds first signals, 0 for never. Its limit lets a false signal come
// once in so many cycles as make it as rare as the other findings are by chance.
func alarmAfter(failed []bool, rate float64) int {
	if rate < leastAlarm {
		return 0
	}
	chart, err := NewCUSUM(rate, 2*rate/(1+rate), float64(len(failed))/overdispersed)
	if err != nil { // failures are the rule: there is no rise to watch for
		return 0
	}
	for i, f := range failed {
		if chart.Add(f) {
			return i + 1
		}
	}
	return 0
}

// batchesOf cuts cycles into batches of equal length, in their order, that hold
// some five failures each where there are enough: at most 20, at least 4.
func batchesOf(failed []bool) []Counts {
	failures := 0
	for _, f := range failed {
		if f {
			failures++
		}
	}
	rare := min(failures, len(failed)-failures)
	batches := make([]Counts, max(1, min(len(failed)/2, min(20, max(4, rare/5)))))
	for i, f := range failed {
		b := &batches[i*len(batches)/len(failed)]
		b.Cycles++
		if f {
			b.Failures++
		}
	}
	return batches
}

// Sentence says the night in words.
func (n Night) Sentence() string {
	if !n.Judged {
		return fmt.Sprintf("%s of %s failed: too few of a kind to tell whether the rate changed", Count(n.Counts.Failures), counted(n.Counts.Cycles, "cycle"))
	}
	var found []string
	if n.ChangeP < overdispersed {
		found = append(found, fmt.Sprintf("%s failed up to cycle %s and %s from then on (%s)",
			Percent(n.Before.Rate()), Count(n.Change.After), Percent(n.After.Rate()), pValue(n.ChangeP)))
	} else if n.Trend.P < overdispersed {
		direction := "fell"
		if n.Trend.S > 0 {
			direction = "rose"
		}
		found = append(found, fmt.Sprintf("the rate %s in the course of the run (%s)", direction, pValue(n.Trend.P)))
	}
	if n.Runs.Clustered < overdispersed {
		found = append(found, fmt.Sprintf("failures come in clusters (%s)", pValue(n.Runs.Clustered)))
	}
	if n.AlarmAfter > 0 {
		found = append(found, fmt.Sprintf("an alarm for doubled odds of failing sounds at cycle %s", Count(n.AlarmAfter)))
	}
	if len(found) == 0 {
		found = append(found, "no drift and no clusters shown")
	}
	return n.Widened.Sentence() + "; " + strings.Join(found, "; ")
}
