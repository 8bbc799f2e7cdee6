package main

import (
	"context"
	"encoding/json"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"ringup/runner"
	"ringup/runner/logbook"
	"ringup/runner/simbench"
)

// operator is the person of the demo. It reads what a held run asks, does it to the simulated unit with its
// hands, and answers. The measuring side learns no more of it than of any person.
type operator struct {
	hand  *simbench.Hand
	clock runner.Clock
	loose string // the part lifted last

	asked chan string
}

// What an operator is asked to do, how long the work takes, and which way of the hand it is.
var chores = []struct {
	words *regexp.Regexp
	verb  string
	takes time.Duration
}{
	{regexp.MustCompile(`^Chill (\w+)`), simbench.Chill, time.Minute},
	{regexp.MustCompile(`^Warm (\w+)`), simbench.Warm, time.Minute},
	{regexp.MustCompile(`^Release (\w+)`), simbench.Release, 8 * time.Minute},
	{regexp.MustCompile(`^Lift .*?([A-Z]\d+)`), simbench.Lift, 10 * time.Minute},
	{regexp.MustCompile(`^Fit a new()`), simbench.Fit, 10 * time.Minute},
	{regexp.MustCompile(`^Insert ([\d.]+) ohm in series with Y1`), simbench.Insert, 15 * time.Minute},
}

// fittedFarads is the value the board was built with.
const fittedFarads = 27e-12

func newOperator(hand *simbench.Hand, clock runner.Clock) *operator {
	return &operator{hand: hand, clock: clock, asked: make(chan string, 1)}
}

// Observe implements runner.Observer: it only takes the question, the work is done elsewhere.
func (o *operator) Observe(e runner.Event) {
	if e.Kind == runner.Held && e.Question != "" {
		o.asked <- e.Question
	}
}

// serve does what the run asks until ctx ends.
func (o *operator) serve(ctx context.Context, answer func(string) error) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case question := <-o.asked:
			action, takes, reply, err := o.understand(question)
			if err != nil {
				return err
			}
			before, after := o.around(action, takes)
			if err := o.clock.Sleep(ctx, before); err != nil {
				return nil
			}
			if err := o.hand.Do(action); err != nil {
				return err
			}
			if err := o.clock.Sleep(ctx, after); err != nil {
				return nil
			}
			if err := answer(reply); err != nil {
				return err
			}
		}
	}
}

// around splits the time that a chore takes: soldering is done at its end, while a part that is cooled, warmed or let go
// takes the time after that to come to its temperature.
func (o *operator) around(a simbench.Action, takes time.Duration) (before, after time.Duration) {
	switch a.Verb {
	case simbench.Chill, simbench.Warm, simbench.Release:
		return 0, takes
	}
	return takes, 0
}

// understand turns a question into what to do, how long it takes and what to answer.
func (o *operator) understand(question string) (simbench.Action, time.Duration, string, error) {
	for _, c := range chores {
		m := c.words.FindStringSubmatch(question)
		if m == nil {
			continue
		}
		a := simbench.Action{Verb: c.verb, Part: m[1]}
		switch c.verb {
		case simbench.Lift:
			o.loose = a.Part
		case simbench.Fit:
			a.Part, a.Value = o.loose, fittedFarads
			return a, c.takes, fmt.Sprintf("%s = %.0f pF", a.Part, a.Value*1e12), nil
		case simbench.Insert:
			ohms, err := strconv.ParseFloat(m[1], 64)
			return simbench.Action{Verb: c.verb, Part: "Y1", Value: ohms}, c.takes, m[1] + " ohm", err
		}
		return a, c.takes, "done", nil
	}
	return simbench.Action{}, 0, "", fmt.Errorf("the demo's operator does not know how to do this: %s", question)
}

// remember does again what the answered questions of earlier runs made it do, at the same moments.
func (o *operator) remember(book *logbook.Book, runs []logbook.Run) error {
	for _, r := range runs {
		steps, err := book.Steps(r.ID)
		if err != nil {
			return err
		}
		for _, s := range steps {
			if s.Call != "ask" {
				continue
			}
			var asked struct {
				Text string `json:"text"`
			}
			if err := json.Unmarshal(s.Arguments, &asked); err != nil {
				return err
			}
			action, takes, _, err := o.understand(strings.TrimSpace(asked.Text))
			if err != nil {
				return err
			}
			before, _ := o.around(action, takes)
			action.At = s.Begun.Add(before)
			if err := o.hand.Replay([]simbench.Action{action}); err != nil {
				return err
			}
		}
	}
	return nil
}
