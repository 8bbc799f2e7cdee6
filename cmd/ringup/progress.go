package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
)

// progressPrinter tells a person at a terminal how a run goes: one line that is rewritten, or on anything
// else a line every now and then.
type progressPrinter struct {
	w        io.Writer
	quiet    bool
	terminal bool
	every    time.Duration // of real time

	mu      sync.Mutex
	printed time.Time
	open    bool   // a progress line stands unfinished
	howOn   string // how a person lets a held run go on

	confirmedOff bool
}

func newProgressPrinter(w io.Writer, quiet bool) *progressPrinter {
	p := &progressPrinter{w: w, quiet: quiet, every: 10 * time.Second, howOn: "go on with: ringup resume; end the run with: ringup stop"}
	if f, ok := w.(*os.File); ok {
		info, err := f.Stat()
		p.terminal = err == nil && info.Mode()&os.ModeCharDevice != 0
	}
	if p.terminal {
		p.every = 200 * time.Millisecond
	}
	return p
}

// opening says what is about to happen.
func (p *progressPrinter) opening(b *bench.Bench, program runner.Program, unfinished *logbook.Run) {
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
			p.line(progressLine(e))
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

// line shows the state of the run, over the last line on a terminal.
func (p *progressPrinter) line(text string) {
	p.printed = time.Now()
	if !p.terminal {
		fmt.Fprintln(p.w, text)
		return
	}
	fmt.Fprintf(p.w, "\r\x1b[K%s", text)
	p.open = true
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

// progressLine is rate, interval, cycles done and time left.
func progressLine(e runner.Event) string {
	done := fmt.Sprintf("%d cycles", e.Progress.Done)
	if e.Progress.Planned > 0 {
		done = fmt.Sprintf("%d of %d cycles", e.Progress.Done, e.Progress.Planned)
	}
	left := ""
	if !e.Progress.ExpectedEnd.IsZero() {
		left = fmt.Sprintf(", %s left, ends %s", spell(e.Progress.ExpectedEnd.Sub(e.At).Seconds()), e.Progress.ExpectedEnd.Format("Mon 15:04"))
	}
	return fmt.Sprintf("%s  %s%s; %.2f V: %s; worst %s", e.At.Format("15:04"), done, left,
		e.Cycle.SetVolts, e.Cycle.Verdict, worst(e.Progress.Conditions))
}

// worst names the condition that fails most, with its interval.
func worst(conditions []failrate.Condition) string {
	var at *failrate.Condition
	for i, c := range conditions {
		if c.Cycles > 0 && (at == nil || c.Estimate > at.Estimate) {
			at = &conditions[i]
		}
	}
	if at == nil {
		return "unknown yet"
	}
	return fmt.Sprintf("%.2f V: %d of %d failed, %s (%s)", at.Volts, at.Failures, at.Cycles, percent(at.Estimate), interval(*at))
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
