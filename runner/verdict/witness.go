package verdict

import (
	"fmt"
	"math"
	"strings"
)

// testimony is what a witness says of the unit.
type testimony int

const (
	unknown testimony = iota
	runs
	hangs
	off
)

// WitnessesDisagree begins the warning and the reason of a judgement that they contradict.
const WitnessesDisagree = "the witnesses disagree"

// lampWithin is how far a lamp's rate may be from the expected one, relative:
// an overtone trebles it, a wrong part moves it by parts in ten thousand.
const lampWithin = 0.1

// lampSays returns what the lamp tells of the unit, with the words for it.
func (j *Judgement) lampSays(x Expect) (testimony, string) {
	switch {
	case j.Lamp == Dark:
		return hangs, "the lamp stays dark"
	case j.Lamp == Lit && x.LampHertz > 0:
		return hangs, "the lamp stays lit and does not blink"
	case j.Lamp == Blinking && x.LampHertz > 0 && math.Abs(j.LampHertz/x.LampHertz-1) > lampWithin:
		return unknown, fmt.Sprintf("the lamp blinks at %s, expected %s", hertzText(j.LampHertz), hertzText(x.LampHertz))
	case j.Lamp == Blinking:
		return runs, "the lamp blinks"
	}
	return unknown, ""
}

// lampAgainst reports whether the lamp contradicts a clean start or a silent clock.
func (j *Judgement) lampAgainst(x Expect) bool {
	says, words := j.lampSays(x)
	switch j.Verdict {
	case Started:
		return says == hangs || says == unknown && words != ""
	case Silent:
		return says == runs
	}
	return false
}

// currentSays returns what the supply current tells of the unit, with the words for it.
func (j *Judgement) currentSays(x Expect) (testimony, string) {
	says := x.current(j.SupplyAmps)
	amps := si(j.SupplyAmps, "A")
	switch says {
	case runs:
		return says, fmt.Sprintf("the supply current of %s is that of a running unit", amps)
	case hangs:
		return says, fmt.Sprintf("the supply current of %s is that of a unit that hangs", amps)
	case off:
		return says, fmt.Sprintf("the supply current of %s is that of no unit at all", amps)
	}
	return unknown, ""
}

// compareWitnesses flags a judgement that lamp or supply current contradict. Only
// a clean start and a silent clock can be contradicted: a late or weak one may
// or may not have been enough for the unit.
func (j *Judgement) compareWitnesses(x Expect) {
	var against []string
	_, lampWords := j.lampSays(x)
	current, currentWords := j.currentSays(x)
	if j.lampAgainst(x) {
		against = append(against, lampWords)
	}
	switch j.Verdict {
	case Started:
		if current == hangs || current == off {
			against = append(against, currentWords)
		}
	case Silent:
		if current == runs {
			against = append(against, currentWords)
		}
	}
	if len(against) == 0 {
		return
	}
	j.Disagree = true
	words := strings.Join(against, ", and ")
	j.Reason += "; but " + words
	j.warn(WitnessesDisagree+": %s, while the clock says %q", words, j.Verdict)
}

// JudgeWithoutScope gives the verdict of a bench without a scope, by the supply
// current and, where there is one, the lamp. It knows neither start time nor
// frequency: a unit that runs has started, one that hangs is silent, and what is
// neither is [Unread].
func JudgeWithoutScope(e Evidence, x Expect) Judgement {
	j := unread(e)
	j.readLamp(e.Lamp, x.SetVolts)
	current, currentWords := j.currentSays(x)
	lamp, lampWords := j.lampSays(x)
	j.warn("no scope: judged by the supply current and the lamp alone, without start time and frequency")
	switch {
	case finite(e.SupplyVolts) && x.SetVolts > 0 && !within(e.SupplyVolts, x.SetVolts, 0):
		j.conclude(Unpowered, "the supply reads %s, set %s", si(e.SupplyVolts, "V"), si(x.SetVolts, "V"))
	case current == off:
		j.conclude(Unread, "%s: a lead is off, or the unit draws nothing", currentWords)
	case current == unknown && lamp == unknown && math.IsNaN(e.SupplyAmps):
		j.conclude(Unread, "the supply current was not read, and no lamp was seen")
	case current == unknown && lamp == unknown:
		j.conclude(Unread, "the supply current of %s fits neither a unit that runs nor one that hangs", si(e.SupplyAmps, "A"))
	case current != unknown && lamp != unknown && current != lamp:
		j.Disagree = true
		j.conclude(Unread, WitnessesDisagree+": %s, but %s", currentWords, lampWords)
	case current == runs || lamp == runs:
		j.Censored = false
		j.conclude(Started, "%s; judged without a scope", either(currentWords, lampWords))
	default:
		j.conclude(Silent, "%s; judged without a scope", either(currentWords, lampWords))
	}
	return j
}

// either returns the words of whoever said something.
func either(a, b string) string {
	if a == "" {
		return b
	}
	return a
}
