package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"ringup/dashboards/plot"
	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

// findings are all that the report says of one run, read from the logbook once.
type findings struct {
	Run        logbook.Run
	Zone       *time.Location
	Marks      []logbook.Mark
	Conditions []failrate.Condition
	Pooled     failrate.Condition // all conditions together
	Rests      []string           // the rests and watches that were set, in words
	Watches    []string
	Cycles     int
	NotCounted []notCounted
	Doubts     runner.Doubts
	Ambient    ambient
	First      time.Time // begin of the first cycle, end of the last
	Last       time.Time

	moments  []cycleMoment
	counted  []failrate.Cycle // in the order they were done
	analysis runner.Analysis  // what show prints of the run
	stored   []logbook.Cycle  // cycles whose waveforms are in the book
	factors  []string
}

// notCounted are the cycles of one verdict that do not enter the failure rate.
type notCounted struct {
	Verdict verdict.Verdict
	Cycles  int
	Example string // the reason of the first
	First   string // its number and time
}

// mostFlagged is how many flagged cycles the report lists; the export has them all.
const mostFlagged = 10

// ListedFlagged are the flagged cycles that the report lists.
func (f *findings) ListedFlagged() []runner.Flagged {
	return f.Doubts.Flagged[:min(len(f.Doubts.Flagged), mostFlagged)]
}

type ambient struct{ Low, High, Mean float64 }

// String words the temperatures with the sign that print has for a minus.
func (a ambient) String() string {
	return strings.ReplaceAll(fmt.Sprintf("%.1f to %.1f °C, mean %.1f °C", a.Low, a.High, a.Mean), "-", "−")
}

// Known is false when no thermometer was fitted.
func (a ambient) Known() bool { return !math.IsNaN(a.Mean) }

type cycleMoment struct {
	at              time.Time
	counted, failed bool
	celsius         float64
}

func gather(book *logbook.Book, run int64) (*findings, error) {
	r, err := book.Run(run)
	if err != nil {
		return nil, err
	}
	f := &findings{Run: r, Zone: r.Location(), Ambient: ambient{math.Inf(1), math.Inf(-1), math.NaN()}}
	if f.Marks, err = book.Marks(run); err != nil {
		return nil, err
	}
	numbers, err := book.WaveformCycles(run)
	if err != nil {
		return nil, err
	}
	kept := make(map[int]bool, len(numbers))
	for _, n := range numbers {
		kept[n] = true
	}
	tally := failrate.NewTally(runner.Confidence)
	if err := book.EachCycle(run, func(c logbook.Cycle) error {
		f.add(c, tally)
		if kept[c.Number] {
			f.stored = append(f.stored, c)
		}
		return nil
	}); err != nil {
		return nil, err
	}
	f.Conditions, f.Pooled = tally.Conditions(), tally.Of(nil)
	f.analysis = runner.Analyse(runner.Summary{Conditions: f.Conditions, Accepted: f.Run.Accepted}, f.counted)
	f.meanAmbient()
	return f, nil
}

func (f *findings) add(c logbook.Cycle, tally *failrate.Tally) {
	f.Cycles++
	f.Doubts.Add(c)
	tally.Add(failrate.Observation{Volts: c.SetVolts, Treatment: c.Treatment, Verdict: string(c.Verdict),
		Counted: c.Verdict.Counted(), Failed: c.Verdict.Failed(), StartSeconds: c.StartSeconds})
	if counted, ok := runner.CountedCycle(c); ok {
		f.counted = append(f.counted, counted)
	}
	f.moments = append(f.moments, cycleMoment{c.Begun, c.Verdict.Counted(), c.Verdict.Failed(), c.AmbientCelsius})
	if f.First.IsZero() {
		f.First = c.Begun
	}
	f.Last = c.Ended
	note := func(list *[]string, text string) {
		if text != "" && !slices.Contains(*list, text) {
			*list = append(*list, text)
		}
	}
	note(&f.Rests, seconds(c.RestSeconds))
	note(&f.Watches, seconds(c.WatchSeconds))
	for name := range c.Factors {
		note(&f.factors, name)
	}
	if !math.IsNaN(c.AmbientCelsius) {
		f.Ambient.Low, f.Ambient.High = min(f.Ambient.Low, c.AmbientCelsius), max(f.Ambient.High, c.AmbientCelsius)
	}
	if c.Verdict.Counted() {
		return
	}
	for i := range f.NotCounted {
		if f.NotCounted[i].Verdict == c.Verdict {
			f.NotCounted[i].Cycles++
			return
		}
	}
	f.NotCounted = append(f.NotCounted, notCounted{c.Verdict, 1, c.Reason, fmt.Sprintf("cycle %d, %s", c.Number, moment(c.Begun, f.Zone))})
}

func (f *findings) meanAmbient() {
	sum, n := 0.0, 0
	for _, m := range f.moments {
		if !math.IsNaN(m.celsius) {
			sum, n = sum+m.celsius, n+1
		}
	}
	if n > 0 {
		f.Ambient.Mean = sum / float64(n)
	}
}

// Condensed says what was set, in one line.
func (f *findings) Condensed() string {
	var set []string
	for _, c := range f.Conditions {
		if text := volts(c.Volts); text != "" && !slices.Contains(set, text) {
			set = append(set, text)
		}
	}
	text := failrate.List(set)
	if len(f.Rests) > 0 {
		text += "; rest " + failrate.List(f.Rests) + " before each start"
	}
	if len(f.Watches) > 0 {
		text += "; watched for " + failrate.List(f.Watches)
	}
	if len(f.factors) > 0 {
		slices.Sort(f.factors)
		text += "; further factors: " + failrate.List(f.factors)
	}
	return text
}

// Treatments lists what was done to the unit, in the order in which it was done.
func (f *findings) Treatments() string {
	var done []string
	for _, c := range f.Conditions {
		if !slices.Contains(done, c.Treatment) {
			done = append(done, c.Treatment)
		}
	}
	return failrate.List(done)
}

// Time words a moment in the bench's own time.
func (f *findings) Time(t time.Time) string { return moment(t, f.Zone) }

// Clock words a moment of the run shortly, since its date and zone stand at the head.
func (f *findings) Clock(t time.Time) string { return t.In(f.Zone).Format("2 Jan 15:04:05") }

// Lasted is the time from the first cycle's begin to the last one's end.
func (f *findings) Lasted() string { return lasted(f.Last.Sub(f.First)) }

// State says how the run ended.
func (f *findings) State() string {
	text := f.Run.State
	if f.Run.Reason != "" {
		text += ": " + f.Run.Reason
	}
	if f.Run.Accepted != nil {
		if *f.Run.Accepted {
			text += "; the script's own acceptance: accepted"
		} else {
			text += "; the script's own acceptance: rejected"
		}
	}
	return text
}

// windows cuts the run into stretches of one round length, at most fourteen.
func (f *findings) windows() []plot.Window {
	lengths := []time.Duration{time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 30 * time.Minute,
		time.Hour, 2 * time.Hour, 3 * time.Hour, 6 * time.Hour, 12 * time.Hour, 24 * time.Hour, 7 * 24 * time.Hour}
	length := lengths[len(lengths)-1]
	for _, l := range lengths {
		if f.Last.Sub(f.First) <= 14*l {
			length = l
			break
		}
	}
	var windows []plot.Window
	for _, m := range f.moments {
		i := int(m.at.Sub(f.First) / length)
		if i < 0 {
			continue // a clock that was set back
		}
		for len(windows) <= i {
			from := f.First.Add(time.Duration(len(windows)) * length)
			windows = append(windows, plot.Window{From: from, To: from.Add(length)})
		}
		if m.counted {
			windows[i].Cycles++
		}
		if m.failed {
			windows[i].Failures++
		}
	}
	for i, w := range windows {
		windows[i].Rate = failrate.ClopperPearson(w.Failures, w.Cycles, runner.Confidence)
	}
	return windows
}
