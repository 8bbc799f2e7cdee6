package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/verdict"
)

// confidence is the word for how sure an interval is.
var confidence = fmt.Sprintf("%.0f %%", 100*runner.Confidence)

// headline says the main finding in one or two sentences.
func headline(f *findings) string {
	base := baseOf(f)
	worst, ok := worst(base)
	if !ok {
		return "No start could be counted, so nothing can be said about the unit."
	}
	who := ""
	if worst.Treatment != runner.AsFound {
		who = " (" + worst.Treatment + ")"
	}
	all := pooled(base)
	if all.Failures == 0 {
		return fmt.Sprintf("None of %s starts%s failed: with %s confidence fewer than %s of its starts fail.",
			failrate.Count(all.Cycles), who, confidence, percent(all.High))
	}
	if t, ok := searched(f); ok {
		return voltsAt(t, 0.5).Sentence + "."
	}
	allowing := ""
	for _, n := range f.analysis.Nights {
		if n.Widened && n.Treatment == worst.Treatment && n.Volts == worst.Volts {
			worst.Low, worst.High, worst.OneSided = n.Interval.Low, n.Interval.High, false
			allowing = ", which allows for cycles that were not independent of each other"
		}
	}
	where := volts(worst.Volts)
	if slices.ContainsFunc(base, func(c failrate.Condition) bool { return c.Cycles > 0 && c.Estimate < worst.Estimate }) {
		where += ", its worst voltage"
	}
	return fmt.Sprintf("At %s, the unit%s failed to start in %s of %s cycles: %s, %s with %s confidence%s.",
		where, who, failrate.Count(worst.Failures), failrate.Count(worst.Cycles), percent(worst.Estimate), between(worst), confidence, allowing)
}

func between(c failrate.Condition) string {
	if c.OneSided {
		return interval(c)
	}
	return "between " + percent(c.Low) + " and " + percent(c.High)
}

// further says what else stands out.
func further(f *findings, starts []startTimes, hunted []hunt, comparisons []comparison) []string {
	base := baseOf(f)
	var said []string
	if _, ok := searched(f); ok {
		said = append(said, spread(base))
	} else if all := pooled(base); all.Failures > 0 && len(base) > 1 {
		said = append(said, fmt.Sprintf("Over all %d conditions %s of %s counted starts failed (%s).", len(base), failrate.Count(all.Failures), failrate.Count(all.Cycles), percent(all.Estimate)))
		var clean []failrate.Condition
		var where []string
		for _, c := range base {
			if c.Cycles > 0 && c.Failures == 0 {
				clean, where = append(clean, c), append(where, volts(c.Volts))
			}
		}
		if len(clean) > 0 {
			together := pooled(clean)
			said = append(said, fmt.Sprintf("At %s none of %s failed: the failure rate there is %s with %s confidence.", failrate.List(where), failrate.Count(together.Cycles), interval(together), confidence))
		}
	}
	if kinds := failuresByKind(f.Pooled.Verdicts); kinds != "" {
		said = append(said, "The failures were "+kinds+".")
	}
	if text := slowest(f, starts); text != "" {
		said = append(said, text)
	}
	for _, h := range hunted {
		if first := h.Suspects[0]; first.Shown {
			said = append(said, first.Sentence+".")
		}
	}
	for _, c := range clearest(comparisons) {
		said = append(said, fmt.Sprintf("%s at %s: %s of %s failed against %s of %s as found (%s).", c.Treatment, volts(c.After.Volts),
			failrate.Count(c.After.Failures), failrate.Count(c.After.Cycles), failrate.Count(c.Before.Failures), failrate.Count(c.Before.Cycles), odds(c.Adjusted)))
	}
	return said
}

func odds(p float64) string {
	if p < 1e-4 {
		return "by chance less than once in 10,000 times"
	}
	return "corrected p " + probability(p)
}

func failuresByKind(verdicts map[string]int) string {
	type kind struct {
		name string
		n    int
	}
	var kinds []kind
	for _, v := range verdict.Verdicts {
		if n := verdicts[string(v)]; n > 0 && v.Failed() {
			kinds = append(kinds, kind{string(v), n})
		}
	}
	slices.SortStableFunc(kinds, func(a, b kind) int { return b.n - a.n })
	var words []string
	for _, k := range kinds {
		words = append(words, fmt.Sprintf("%s %s", failrate.Count(k.n), k.name))
	}
	return failrate.List(words)
}

// clearest gives the comparisons that cannot well be chance, the surest of each
// treatment, at most four.
func clearest(comparisons []comparison) []comparison {
	sorted := slices.Clone(comparisons)
	slices.SortStableFunc(sorted, func(a, b comparison) int {
		switch {
		case a.P < b.P:
			return -1
		case a.P > b.P:
			return 1
		}
		return 0
	})
	var clear []comparison
	for _, c := range sorted {
		known := slices.ContainsFunc(clear, func(k comparison) bool { return k.Treatment == c.Treatment && k.Run == c.Run })
		if c.Clear() && !known && len(clear) < 4 {
			clear = append(clear, c)
		}
	}
	return clear
}

// worst is the condition with the highest estimate; of equals, the one with the
// most cycles.
func worst(conditions []failrate.Condition) (w failrate.Condition, ok bool) {
	for _, c := range conditions {
		if c.Cycles == 0 {
			continue
		}
		if !ok || c.Estimate > w.Estimate || (c.Estimate == w.Estimate && c.Cycles > w.Cycles) {
			w, ok = c, true
		}
	}
	return w, ok
}

// pooled adds up conditions.
func pooled(conditions []failrate.Condition) failrate.Condition {
	var all failrate.Condition
	for _, c := range conditions {
		all.Cycles += c.Cycles
		all.Failures += c.Failures
	}
	i := failrate.ClopperPearson(all.Failures, all.Cycles, runner.Confidence)
	all.Estimate, all.Low, all.High, all.Confidence, all.OneSided = i.Estimate, i.Low, i.High, i.Confidence, i.OneSided
	return all
}

// next says what to do with the result.
func next(f *findings, hunted []hunt, comparisons []comparison) []string {
	var steps []string
	switch f.Run.State {
	case "running", "held":
		steps = append(steps, "The run is not complete ("+f.State()+"). Give the same command again: it goes on where it was, and no cycle is lost or counted twice.")
	case "stopped", "failed":
		steps = append(steps, "The run did not reach its end ("+f.State()+"). What it found until then stands; see to the cause, then run again.")
	}
	if f.Pooled.NotCounted*20 > f.Cycles {
		steps = append(steps, fmt.Sprintf("%s of %s cycles could not be counted. See to the bench first (leads, probes, links): \"ringup check\".", failrate.Count(f.Pooled.NotCounted), failrate.Count(f.Cycles)))
	}
	base := baseOf(f)
	all := pooled(base)
	switch {
	case all.Cycles == 0:
	case all.Failures == 0:
		n := int(math.Ceil(math.Log(1-runner.Confidence) / math.Log(1-all.High/10)))
		steps = append(steps, fmt.Sprintf("Nothing failed, which does not mean that nothing ever fails. To show a rate ten times lower takes about %s cycles without a failure; colder air, longer rests and lower voltages show more in fewer.", failrate.Count(n)))
	case len(comparisons) == 0 && len(hunted) > 0:
		steps = append(steps, afterHunting(hunted))
	case len(comparisons) == 0:
		if t, ok := searched(f); ok {
			steps = append(steps, nextAfterSearch(t)...)
			break
		}
		if c, ok := huntAt(base); ok {
			steps = append(steps, fmt.Sprintf("Find the part: run the hunt at %s, where the unit fails sometimes and starts sometimes (%s), so that better and worse both show.", volts(c.Volts), percent(c.Estimate)))
		}
		steps = append(steps, "Repair, then repeat this run on the repaired unit at its worst voltages with the same rests, in the same cold, and compare.")
	default:
		steps = append(steps, afterComparing(comparisons)...)
	}
	if f.Run.Simulated {
		steps = append(steps, "These are numbers of a simulated bench. They say nothing about any real unit.")
	}
	return steps
}

// huntAt is the condition whose rate is nearest to 30 %: there a change either way
// shows in the fewest cycles.
func huntAt(conditions []failrate.Condition) (best failrate.Condition, ok bool) {
	for _, c := range conditions {
		if c.Failures > 0 && c.Failures < c.Cycles && (!ok || math.Abs(c.Estimate-0.3) < math.Abs(best.Estimate-0.3)) {
			best, ok = c, true
		}
	}
	return best, ok
}

func afterHunting(hunted []hunt) string {
	var shown []string
	for _, h := range hunted {
		for _, s := range h.Suspects {
			if s.Shown {
				shown = append(shown, s.Treatment+" ("+s.Found()+")")
			}
		}
	}
	if len(shown) == 0 {
		return "No treatment changed the unit beyond chance. Hunt again with more cycles for each treatment, at a voltage at which about a third of the starts fail, or with other suspects."
	}
	return "Surely changed the unit: " + strings.Join(shown, "; ") + ". Lift or replace the part, then repeat this run's worst voltages with the same rests, in the same cold, and compare."
}

func afterComparing(comparisons []comparison) []string {
	var cures, harms []string
	for _, c := range clearest(comparisons) {
		if c.Found() == "fewer failures" {
			cures = append(cures, c.Treatment)
		} else {
			harms = append(harms, c.Treatment)
		}
	}
	var steps []string
	if len(harms) > 0 {
		steps = append(steps, "Fails more often now: "+strings.Join(harms, "; ")+".")
	}
	if len(cures) > 0 {
		steps = append(steps, "Fails more seldom now: "+strings.Join(cures, "; ")+". If that is the repair, keep this report with the unit's papers; what was proved is the bound under \"Before and after\", no more.")
	}
	if len(steps) == 0 {
		steps = append(steps, "No change of the failure rate is shown. Repeat with more cycles at the worst voltages.")
	}
	return steps
}
