package main

import (
	"encoding/json"
	"io"
	"reflect"
	"strings"
	"testing"

	"ringup/runner"
)

// told is what demo --json prints.
type told struct {
	Soak runner.Summary
	Hunt struct {
		runner.Summary
		Suspects []runner.Suspect
	}
	Proof runner.Summary
}

// TestDemo tells the demo twice from one seed, and once more with power cuts in the soak and in the hunt.
func TestDemo(t *testing.T) {
	t.Parallel()
	first, second, cut := folder(t.TempDir()), folder(t.TempDir()), folder(t.TempDir())
	texts := make(chan string, 2)
	for _, f := range []folder{first, second} {
		go func() { texts <- f.ringup(t, "demo", "--json", "--seed", "7").out }()
	}
	text := <-texts
	want := withoutWallTime(t, text)
	if got := withoutWallTime(t, <-texts); !reflect.DeepEqual(got, want) {
		t.Errorf("two demos from one seed differ:\n%v\n%v", got, want)
	}

	for _, moment := range []string{"1 of 1200 cycles", "Chill Y1"} {
		p := cut.start(t, nil, "demo", "--seed", "7")
		p.await(moment)
		p.kill()
	}
	resumed := cut.must(t, "demo", "--json", "--seed", "7")
	if got := withoutWallTime(t, resumed); !reflect.DeepEqual(got, want) {
		t.Errorf("the resumed demo differs from the uninterrupted one:\n%v\n%v", got, want)
	}

	checkKeys(t, text)
	checkStory(t, decode[told](t, text))
}

// checkKeys looks for what a program that reads the JSON relies on.
func checkKeys(t *testing.T, text string) {
	t.Helper()
	for stage, v := range decode[map[string]map[string]any](t, text) {
		for _, key := range strings.Fields("run unit treatment seed wall_seconds virtual_seconds cycles not_counted conditions") {
			if _, ok := v[key]; !ok {
				t.Errorf("%s has no %s", stage, key)
			}
		}
		conditions, _ := v["conditions"].([]any)
		if len(conditions) == 0 {
			t.Errorf("%s has no conditions", stage)
		}
		for _, c := range conditions {
			for _, key := range strings.Fields("volts treatment cycles failures estimate low high confidence verdicts start_seconds_median") {
				if _, ok := c.(map[string]any)[key]; !ok {
					t.Errorf("a condition of %s has no %s", stage, key)
				}
			}
		}
	}
}

// checkStory checks what the demo must find: the fault of the simulated unit is a cracked C7.
func checkStory(t *testing.T, d told) {
	t.Helper()
	if d.Soak.Cycles < 1200 || len(d.Soak.Conditions) != 6 || d.Soak.Seed != 7 {
		t.Errorf("the soak has %d cycles at %d voltages from seed %d", d.Soak.Cycles, len(d.Soak.Conditions), d.Soak.Seed)
	}
	if hours := d.Soak.VirtualSeconds / 3600; hours < 8 || hours > 14 {
		t.Errorf("the soak's night has %.1f h", hours)
	}
	for _, c := range d.Soak.Conditions {
		if c.Confidence != 0.95 || c.Low > c.Estimate || c.Estimate > c.High {
			t.Errorf("at %.1f V: %+v is no estimate within a 95 %% interval", c.Volts, c)
		}
	}
	if len(d.Hunt.Suspects) == 0 || !strings.Contains(d.Hunt.Suspects[0].Treatment, "C7") || d.Hunt.Suspects[0].Adjusted > 0.05 {
		t.Errorf("the hunt suspects %+v, not C7", d.Hunt.Suspects)
	}
	if d.Proof.Cycles == 0 {
		t.Error("the proof has no cycles")
	}
	for _, c := range d.Proof.Conditions {
		if c.Failures > 0 {
			t.Errorf("the repaired unit failed %d of %d at %.1f V", c.Failures, c.Cycles, c.Volts)
		}
	}
}

// withoutWallTime decodes the demo's JSON and removes what really took time.
func withoutWallTime(t *testing.T, text string) map[string]map[string]any {
	t.Helper()
	var v map[string]map[string]any
	if err := json.Unmarshal([]byte(text), &v); err != nil {
		t.Fatalf("%v in %q", err, text)
	}
	for stage := range v {
		if _, ok := v[stage]["wall_seconds"]; !ok {
			t.Errorf("%s has no wall_seconds", stage)
		}
		delete(v[stage], "wall_seconds")
	}
	return v
}

// TestDemoWithoutAFind tells the story of a sound unit: the hunt lifts no part, and the story ends there in plain words.
func TestDemoWithoutAFind(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	tell := func(json bool) string {
		var out strings.Builder
		d := demo{io: streams{out: &out, err: io.Discard}, dir: dir, text: strings.Replace(demoBench, "cracked-capacitor", "healthy", 1),
			o: options{json: json}, f: runFlags{seed: 1, listen: listening{address: "none"}, quiet: true}}
		if err := d.do(t.Context()); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	story := tell(false)
	for _, want := range []string{"nothing was shown", "no treatment changed anything surely", "there is no repair to prove", "The report to keep"} {
		if !strings.Contains(story, want) {
			t.Errorf("the story does not say %q:\n%s", want, story)
		}
	}
	var told struct {
		Soak  runner.Summary
		Proof *demoProof
	}
	if err := json.Unmarshal([]byte(tell(true)), &told); err != nil {
		t.Fatal(err)
	}
	if told.Proof != nil || told.Soak.Run != 1 {
		t.Errorf("told again, proof %v of a soak of run %d; it begins anew and proves nothing", told.Proof, told.Soak.Run)
	}
}
