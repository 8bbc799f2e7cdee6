package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"sync"
	"time"
	"unicode/utf8"

	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
)

// progressPrinter tells a person at a terminal how a run goes: one line that is rewritten, or on anything
// else a line every now and then.
type progressPrinter struct {
	w       io.Writer
	quiet   bool
	columns func() int    // of the terminal, which may be made narrower meanwhile; 0: w is none
	every   time.Duration // of real time

	mu      sync.Mutex
	printed time.Time
	open    bool   // a progress line stands unfinished
	howOn   string // how a person lets a held run go on

	confirmedOff bool
}

func newProgressPrinter(w io.Writer, quiet bool) *progressPrinter {
	p := &progressPrinter{w: w, quiet: quiet, columns: func() int { return 0 }, every: 5 * time.Minute, howOn: "go on with: ringup resume; end the run with: ringup stop"}
	if f, ok := w.(*os.File); ok {
		p.columns = func() int { return columns(f) }
	}
	if p.columns() > 0 {
		p.every = 200 * time.Millisecond
	}
	return p
}

// opening says what is about to happen. other is why a run that was cut short is not gone on with, or empty.
func (p *progressPrinter) opening(b *bench.Bench, program runner.Program, unfinished *logbook.Run, other string) {
	if p.quiet {
		return
	}
	kind := ""
	if b.Simulated() {
		kind = ", simulated bench"
	}
	fmt.Fprintf(p.w, "%s on %s (%s%s)\n", program.Name, b.Unit.Name, b.Path, kind)
	if unfinished != nil {
		fmt.Fprintf(p.w, "run %d was cut short; going on with it at the first cycle that is not in the logbook (--fresh begins a new one)\n", unfinished.ID)
	}
	if other != "" {
		fmt.Fprintln(p.w, other)
	}
	if !b.Simulated() {
		fmt.Fprintln(p.w, cautions)
	}
}

// Observe implements runner.Observer.
func (p *progressPrinter) Observe(e runner.Event) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if e.Kind == runner.SupplyRead {
		p.confirmedOff = e.ConfirmedOff
	}
	if p.quiet && e.Kind != runner.Held {
		return // but a run that waits says so
	}
	switch e.Kind {
	case runner.CycleDone:
		last := e.Progress.Done == e.Progress.Planned
		if last || time.Since(p.printed) >= p.every {
			p.line(progressLines(e))
		}
	case runner.Marked:
		if e.Mark.Kind == "answer" || e.Mark.Kind == "hold" {
			return // whoever answered knows, and a hold is said below
		}
		p.say(fmt.Sprintf("%s  %s: %s", e.At.Format("15:04"), e.Mark.Kind, e.Mark.Text))
	case runner.Logged:
		p.say(e.Reason)
	case runner.Held:
		p.say(fmt.Sprintf("%s  held%s: %s", e.At.Format("15:04"), p.off(), e.Reason))
		if e.ForPerson {
			p.say(p.howOn)
		}
	case runner.RunEnded:
		p.finish()
	}
}

// off says so only if it was confirmed.
func (p *progressPrinter) off() string {
	if p.confirmedOff {
		return ", supply off"
	}
	return ""
}

// line shows the state of the run: over the last line on a terminal, in the fullest of the wordings that fits.
func (p *progressPrinter) line(wordings []string) {
	p.printed = time.Now()
	width := p.columns()
	if width == 0 {
		fmt.Fprintln(p.w, wordings[0])
		return
	}
	fmt.Fprintf(p.w, "\r\x1b[K%s", fitting(wordings, width))
	p.open = true
}

// fitting picks the first wording that leaves the last column free, or else cuts the last one. A line that wraps could
// not be written over.
func fitting(wordings []string, width int) string {
	for _, text := range wordings {
		if utf8.RuneCountInString(text) < width {
			return text
		}
	}
	shortest := []rune(wordings[len(wordings)-1])
	return string(shortest[:max(0, min(len(shortest), width-1))])
}

// say prints a line that stays.
func (p *progressPrinter) say(text string) {
	p.finish()
	fmt.Fprintln(p.w, text)
}

func (p *progressPrinter) finish() {
	if p.open {
		fmt.Fprintln(p.w)
		p.open = false
	}
}

// progressLines is rate, interval, cycles done and time left, in ever shorter wordings.
func progressLines(e runner.Event) []string {
	at := e.At.Format("15:04")
	done := fmt.Sprint(e.Progress.Done)
	if e.Progress.Planned > 0 {
		done = fmt.Sprintf("%d of %d", e.Progress.Done, e.Progress.Planned)
	}
	left, ends := "", ""
	if end := e.Progress.ExpectedEnd; !end.IsZero() {
		away := end.Sub(e.At)
		layout := "Mon 15:04"
		if away > 6*24*time.Hour {
			layout = "Mon 2 Jan 15:04"
		}
		left, ends = fmt.Sprintf(", %s left", spell(away.Seconds())), ", ends "+end.Format(layout)
	}
	rate, short := worst(e.Progress.Conditions)
	return []string{
		fmt.Sprintf("%s  %s cycles%s%s; %.2f V: %s; worst %s", at, done, left, ends, e.Cycle.SetVolts, e.Cycle.Verdict, rate),
		fmt.Sprintf("%s  %s cycles%s; worst %s", at, done, ends, rate),
		fmt.Sprintf("%s  %s%s; %s", at, done, ends, short),
		fmt.Sprintf("%s  %s%s", at, done, ends),
	}
}

// worst names the condition that fails most, with its interval; and more shortly.
func worst(conditions []failrate.Condition) (rate, short string) {
	var at *failrate.Condition
	for i, c := range conditions {
		if c.Cycles > 0 && (at == nil || c.Estimate > at.Estimate) {
			at = &conditions[i]
		}
	}
	if at == nil {
		return "unknown yet", "no rate yet"
	}
	failed := fmt.Sprintf("%.2f V: %d of %d failed", at.Volts, at.Failures, at.Cycles)
	return fmt.Sprintf("%s, %s (%s)", failed, percent(at.Estimate), interval(*at)), fmt.Sprintf("%s (%s)", failed, interval(*at))
}

// answers reads replies to the run's questions from a person at the terminal, until ctx ends.
func (p *progressPrinter) answers(ctx context.Context, in io.Reader, s *runner.Session) {
	if in == nil {
		return
	}
	go func() {
		lines := bufio.NewScanner(in)
		for lines.Scan() && ctx.Err() == nil {
			switch err := s.Answer(lines.Text()); {
			case err == nil || s.Question() != "":
			case lines.Text() != "": // nothing was asked: what a person types during a run is a mark
				_ = s.Mark(lines.Text(), false)
			default: // Enter alone lets a held run go on, and is nothing to any other
				_ = s.Resume()
			}
		}
	}()
}
