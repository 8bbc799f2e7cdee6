package main

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
)

// story prints what was asked, what was done, what was found, how sure it is and what to do next, for an
// engineer who has never seen ringup.
type story struct {
	d     *demo
	found [3]runner.Summary
}

func newStory(d *demo) *story { return &story{d: d} }

func (s *story) say(format string, args ...any) {
	if !s.d.o.json {
		fmt.Fprintf(s.d.io.out, format+"\n", args...)
	}
}

func (s *story) opening() {
	s.say(`A river-level logger on one 3.6 V lithium cell is found dead on cold mornings. On the warm bench it
always starts. Its clock is a 7.3728 MHz crystal; when the crystal does not swing, nothing else runs.

The bench: a supply in place of the cell, a scope with a small pick-up coil beside the crystal, so that
no probe touches it, a thermometer. The bench is simulated and the nights are virtual; every command
and every waveform goes through serial ports, as on a real one.`)
	if n := len(s.d.runs); n > 0 {
		s.say("\nAn earlier telling was cut short; it goes on at the first cycle that is not in its logbook.")
	}
}

func (s *story) before(stage int) {
	switch stage {
	case 0:
		s.say(`
1. HOW OFTEN DOES IT FAIL?  (soak.lua)
Overnight in an unheated shed: 200 starts at each of six supply voltages, from a fresh cell to a flat
one, taken in turn, 35 s off before each.`)
	case 1:
		s.say(`
2. WHICH PART IS IT?  (hunt.lua)
Next morning, still cold: fast cycles at 2.2 V while a person cools and warms one part after the other,
with cycles as found in between; then a longer look at the two that did most, and the part is lifted.`)
	case 2:
		s.say(`
3. IS IT REPAIRED?  (proof.lua)
A new capacitor is fitted. The night after, in the cold hours: the worst voltages of the soak again, until
the repair can be accepted or must be rejected.`)
	}
}

func (s *story) after(stage int, found runner.Summary) {
	s.found[stage] = found
	if s.d.o.json {
		return
	}
	s.say("\n%d cycles in %s of bench time%s.\n", found.Cycles, spell(found.VirtualSeconds), notCounted(found))
	_ = printConditions(s.d.io.out, found.Conditions)
	switch stage {
	case 0:
		s.afterSoak(found)
	case 1:
		s.afterHunt(found)
	case 2:
		s.afterProof(found)
	}
}

func notCounted(s runner.Summary) string {
	if s.NotCounted == 0 {
		return ", all of them counted"
	}
	return fmt.Sprintf(", %d not counted because the bench was at fault", s.NotCounted)
}

func (s *story) afterSoak(found runner.Summary) {
	high, low := found.Conditions[0], found.Conditions[len(found.Conditions)-1]
	s.say("\nFound: at %.1f V, a fresh cell, %s; at %.1f V, a flat one, %s.", high.Volts, rateSentence(high), low.Volts, rateSentence(low))
	s.say("How sure: the intervals are exact (Clopper-Pearson, 95 %%); where nothing failed only an upper bound is known.")
	s.say("The median start takes %s at %.1f V and %s at %.1f V: the margin shrinks before starts fail.",
		milliseconds(high.StartSecondsMedian), high.Volts, milliseconds(low.StartSecondsMedian), low.Volts)
	s.throughTheNight(found)
	if a, err := runner.AnalyseRun(s.d.book, found.Run); err == nil {
		printAnalysis(s.d.io.out, a)
	}
	s.say("\nNext: while it is cold, find the part, at a voltage at which the unit fails now and then.")
}

// throughTheNight compares the warmer half of a run's cycles with the colder one.
func (s *story) throughTheNight(found runner.Summary) {
	type cycle struct {
		celsius float64
		failed  bool
	}
	var cycles []cycle
	err := s.d.book.EachCycle(found.Run, func(c logbook.Cycle) error {
		if c.Verdict.Counted() && !math.IsNaN(c.AmbientCelsius) {
			cycles = append(cycles, cycle{c.AmbientCelsius, c.Verdict.Failed()})
		}
		return nil
	})
	if err != nil || len(cycles) < 2 {
		return // a story without its thermometer is still true
	}
	slices.SortStableFunc(cycles, func(a, b cycle) int { return cmp.Compare(a.celsius, b.celsius) })
	half := len(cycles) / 2
	failed := [2]int{}
	for i, c := range cycles {
		if c.failed {
			failed[min(i/half, 1)]++
		}
	}
	cold, warm := failed[0], failed[1]
	p := failrate.FisherExact(cold, half, warm, len(cycles)-half)
	s.say("And the cold: between %.0f and %.0f °C %d of %d starts failed, between %.0f and %.0f °C %d of %d (p = %s, Fisher's exact test).",
		cycles[half].celsius, cycles[len(cycles)-1].celsius, warm, len(cycles)-half, cycles[0].celsius, cycles[half].celsius, cold, half, probability(p))
}

func rateSentence(c failrate.Condition) string {
	return fmt.Sprintf("%d of %d starts failed, %s (%s)", c.Failures, c.Cycles, percent(c.Estimate), interval(c))
}

func (s *story) afterHunt(found runner.Summary) {
	a, err := runner.AnalyseRun(s.d.book, found.Run)
	if err != nil || a.Hunt == nil {
		return // the table above is still true
	}
	_ = printHunt(s.d.io.out, *a.Hunt)
	if first := a.Hunt.List()[0]; first.Shown {
		s.say("\nFound: %q is the surest change.", first.Treatment)
		s.say("How sure: chance alone would do this about once in %s hunts like this one, all comparisons allowed for.", roundNumber(1/first.Adjusted))
		if lifted(found) {
			s.say("Next: put a new, sound part in its place and repeat the worst of the night.")
		}
	} else {
		s.say("\nFound: no treatment changed anything surely. Hunt with more cycles, or at a lower voltage.")
	}
}

// noRepair ends a story whose hunt has lifted no part.
func (s *story) noRepair() {
	s.say(`
3. IS IT REPAIRED?
Nothing was lifted, so nothing is replaced, and there is no repair to prove: a part fitted on a guess would
only seem to work for a while. What the hunt could have seen stands above and in the report.`)
}

// roundNumber writes a large number to two significant digits, up to a million.
func roundNumber(v float64) string {
	if v >= 1e6 {
		return "a million, or less often,"
	}
	unit := math.Pow(10, math.Max(0, math.Floor(math.Log10(v))-1))
	text := fmt.Sprintf("%.0f", math.Round(v/unit)*unit)
	if n := len(text); n > 3 {
		text = text[:n-3] + "," + text[n-3:]
	}
	return text
}

func (s *story) afterProof(found runner.Summary) {
	failures, cycles, notCounted := 0, 0, 0
	for _, c := range found.Conditions {
		failures, cycles, notCounted = failures+c.Failures, cycles+c.Cycles, notCounted+c.NotCounted
	}
	if c, err := s.d.beforeAndAfter(s.found[0], found); err == nil {
		s.say("\nAgainst the soak before, at the same voltages: %s.", c.Sentence())
	}
	if found.Accepted == nil || !*found.Accepted {
		s.say("\nFound: %d of %d starts still failed. The repair is not the whole cure.", failures, cycles)
		return
	}
	all, err := failrate.NewRate(failrate.MethodAnytime, failures, cycles, notCounted, runner.Confidence)
	if err != nil {
		return
	}
	s.say("\nFound, over these voltages: %s.", all.Sentence())
	s.say("How sure: the script stopped as soon as it could accept, and this bound allows for that. Its own words:\n%s.", s.lastWords(found.Run))
	if need, err := failrate.NeedDemonstration(0.001, runner.Confidence, 0); err == nil {
		s.say("What to do next: %d starts do not show that it never fails. To show less than 0.1 %% takes more nights:\n%s. Soak it on before it goes back to the river.", cycles, need.Sentence())
	}
}

// lastWords is the last line that a run's script logged.
func (s *story) lastWords(run int64) string {
	steps, err := s.d.book.Steps(run)
	if err != nil {
		return ""
	}
	for _, step := range slices.Backward(steps) {
		var logged struct {
			Text string `json:"text"`
		}
		if step.Call == "log" && json.Unmarshal(step.Arguments, &logged) == nil {
			return logged.Text
		}
	}
	return ""
}

func (s *story) ending(report string) {
	s.say(`
The report to keep: %s
The bench file:     %s   (your own night: ringup run soak.lua -b %s)
Every cycle:        ringup runs --logbook %s

%s`, report, s.d.o.bench, s.d.o.bench, s.d.book.Path(), cautions)
}
