package main

import (
	"context"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"

	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
	"ringup/runner/simbench"
)

// prober is a person who takes the clock probe off and puts it back, as asked.
type prober struct {
	asked chan string
	hand  *simbench.Hand
	moved int
}

func (p *prober) Observe(e runner.Event) {
	if e.Kind == runner.Held && e.Question != "" {
		p.asked <- e.Question
	}
}

func (p *prober) serve(ctx context.Context, answer func(string) error) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case question := <-p.asked:
			to := ""
			switch {
			case strings.HasPrefix(question, "Take the clock probe off"):
				to = simbench.ToNothing
			case strings.HasPrefix(question, "Put the clock probe back"):
				to = simbench.ToUnit
			default:
				return fmt.Errorf("asked for something else: %s", question)
			}
			if err := p.hand.Clip(simbench.ClockChannel, to); err != nil {
				return err
			}
			p.moved++
			if err := answer("done"); err != nil {
				return err
			}
		}
	}
}

// probeBench is the demo's bench on a cold and even day, with a 10:1 probe on a pin of the crystal.
func probeBench(loads string) string {
	return strings.NewReplacer(
		"attenuation = 20\nloads       = \"near field\"", "attenuation = 10\ncapacitance = \"12 pF\"\nresistance  = \"10 Mohm\"\nloads       = "+strconv.Quote(loads),
		`"-6 °C"`, `"-10 °C"`, `"8 °C"`, `"0 °C"`,
	).Replace(demoBench)
}

// probeCheck runs the library's probe_check.lua with other numbers in its head, and returns what it said and the failures
// and cycles with the probe on and with it lifted, as the logbook has them.
func probeCheck(t *testing.T, text string, head map[string]string) (said string, on, lifted failrate.Counts, err error) {
	t.Helper()
	e, heard := fromLibrary(t, text, "probe_check.lua")
	for from, to := range head {
		if strings.Count(e.program.Text, from) != 1 {
			t.Fatalf("the script does not have %q once", from)
		}
		e.program.Text = strings.Replace(e.program.Text, from, to, 1)
	}
	run, err := doWith(t, e, &prober{asked: make(chan string, 1), hand: e.standing.sim.Hand()})
	if err != nil {
		return heard.text(), on, lifted, err
	}
	if on, _ := e.standing.sim.SupplyOutput(); on {
		t.Error("THE SUPPLY IS ON after the run")
	}
	err = e.book.EachCycle(run.ID, func(c logbook.Cycle) error {
		side := &on
		if c.Treatment == "clock probe lifted" {
			side = &lifted
		}
		side.Cycles++
		if c.Verdict.Failed() {
			side.Failures++
		}
		if !c.Verdict.Counted() || c.Lamp == "" || !strings.Contains(c.Reason, "the clock was not looked at") {
			t.Errorf("cycle %d: %s, %s, lamp %q", c.Number, c.Verdict, c.Reason, c.Lamp)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return heard.text(), on, lifted, e.book.Check()
}

// The unit with the cracked capacitor, -10 °C, one hour of rest, 2.8 V: failure probability with nothing on the crystal,
// with a 10x probe of 12 pF and 10 MΩ at the inverter's input A, and at its output B. From an independent model (NumPy,
// 10 000 trials each).
const (
	modelBare, modelA, modelB = 0.076, 0.008, 0.243
	modelTrials               = 10_000
)

// TestProbeCheck finds that the probe at one pin cures the very unit of which it trebles the failures at the other, and by
// how much, as the independent model has it. With RINGUP_LONG=1 it does twice the starts.
func TestProbeCheck(t *testing.T) {
	t.Parallel()
	cycles := "30"
	if os.Getenv("RINGUP_LONG") == "1" {
		cycles = "60"
	}
	head := map[string]string{`volts  = 2.2 `: `volts  = 2.8 `, `rest   = "10 s"`: `rest   = "1 h"`, `cycles = 20 `: `cycles = ` + cycles + ` `}
	for _, c := range []struct {
		loads string
		model float64
		says  string
	}{{bench.CrystalInput, modelA, "The probe hides the fault."}, {bench.CrystalOutput, modelB, "The probe makes it worse."}} {
		t.Run(c.loads, func(t *testing.T) {
			t.Parallel()
			said, on, lifted, err := probeCheck(t, probeBench(c.loads), head)
			if err != nil {
				t.Fatalf("%v\n%s", err, said)
			}
			for _, part := range []string{"percentage points", "with 95 % confidence", c.says} {
				if !strings.Contains(said, part) {
					t.Errorf("not said: %s", part)
				}
			}
			t.Logf("on the %s %d of %d failed, lifted %d of %d\n%s", c.loads, on.Failures, on.Cycles, lifted.Failures, lifted.Cycles, said)
			for name, side := range map[string]struct {
				seen  failrate.Counts
				model float64
			}{"probe on": {on, c.model}, "probe lifted": {lifted, modelBare}} {
				if p := failrate.FisherExact(side.seen.Failures, side.seen.Cycles, int(side.model*modelTrials), modelTrials); p < 0.001 {
					t.Errorf("%s: %d of %d failed; the model has a rate of %g: by chance with probability %.2g only", name, side.seen.Failures, side.seen.Cycles, side.model, p)
				}
			}
		})
	}
}

// TestProbeCheckFindsNothing: a sound unit fails neither way, and the script says that this shows nothing.
func TestProbeCheckFindsNothing(t *testing.T) {
	t.Parallel()
	text := strings.Replace(probeBench(bench.CrystalInput), `"cracked-capacitor"`, `"healthy"`, 1)
	said, on, lifted, err := probeCheck(t, text, map[string]string{`volts  = 2.2 `: `volts  = 3.0 `, `rounds = 3 `: `rounds = 1 `, `cycles = 20 `: `cycles = 3 `})
	if err != nil || on != (failrate.Counts{Cycles: 6}) || lifted != (failrate.Counts{Cycles: 3}) || !strings.Contains(said, "Nothing failed on either side") {
		t.Errorf("%v; on %+v, lifted %+v, said\n%s", err, on, lifted, said)
	}
}

// TestProbeCheckRefuses: where nothing could be measured, nothing is switched on, and nobody is called to the bench.
func TestProbeCheckRefuses(t *testing.T) {
	t.Parallel()
	said, on, _, err := probeCheck(t, demoBench, nil)
	if err != nil || on.Cycles != 0 || !strings.Contains(said, "near field") || !strings.Contains(said, "does not touch the crystal") {
		t.Errorf("with a coil: %v, %d cycles\n%s", err, on.Cycles, said)
	}
	_, on, _, err = probeCheck(t, strings.Replace(probeBench(bench.CrystalInput), "[probes.lamp]\nchannel = 3\n", "", 1), nil)
	if err == nil || on.Cycles != 0 || !strings.Contains(err.Error(), "[probes.lamp]") || !strings.Contains(err.Error(), "probe_check.lua:") {
		t.Errorf("without a lamp: %v, %d cycles", err, on.Cycles)
	}
}
