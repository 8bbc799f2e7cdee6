package report

import (
	"fmt"
	"html/template"
	"math"

	"ringup/dashboards/plot"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

// chartWidth fills the text width of an A4 page.
const chartWidth = 720

// pictures are the charts of the report as SVG, "" where there is nothing to draw.
type pictures struct {
	Rates, Starts, Waveforms, Verdicts, Night template.HTML

	RatesSay      string
	Heading, Pair string // which cycles the waveforms are of
}

func draw(book *logbook.Book, f *findings, starts []startTimes, o Options) (p pictures, err error) {
	if f.Cycles == 0 {
		return p, nil
	}
	if t, ok := searched(f); ok {
		p.Rates, p.RatesSay = svg(searchChart(f, t)), "Share of the cycles that failed at each voltage tried, few as they are, and the curve through them all."
	} else {
		p.Rates = svg(plot.FailureRate{Title: "Failure rate against supply voltage", Width: chartWidth, Conditions: f.Conditions})
		p.RatesSay = "Failure rate against supply voltage. Whiskers: exact 95 % interval."
	}
	if len(starts) > 0 {
		p.Starts = svg(startChart(starts))
	}
	p.Verdicts = svg(verdictChart(f))
	if windows := f.windows(); len(windows) > 1 {
		p.Night = svg(nightChart(f, windows))
	}
	failure, start := pair(f.stored)
	var panels []plot.Panel
	for _, c := range []*logbook.Cycle{failure, start} {
		if c == nil {
			continue
		}
		panel, err := waveformPanel(book, *c, o)
		if err != nil {
			return p, err
		}
		panels = append(panels, panel)
	}
	if len(panels) > 0 {
		p.Waveforms = svg(plot.Waveforms{Title: "Waveforms", Width: chartWidth, Panels: panels})
	}
	p.Heading, p.Pair = sayPair(failure, start)
	return p, nil
}

// svg marks a chart as what it is: markup of our own, in which package plot has
// escaped every text.
func svg(chart interface{ SVG() string }) template.HTML { return template.HTML(chart.SVG()) }

func verdictChart(f *findings) plot.VerdictCounts {
	v := plot.VerdictCounts{Title: "Verdicts by condition", Width: chartWidth}
	treatments := f.Treatments()
	for _, c := range f.Conditions {
		v.Rows = append(v.Rows, plot.VerdictRow{Label: rowLabel(c.Treatment, c.Volts, c.Treatment != treatments), Counts: c.Verdicts})
	}
	return v
}

// rowLabel names a condition. The voltage comes first, for the end of a long label is cut off.
func rowLabel(treatment string, v float64, several bool) string {
	if several {
		return volts(v) + ", " + treatment
	}
	return volts(v)
}

func nightChart(f *findings, windows []plot.Window) plot.Night {
	n := plot.Night{Title: "Failure rate through the run", Width: chartWidth, Windows: windows, Zone: f.Zone}
	for _, m := range f.moments {
		n.Ambient = append(n.Ambient, plot.Reading{At: m.at, Celsius: m.celsius})
	}
	for _, m := range f.Marks {
		n.Marks = append(n.Marks, plot.Moment{At: m.At, Text: m.Text})
	}
	return n
}

// pair picks a failure and a start to show side by side: of the most frequent
// kind of failure, in the same condition if possible, close in time.
func pair(stored []logbook.Cycle) (failure, start *logbook.Cycle) {
	kinds := map[verdict.Verdict]int{}
	var failures, starts []*logbook.Cycle
	for i := range stored {
		switch c := &stored[i]; {
		case c.Verdict.Failed():
			kinds[c.Verdict]++
			failures = append(failures, c)
		case c.Verdict == verdict.Started:
			starts = append(starts, c)
		}
	}
	common := verdict.Silent
	for _, v := range verdict.Verdicts {
		if kinds[v] > kinds[common] {
			common = v
		}
	}
	best := math.Inf(1)
	for _, f := range failures {
		if f.Verdict != common {
			continue
		}
		if failure == nil {
			failure = f
		}
		for _, s := range starts {
			if d := distance(f, s); d < best {
				best, failure, start = d, f, s
			}
		}
	}
	if start == nil && len(starts) > 0 {
		start = starts[0]
	}
	return failure, start
}

// distance is how unlike two cycles were set, and then how far apart they are.
func distance(a, b *logbook.Cycle) float64 {
	d := math.Abs(float64(a.Number - b.Number))
	if a.Treatment != b.Treatment {
		d += 1e9
	}
	return d + 1e7*math.Abs(a.SetVolts-b.SetVolts)
}

func waveformPanel(book *logbook.Book, c logbook.Cycle, o Options) (plot.Panel, error) {
	p := plot.Panel{
		Heading: fmt.Sprintf("Cycle %d at %s: %s", c.Number, volts(c.SetVolts), c.Verdict), Note: c.Reason,
		ThresholdVolts: o.RailFraction * c.SetVolts, StartSeconds: c.StartSeconds, AllowedSeconds: math.NaN(),
	}
	if o.AllowedSeconds > 0 {
		p.AllowedSeconds = o.AllowedSeconds
	}
	waveforms, err := book.Waveforms(c.Run, c.Number)
	for _, w := range waveforms {
		switch w.Kind {
		case "rail":
			p.Rail = w.Trace
		case "clock":
			p.Clock = w.Trace
		}
	}
	return p, err
}

func sayPair(failure, start *logbook.Cycle) (heading, caption string) {
	const both = "A failure beside a start"
	switch {
	case failure == nil && start == nil:
		return "", "" // and no picture
	case failure == nil:
		return "A start", "No waveform of a failure is in the logbook; a start is shown."
	case start == nil:
		return "A failure", "No waveform of a start is in the logbook; a failure is shown alone."
	case failure.Treatment == start.Treatment && failure.SetVolts == start.SetVolts:
		return both, fmt.Sprintf("A failure beside a start in the same condition (%s, %s).", failure.Treatment, volts(failure.SetVolts))
	}
	return both, fmt.Sprintf("A failure (%s) beside a start (%s): none of the same condition is stored.", failure.Treatment, start.Treatment)
}
