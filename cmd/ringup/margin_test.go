package main

import (
	"context"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"

	"ringup/runner"
	"ringup/runner/crystal"
	"ringup/runner/simbench"
)

// listener notes what the script logs.
type listener struct {
	mu    sync.Mutex
	lines []string
}

func (l *listener) Observe(e runner.Event) {
	if e.Kind != runner.Logged {
		return
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.lines = append(l.lines, e.Reason)
}

func (l *listener) text() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Join(l.lines, "\n")
}

// talker answers every question with the value asked for, and never touches the soldering iron.
type talker struct{ asked chan string }

var askedOhms = regexp.MustCompile(`Insert ([\d.]+) ohm`)

func (p talker) Observe(e runner.Event) {
	if e.Kind == runner.Held && e.Question != "" {
		p.asked <- e.Question
	}
}

func (p talker) serve(ctx context.Context, answer func(string) error) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case question := <-p.asked:
			m := askedOhms.FindStringSubmatch(question)
			if m == nil {
				return fmt.Errorf("asked for no resistor: %s", question)
			}
			if err := answer(m[1] + " ohm"); err != nil {
				return err
			}
		}
	}
}

// answerer is a person who answers what a run asks.
type answerer interface {
	runner.Observer
	serve(ctx context.Context, answer func(string) error) error
}

// margin runs the library's margin.lua on a simulated unit, a person answering, and returns what it logged and the
// resistors that were in, in order.
func margin(t *testing.T, unit string, hire func(*standing) answerer) (said string, actions []simbench.Action) {
	t.Helper()
	text := strings.Replace(demoBench, `"cracked-capacitor"`, strconv.Quote(unit), 1)
	e, heard := fromLibrary(t, text, "margin.lua")
	if _, err := doWith(t, e, hire(e.standing)); err != nil {
		t.Fatalf("%v\n%s", err, heard.text())
	}
	return heard.text(), e.standing.sim.Hand().History()
}

// solderer is the demo's operator, who does what is asked.
func solderer(s *standing) answerer { return newOperator(s.sim.Hand(), s.clock) }

var bracket = regexp.MustCompile(`(?s)Starts with Y1 \+ (\d+) ohm: 0 of 30 failed.*Not every time with Y1 \+ (\d+) ohm: ([1-9]\d*) of 30 failed`)

// TestMarginScript measures the margin of a sound unit through scope, verdict and logbook, and compares it with what
// the oscillator's equations say of the same unit.
func TestMarginScript(t *testing.T) {
	t.Parallel()
	said, actions := margin(t, "healthy", solderer)
	found := bracket.FindStringSubmatch(said)
	if found == nil {
		t.Fatalf("no bracket in\n%s", said)
	}
	low, _ := strconv.ParseFloat(found[1], 64)
	high, _ := strconv.ParseFloat(found[2], 64)
	if !(low < high && high <= low*1.25) {
		t.Errorf("starts with %g ohm and not with %g: no neighbours in E12", low, high)
	}
	sound, err := crystal.NewUnit("healthy")
	if err != nil {
		t.Fatal(err)
	}
	// fails is the share of failures by the equations, at the mildest and at the worst hour of the demo bench's night.
	fails := func(ohms float64) (least, most float64) {
		u, err := sound.Insert(crystal.Y1, ohms)
		if err != nil {
			t.Fatal(err)
		}
		const draws = 2000
		least = 1
		for celsius := -14.0; celsius <= 2; celsius += 4 {
			n := u.Predict(crystal.Surroundings{SupplyVolts: 2.4, RestSeconds: 10, AmbientCelsius: celsius}, draws, 1)
			share := 1 - float64(n[crystal.Starts])/draws
			least, most = min(least, share), max(most, share)
		}
		return least, most
	}
	// 30 of 30 starts leave up to 9.5 % open; 1 of 30 failed is at least 0.1 % (exact two-sided bounds).
	if least, _ := fails(low); least > 0.095 {
		t.Errorf("%g ohm, said to be good, fails %.3f of starts by the equations", low, least)
	}
	if _, most := fails(high); most < 0.01 {
		t.Errorf("%g ohm, said to be too much, fails %.3f of starts by the equations", high, most)
	}
	if n := len(actions); n < 6 || n > 10 || actions[n-1].Value != 0 {
		t.Errorf("%d times soldered, the last with %g ohm: want 6 to 10, and the resistor taken out", n, actions[n-1].Value)
	}
	for _, part := range []string{"Negative resistance", "Margin: ", "with this crystal"} {
		if !strings.Contains(said, part) {
			t.Errorf("not said: %s, in\n%s", part, said)
		}
	}
	t.Log("\n" + said)
}

// TestMarginOfAFailingUnit: a unit that fails by itself has no margin, and nobody solders for nothing.
func TestMarginOfAFailingUnit(t *testing.T) {
	t.Parallel()
	said, actions := margin(t, "wet-flux", solderer)
	if !strings.Contains(said, "fails without any resistor") || len(actions) != 1 {
		t.Errorf("%d solderings, and said:\n%s", len(actions), said)
	}
}

// TestMarginWithoutResistors: answers without soldering give a margin that cannot be, and the script says so.
func TestMarginWithoutResistors(t *testing.T) {
	t.Parallel()
	said, actions := margin(t, "healthy", func(*standing) answerer { return talker{make(chan string, 1)} })
	if !strings.Contains(said, "the resistors were not in series with Y1") || strings.Contains(said, "Negative resistance at") || len(actions) != 0 {
		t.Errorf("%d solderings, and said:\n%s", len(actions), said)
	}
}
