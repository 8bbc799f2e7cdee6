// Package report writes the printable report of a run: one HTML file with its
// style and charts inside, no script and nothing to load, fit to be printed on
// A4, kept with the unit's papers and shown to the person who owns it.
//
// It says what was asked, what was found and how sure that is, what was not
// counted and why, and where every number comes from. All of it is computed from
// the logbook.
package report

import (
	"bytes"
	_ "embed" // the template and the style sheet
	"fmt"
	"html/template"
	"io"
	"time"
	"unicode"

	"ringup/dashboards/plot"
	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
)

// Options are what the logbook does not know.
type Options struct {
	// Title heads the report; the unit's name if empty.
	Title string
	// Compare are further runs, e.g. of the hunt and after the repair. Each of
	// their treatments is set against the unit as found.
	Compare []int64
	// Version is the ringup that writes the report.
	Version string
	// AllowedSeconds is by when the clock must have started, from the bench
	// file; 0 leaves it out of charts and start times.
	AllowedSeconds float64
	// RailFraction of the set voltage is where the start time begins; 0 means
	// one half.
	RailFraction float64
	// Written is the moment of writing; now if zero.
	Written time.Time
}

//go:embed report.html
var page string

//go:embed report.css
var style string

var document = template.Must(template.New("report").Funcs(template.FuncMap{
	"add1": func(i int) int { return i + 1 }, "percent": percent, "count": failrate.Count, "interval": interval, "milliseconds": milliseconds, "start": start,
	"volts": volts, "probability": probability, "reached": reached, "limits": limits, "seconds": seconds, "unbroken": unbroken.Replace,
}).Parse(page))

// Write writes the report of a run. Nothing is written if it returns an error of
// the logbook; it fails with logbook.ErrNoRun if there is no such run.
func Write(w io.Writer, book *logbook.Book, run int64, o Options) error {
	if o.Written.IsZero() {
		o.Written = time.Now()
	}
	if o.RailFraction == 0 {
		o.RailFraction = 0.5
	}
	f, err := gather(book, run)
	if err != nil {
		return err
	}
	others := make([]*findings, len(o.Compare))
	for i, id := range o.Compare {
		if others[i], err = gather(book, id); err != nil {
			return err
		}
	}
	starts := describeStarts(f, others, o.AllowedSeconds)
	pictures, err := draw(book, f, starts, o)
	if err != nil {
		return err
	}
	comparisons, hunted := compare(f, others), hunts(f, others)
	title := o.Title
	if title == "" {
		title = f.Run.Unit
	}
	var out bytes.Buffer
	err = document.Execute(&out, map[string]any{
		"Title": title, "Style": template.CSS(plot.LightCSS + style + foot(f)), "Written": moment(o.Written, f.Zone), "Version": o.Version,
		"F": f, "Others": others, "Headline": headline(f), "Further": further(f, starts, hunted, comparisons), "Pictures": pictures,
		"Starts": starts, "Allowed": o.AllowedSeconds, "Medians": someLeftOut(f, starts),
		"Order": throughTheRun(f), "Threshold": againstVoltage(f), "Hunts": hunted, "LeastStartRatio": runner.LeastStartRatio,
		"Comparisons": comparisons, "Repairs": repairs(f, others), "Unlike": unlike(f, others, comparisons),
		"Next": next(f, hunted, comparisons), "Cautions": runner.Cautions,
	})
	if err != nil {
		return err
	}
	_, err = w.Write(bytes.Map(printable, out.Bytes()))
	return err
}

// foot is what stands at the foot of each printed page but its number.
func foot(f *findings) string {
	text := fmt.Sprintf("Start-up report, run %d, %s", f.Run.ID, f.Run.Started.In(f.Zone).Format("2 Jan 2006"))
	if f.Run.Simulated {
		text += ", simulated bench"
	}
	return fmt.Sprintf("@page { @bottom-left { content: %q; font: 8pt system-ui, \"Liberation Sans\", sans-serif; color: #5a646e; } }\n", text)
}

// printable drops the control characters that a mark or an instrument's answer
// may hold and that no page may.
func printable(r rune) rune {
	if unicode.IsControl(r) && r != '\n' && r != '\t' {
		return -1
	}
	return r
}
