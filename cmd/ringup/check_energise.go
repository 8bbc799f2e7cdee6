package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"ringup/runner/bench"
	"ringup/runner/benchcheck"
)

// energise does the part of check --energise that switches the supply on, and says whether it came to that. A guard
// process switches off if this one is killed.
func energise(ctx context.Context, s streams, b *bench.Bench, o options, f checkFlags, checker *benchcheck.Checker) (bool, error) {
	if n := checker.Wrong(); n > 0 {
		return false, fmt.Errorf("nothing was energised: %s to put right first", count(n, "thing"))
	}
	at := person{in: s.in, out: s.err}
	if !f.yes {
		question := fmt.Sprintf(`Nothing is energised yet. Now the supply will be switched on, to at most %.2f V.
Is the unit, with its cell, disconnected from the leads, and the rail probe clipped to them?
Type yes to go on: `, b.Unit.MaxVolts)
		reply, err := at.ask(ctx, question)
		if err != nil {
			return false, err
		}
		if reply != "yes" {
			return false, fmt.Errorf("%w: nothing was energised", errStopped)
		}
	}
	guard, err := startGuard(b, o)
	if err != nil {
		return false, err
	}
	err = checker.Energise(ctx)
	if isNotOff(err) { // said now, since the guard goes on for a while
		fmt.Fprintln(s.err, "THE SUPPLY IS NOT CONFIRMED OFF: switch it off by hand. Its guard goes on trying.")
		err = errors.Join(err, checker.Close()) // or the guard finds the port taken
	}
	guard.dismiss(err)
	var connected *benchcheck.UnitConnectedError
	if errors.As(err, &connected) && !isNotOff(err) {
		return true, nil // it is among the findings
	}
	if err != nil {
		return true, err
	}
	ask := func(ctx context.Context, text string) (benchcheck.Reply, error) {
		reply, err := at.ask(ctx, "The supply is off. "+text+".\nPress Enter when that is done, or type skip: ")
		if reply == string(benchcheck.Skip) {
			return benchcheck.Skip, err
		}
		return benchcheck.Done, err
	}
	if f.yes {
		ask = nil
	}
	return true, checker.Compensation(ctx, ask)
}

// person is somebody at the terminal.
type person struct {
	in    io.Reader
	out   io.Writer
	lines chan string // closed at the end of in; nil before the first question
}

// ask prints a question and waits for a line. The error is the end of ctx, or errStopped where nobody can answer.
func (p *person) ask(ctx context.Context, question string) (string, error) {
	fmt.Fprint(p.out, question)
	if p.lines == nil {
		p.lines = make(chan string)
		go func() {
			defer close(p.lines)
			for s := bufio.NewScanner(p.in); s.Scan(); {
				select {
				case p.lines <- strings.TrimSpace(s.Text()):
				case <-ctx.Done():
					return
				}
			}
		}()
	}
	select {
	case line, ok := <-p.lines:
		if !ok {
			fmt.Fprintln(p.out)
			return "", fmt.Errorf("%w: nobody answers at the terminal; --yes asks nothing", errStopped)
		}
		return line, nil
	case <-ctx.Done():
		fmt.Fprintln(p.out)
		return "", ctx.Err()
	}
}
