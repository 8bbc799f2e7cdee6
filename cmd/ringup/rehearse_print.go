package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"ringup/runner"
	"ringup/runner/failrate"
)

// conclude puts the rehearsals in order, the longest first, and works out what each can show.
func (a *rehearsed) conclude(rate float64) error {
	slices.SortStableFunc(a.Rehearsals, func(x, y runner.Rehearsal) int { return cmp.Compare(y.Seconds, x.Seconds) })
	longest := a.Rehearsals[0]
	for _, r := range a.Rehearsals {
		outcomes := slices.ContainsFunc(r.Rules, func(rule runner.RehearsalRule) bool { return rule.ByOutcome })
		a.DependsOnUnit = a.DependsOnUnit || outcomes || !sameCourse(r, longest)
	}
	for i := range a.Rehearsals {
		if err := a.Rehearsals[i].Show(rate, a.DependsOnUnit); err != nil {
			return err
		}
	}
	return nil
}

// sameCourse says whether a script took the same way twice, as far as it shows. Two that were left may have been left at
// different moments.
func sameCourse(a, b runner.Rehearsal) bool {
	if a.State == runner.RehearsalStillGoing && b.State == runner.RehearsalStillGoing {
		return true
	}
	return a.State == b.State && a.Cycles == b.Cycles && len(a.Events) == len(b.Events) &&
		slices.EqualFunc(a.Conditions, b.Conditions, func(x, y runner.RehearsedCounts) bool {
			return x.Treatment == y.Treatment && x.Volts == y.Volts && x.Cycles == y.Cycles
		})
}

// print is the answer: for a person, or one JSON object.
func (a *rehearsed) print(io streams, o options) error {
	if o.json {
		return printJSON(io.out, a)
	}
	w := io.out
	longest := a.Rehearsals[0]
	fmt.Fprintf(w, "%s on %s (%s), rehearsed on the simulated bench; no instrument was opened\n\n", a.Script, a.Unit, a.Bench)
	if a.DependsOnUnit {
		if err := a.printRange(w); err != nil {
			return err
		}
		fmt.Fprintf(w, "\nThe longest, with the simulated unit %s:\n\n", longest.Unit)
	}
	a.printCourse(w, longest)
	a.printQuestions(w, longest)
	if len(longest.Rules) > 0 {
		fmt.Fprintln(w, "\nwhat ends a part of it early")
		for _, r := range longest.Rules {
			paragraph(w, fmt.Sprintf("  line %d, %s: ", r.Line, r.Call), r.Text)
		}
	}
	return a.printShows(w, longest)
}

// printRange shows how the length depends on the unit.
func (a *rehearsed) printRange(w io.Writer) error {
	fmt.Fprintln(w, "How long it takes depends on what the unit does:")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "  simulated unit\tcycles\tfailed\ttakes\tends\tenergised\tquestions\tthe script")
	for _, r := range a.Rehearsals {
		end, does := r.Ends.Format("Mon 15:04"), string(r.State)
		switch {
		case r.State == runner.RehearsalStillGoing:
			end = "not yet"
		case r.Accepted != nil:
			does = map[bool]string{true: "accepts it", false: "rejects it"}[*r.Accepted]
		}
		fmt.Fprintf(t, "  %s\t%d\t%d\t%s\t%s\t%s\t%d\t%s\n", r.Unit, r.Cycles, r.Failures, spell(r.Seconds), end, spell(r.EnergisedSeconds), len(forPerson(r)), does)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if !slices.ContainsFunc(a.Rehearsals, func(r runner.Rehearsal) bool { return r.State == runner.RehearsalFailed }) {
		fmt.Fprintln(w, "With a unit that fails more seldom or more often than these it may take longer.")
	}
	return nil
}

// forPerson is what a person is wanted for at a moment of the run.
func forPerson(r runner.Rehearsal) (wanted []runner.RehearsalEvent) {
	for _, e := range r.Events {
		if e.Kind == "ask" || e.Kind == "hunt" {
			wanted = append(wanted, e)
		}
	}
	return wanted
}

// printCourse shows when it ends, and what it does to the unit.
func (a *rehearsed) printCourse(w io.Writer, r runner.Rehearsal) {
	const stamp = "Mon 2 Jan 15:04"
	fmt.Fprintf(w, "begins         %s\n", r.Begins.Format(stamp))
	end := map[runner.RehearsalState]string{
		runner.RehearsalEnded: "ends          ", runner.RehearsalFailed: "FAILS         ", runner.RehearsalStillGoing: "still going at",
	}[r.State]
	fmt.Fprintf(w, "%s %s, after %s", end, r.Ends.Format(stamp), spell(r.Seconds))
	switch r.State {
	case runner.RehearsalFailed:
		fmt.Fprintf(w, ": %s", shortened(r.Why))
	case runner.RehearsalStillGoing:
		fmt.Fprintf(w, " and %d cycles; --at-most and --cycles say when it is left", r.Cycles)
	}
	if r.Cycles == 0 {
		fmt.Fprintln(w, "\nswitched on    never; --log shows what the script says")
	} else {
		fmt.Fprintf(w, "\nswitched on    %s times, %s in all, at most %s at a time\n", failrate.Count(r.Cycles), spell(r.EnergisedSeconds), spellShort(r.LongestOnSeconds))
		fmt.Fprintf(w, "highest volts  %s; the bench file allows %s\n", setVolts(r.HighestVolts), setVolts(a.MaxVolts))
	}
	if len(a.Rehearsals) > 1 && !a.DependsOnUnit && r.State == runner.RehearsalEnded {
		var units []string
		for _, r := range a.Rehearsals {
			units = append(units, r.Unit)
		}
		fmt.Fprintf(w, "unit           the same with each of the simulated units %s\n", failrate.List(units))
	}
	switch t := a.InstrumentTime; {
	case a.Simulated || r.Cycles == 0:
	case t.OnSeconds != nil:
		paragraph(w, "instruments    ", fmt.Sprintf("%s in each cycle, included above, known from %s", t.words(), t.Source))
	default:
		paragraph(w, "instruments    ", "their own time in each cycle comes on top, and is not known: "+t.Source)
	}
}

// words says how long the instruments take; with the supply off that includes the unit's discharge.
func (t instrumentTimeJSON) words() string {
	said := spellShort(*t.OnSeconds) + " with the supply on"
	for _, o := range t.OffSeconds {
		said += fmt.Sprintf(", %s off beyond a rest of %s", spellShort(o.Seconds), spellShort(o.RestSeconds))
	}
	return said
}

// spellShort writes a time that may be below a second.
func spellShort(seconds float64) string {
	if seconds < 10 {
		return fmt.Sprintf("%.2g s", seconds)
	}
	return spell(seconds)
}

// mostListed is how many lines of a list are shown.
const mostListed = 40

// printQuestions lists what a person is wanted for, and when.
func (a *rehearsed) printQuestions(w io.Writer, r runner.Rehearsal) {
	wanted := forPerson(r)
	if len(wanted) == 0 {
		fmt.Fprintln(w, "a person       is asked nothing")
		return
	}
	takes := "that time comes on top"
	if a.AnswerSeconds > 0 {
		takes = spell(a.AnswerSeconds) + " each are included"
	}
	fmt.Fprintf(w, "\nwhat a person is wanted for (the run waits, supply off, for each answer; %s)\n", takes)
	for i, e := range wanted {
		if i == mostListed {
			fmt.Fprintf(w, "  … and %d more, see --json\n", len(wanted)-mostListed)
			break
		}
		answered := ""
		switch {
		case e.Kind == "ask" && e.Answer == nil:
			answered = " (nobody answers in time)"
		case e.Kind == "ask":
			answered = fmt.Sprintf(" (answered %q)", *e.Answer)
		}
		fmt.Fprintf(w, "  %s  line %d: %s%s\n", e.At.Format("Mon 15:04"), e.Line, shortened(e.Text), answered)
	}
}

// shortened is the beginning of a text, on one line.
func shortened(text string) string {
	const most = 100
	text, _, more := strings.Cut(text, "\n")
	if r := []rune(text); len(r) > most {
		text, more = string(r[:most]), true
	}
	if more {
		text += "…"
	}
	return text
}

// printShows says what the cycles can show.
func (a *rehearsed) printShows(w io.Writer, r runner.Rehearsal) error {
	if len(r.Conditions) == 0 || r.State == runner.RehearsalFailed {
		return nil
	}
	rate := failrate.Percent(r.Conditions[0].If.Rate)
	fmt.Fprintln(w, "\nwhat the cycles can show")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "  treatment\tvolts\tcycles\tno failure shows\t%[1]s seen\t%[1]s measured as\n", rate)
	listed, few := 0, 0
	for _, c := range r.Conditions {
		if c.Cycles < fewestShown || listed == mostListed {
			few++
			continue
		}
		listed++
		fmt.Fprintf(t, "  %s\t%s\t%d\tbelow %s\t%s\t%s to %s\n", c.Treatment, setVolts(c.Volts), c.Cycles, percent(c.NoFailureBelow),
			seen(c.If.Seen), percent(c.If.Low), percent(c.If.High))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if few > 0 {
		fmt.Fprintf(w, "  … and %s more, most of them with too few cycles to show a rate: see --json\n", conditionsInWords(few))
	}
	whenever := ""
	if a.DependsOnUnit {
		whenever = ", allowing for a run that ends by what it has seen"
	}
	paragraph(w, "  ", fmt.Sprintf("With %s confidence%s. Seen: so many of such runs have a failure at all, of a unit that fails at %s. Measured as: the interval if %[3]s of the cycles fail. For other rates: --rate, and ringup need.",
		failrate.Percent(r.Conditions[0].Confidence), whenever, rate))
	return nil
}

// fewestShown is how many cycles a condition has at least to be listed.
const fewestShown = 5

func conditionsInWords(n int) string {
	if n == 1 {
		return "1 condition"
	}
	return fmt.Sprintf("%d conditions", n)
}

// seen writes the probability of at least one failure; what is nearly certain needs no digits.
func seen(p float64) string {
	if p >= 0.9995 {
		return "over 99.9 %"
	}
	return percent(p)
}
