package logbook

import (
	"encoding/json"
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func TestStepCutOffAndBegunAgain(t *testing.T) {
	b := openBook(t)
	run := begin(t, b)
	addCycles(t, b, run, 1, 2)

	step := sampleStep(run, 3)
	if err := b.BeginStep(step); err != nil {
		t.Fatal(err)
	}
	if steps, err := b.Steps(run); err != nil || len(steps) != 2 {
		t.Errorf("a step without result is listed among the ended: %d, %v", len(steps), err)
	}
	again := step
	again.Begun, again.Arguments, again.ScriptLine = step.Begun.Add(time.Hour), json.RawMessage(`{"volts":2.4}`), 9
	if err := b.BeginStep(again); err != nil {
		t.Fatal(err)
	}
	again.Attempts = 2
	cut, err := b.CutOff(run)
	if diff := cmp.Diff(&again, cut); err != nil || diff != "" {
		t.Errorf("CutOff (-want +got): %v\n%s", err, diff)
	}

	again.Ended, again.Result = again.Begun.Add(time.Second), json.RawMessage(`{"verdict":"started"}`)
	c := sampleCycle(3)
	mark := &Mark{At: night, Text: "C7 chilled", Kind: "treatment", AfterCycle: 2}
	if err := b.EndStep(again, &c, nil, mark); err != nil {
		t.Fatal(err)
	}
	if cut, err := b.CutOff(run); cut != nil || err != nil {
		t.Errorf("CutOff after the end = %v, %v", cut, err)
	}
	steps, err := b.Steps(run)
	if diff := cmp.Diff(again, steps[2]); err != nil || diff != "" {
		t.Errorf("Steps (-want +got): %v\n%s", err, diff)
	}
	marks, err := b.Marks(run)
	if diff := cmp.Diff([]Mark{{Run: run, Ordinal: 3, At: night, Text: "C7 chilled", Kind: "treatment", AfterCycle: 2}}, marks); err != nil || diff != "" {
		t.Errorf("Marks (-want +got): %v\n%s", err, diff)
	}
}

func TestResultIsNeverOverwritten(t *testing.T) {
	b := openBook(t)
	run := begin(t, b)
	addCycles(t, b, run, 1, 1)
	step := sampleStep(run, 1)
	if err := b.BeginStep(step); !errors.Is(err, ErrStepEnded) {
		t.Errorf("BeginStep of an ended step: %v", err)
	}
	step.Ended, step.Result = night, json.RawMessage(`"other"`)
	c := sampleCycle(2)
	if err := b.EndStep(step, &c, nil, nil); !errors.Is(err, ErrStepEnded) {
		t.Errorf("EndStep of an ended step: %v", err)
	}
	if cycles, err := b.Cycles(run, 0, 10); err != nil || len(cycles) != 1 {
		t.Errorf("the refused step left %d cycles, want 1 (%v)", len(cycles), err)
	}
}

// What EndStep is given is recorded together or not at all.
func TestEndStepIsOneTransaction(t *testing.T) {
	b := openBook(t)
	run := begin(t, b)
	addCycles(t, b, run, 1, 1)
	step := sampleStep(run, 2)
	if err := b.BeginStep(step); err != nil {
		t.Fatal(err)
	}
	step.Ended = night
	c := sampleCycle(1) // its number is taken
	err := b.EndStep(step, &c, []Waveform{{Kind: "clock", Trace: sampleTrace(10, 256)}}, &Mark{At: night, Text: "x", Kind: "mark"})
	if err == nil {
		t.Fatal("two cycles of one number were accepted")
	}
	if marks, _ := b.Marks(run); len(marks) != 0 {
		t.Error("the mark of the refused step was recorded")
	}
	if cut, _ := b.CutOff(run); cut == nil {
		t.Error("the refused step has a result")
	}
}

func TestStepThatTouchesNothing(t *testing.T) {
	b := openBook(t)
	run := begin(t, b)
	step := Step{Run: run, Ordinal: 1, Call: "log", Begun: night, Ended: night}
	if err := b.EndStep(step, nil, nil, nil); err != nil {
		t.Fatal(err)
	}
	steps, err := b.Steps(run)
	if err != nil || len(steps) != 1 || string(steps[0].Result) != "null" || steps[0].Attempts != 1 {
		t.Errorf("Steps = %+v, %v", steps, err)
	}
}

func TestMarksComeInOrderOfTime(t *testing.T) {
	b := openBook(t)
	run := begin(t, b)
	for i, at := range []time.Time{night.Add(time.Minute), night, night.Add(time.Hour)} {
		if err := b.AddMark(Mark{Run: run, At: at, Text: string(rune('a' + i)), Kind: "mark"}); err != nil {
			t.Fatal(err)
		}
	}
	marks, err := b.Marks(run)
	if err != nil || len(marks) != 3 || marks[0].Text+marks[1].Text+marks[2].Text != "bac" {
		t.Errorf("Marks = %+v, %v", marks, err)
	}
	if err := b.AddMark(Mark{Run: 42, At: night, Text: "x", Kind: "mark"}); err == nil {
		t.Error("a mark of a run that does not exist was accepted")
	}
}
