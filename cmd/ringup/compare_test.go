package main

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/verdict"
)

// compared is a night with two voltages, a treatment that does nothing and one that keeps the unit from starting: 1.9 V
// is below what any unit starts at.
const compared = `
soak { volts = { 2.4, 1.9 }, cycles = 12, rest = "5 s" }
treatment "nothing done"
soak { volts = { 2.4, 3.0 }, cycles = 12, rest = "5 s" }
treatment "as found"
soak { volts = { 2.4 }, cycles = 8, rest = "5 s" }
`

func newCompared(t *testing.T) folder {
	t.Helper()
	f := newFolder(t, compared)
	f.write(t, "bench.toml", strings.Replace(demoBench, "cracked-capacitor", "healthy", 1))
	f.must(t, "run", "night.lua", "--listen", "none", "-q")
	return f
}

func TestCompare(t *testing.T) {
	t.Parallel()
	f := newCompared(t)
	treatments := []string{"compare", "last", "--treatment", "as found", "--treatment", "nothing done"}
	a := decode[comparisonAnswer](t, f.must(t, append(treatments, "--json")...))
	want, err := failrate.Newcombe(failrate.Counts{Cycles: 12}, failrate.Counts{Cycles: 20}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if a.Base.Name != "as found" || a.Other.Name != "nothing done" || a.Base.Cycles != 20 || a.Other.Cycles != 12 || a.LeftOut != 24 ||
		!reflect.DeepEqual(a.Volts, []float64{2.4}) || a.P != 1 || a.Start == nil || *a.Difference.Low != want.Low || *a.Difference.High != want.High {
		t.Errorf("%+v", a)
	}
	said := f.must(t, treatments...)
	for _, part := range []string{"nothing done against as found, at 2.40 V; 24 cycles", "not counted", "no change of the failure rate shown", "would have been seen four times in five", "Newcombe"} {
		if !strings.Contains(said, part) {
			t.Errorf("it does not say %q; it says\n%s", part, said)
		}
	}

	volts := decode[comparisonAnswer](t, f.must(t, "compare", "--treatment", "as found", "--volts", "2.4", "--volts", "1.9 V", "--json"))
	if volts.Base.Failures != 0 || volts.Base.Cycles != 20 || volts.Other.Failures != 12 || volts.Other.Cycles != 12 || len(volts.Volts) != 0 || !(volts.P < 1e-6) {
		t.Errorf("two voltages: %+v", volts)
	}
	if p := failrate.FisherExact(12, 12, 0, 20); math.Abs(volts.P-p) > 1e-12 {
		t.Errorf("p = %g, Fisher has %g", volts.P, p)
	}

	f.must(t, "run", "night.lua", "--listen", "none", "-q", "--fresh", "--seed", "2")
	runs := decode[comparisonAnswer](t, f.must(t, "compare", "1", "2", "--treatment", "as found", "--json"))
	if runs.Base.Name != "run 1" || runs.Other.Name != "run 2" || runs.Base.Cycles != 32 || runs.Other.Cycles != 32 || runs.LeftOut != 0 || len(runs.Volts) != 2 {
		t.Errorf("two runs: %+v", runs)
	}
	f.write(t, "bench.toml", strings.NewReplacer("cracked-capacitor", "healthy", "logger 0231", "logger 0232").Replace(demoBench))
	f.must(t, "run", "night.lua", "--listen", "none", "-q")
	units := decode[comparisonAnswer](t, f.must(t, "compare", "--unit", "river-level logger 0231", "--unit", "river-level logger 0232", "--json"))
	if units.Base.Cycles != 2*56 || units.Other.Cycles != 56 || units.Other.Name != "river-level logger 0232" {
		t.Errorf("two units: %+v", units)
	}

	for _, c := range []struct {
		arguments []string
		part      string
	}{
		{[]string{}, "both sides are the same"},
		{[]string{"1", "1"}, "both sides are the same"},
		{[]string{"1", "9"}, "run 9"},
		{[]string{"1", "x"}, `"x" is no run`},
		{[]string{"1", "--treatment", "as found", "--treatment", "C9 lifted"}, `no counted cycle of run 1, treatment "C9 lifted"`},
		{[]string{"1", "--treatment", "as found", "--treatment", "as found", "--treatment", "nothing done"}, "given 3 times"},
		{[]string{"1", "2", "--treatment", "as found", "--treatment", "nothing done", "--volts", "1.9", "--volts", "3.0", "--confidence", "95"}, "--confidence"},
		{[]string{"1", "--volts", "-1", "--volts", "2"}, "--volts"},
	} {
		f.wantRefused(t, exitUsage, append([]string{"compare"}, c.arguments...), c.part)
	}
}

// Nothing in common is said with what each side has.
func TestCompareWithNothingInCommon(t *testing.T) {
	t.Parallel()
	f := newFolder(t, "soak { volts = { 2.4 }, cycles = 3, rest = \"5 s\" }\ntreatment \"C7 = 12 pF\"\nsoak { volts = { 3.0 }, cycles = 3, rest = \"5 s\" }\n")
	f.must(t, "run", "night.lua", "--listen", "none", "-q")
	f.wantRefused(t, exitUsage, []string{"compare", "--treatment", "as found", "--treatment", "C7 = 12 pF"}, "2.4 V of as found", "3 V of C7 = 12 pF", "none in common")
}

// TestShowFollowsFromTheExport works out every number of show again from the exported table alone.
func TestShowFollowsFromTheExport(t *testing.T) {
	t.Parallel()
	f := newFolder(t, `
soak { volts = { 2.6, 2.3, 2.2, 2.1 }, cycles = 30, rest = "35 s" }
treatment "C7 chilled"
soak { volts = { 2.2 }, cycles = 15, rest = "5 s" }
treatment "as found"
soak { volts = { 2.2, 2.1 }, cycles = 15, rest = "5 s" }
`)
	f.must(t, "run", "night.lua", "--listen", "none", "-q")
	shown := decode[runner.Analysis](t, f.must(t, "show", "--json"))
	if len(shown.Nights) == 0 || len(shown.Thresholds) != 1 || len(shown.Thresholds[0].Volts) != 3 || shown.Conditions[0].Cycles == 0 {
		t.Fatalf("show has not all it should: %+v", shown)
	}
	if len(shown.Starts) != 4 || len(shown.Rests) != 1 || len(shown.Rests[0].Rests) != 2 {
		t.Fatalf("show has start times %+v and effects of rest %+v, want four and one", shown.Starts, shown.Rests)
	}

	rows, err := csv.NewReader(strings.NewReader(f.must(t, "export"))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]int{}
	for i, name := range rows[0] {
		at[name] = i
	}
	number := func(row []string, name string) float64 {
		v, err := strconv.ParseFloat(row[at[name]], 64)
		if row[at[name]] == "" {
			return math.NaN()
		}
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		return v
	}
	tally := failrate.NewTally(runner.Confidence)
	var counted []failrate.Cycle
	failures, started := map[string]int{}, map[string][]float64{}
	for _, row := range rows[1:] {
		v := verdict.Verdict(row[at["verdict"]])
		o := failrate.Observation{Volts: number(row, "set_volts"), Treatment: row[at["treatment"]], Verdict: string(v), Counted: v.Counted(), Failed: v.Failed(), StartSeconds: number(row, "start_seconds")}
		tally.Add(o)
		if o.Counted {
			counted = append(counted, failrate.Cycle{Treatment: o.Treatment, Volts: o.Volts, Failed: o.Failed, StartSeconds: o.StartSeconds, GrowthSeconds: number(row, "growth_seconds"), WatchSeconds: number(row, "watch_seconds"), RestSeconds: number(row, "rest_seconds")})
		}
		if at := o.Treatment + row[at["set_volts"]]; o.Counted && !math.IsNaN(o.StartSeconds) {
			started[at] = append(started[at], o.StartSeconds)
		}
		if o.Failed {
			failures[o.Treatment+row[at["set_volts"]]]++
		}
	}
	for _, c := range shown.Conditions {
		if n := failures[c.Treatment+strconv.FormatFloat(c.Volts, 'g', -1, 64)]; n != c.Failures {
			t.Errorf("%s at %g V: show has %d failures, the export %d", c.Treatment, c.Volts, c.Failures, n)
		}
	}
	// With one window, the time within which half of n have started is a plain order statistic.
	for _, s := range shown.Starts {
		times := slices.Sorted(slices.Values(started[s.Treatment+strconv.FormatFloat(s.Volts, 'g', -1, 64)]))
		k := (s.Cycles + 1) / 2 // 1-based; between two times where half is a whole number of cycles
		want := math.Inf(1)
		if k <= len(times) {
			want = times[k-1]
			if s.Cycles%2 == 0 && k < len(times) {
				want = (times[k-1] + times[k]) / 2
			}
		}
		if half := s.Within[0]; s.Started != len(times) || (half.Seconds == nil) != math.IsInf(want, 1) || half.Seconds != nil && math.Abs(*half.Seconds-want) > 1e-12 {
			t.Errorf("%s at %g V: show has %d starts, half of them within %v s; the export %d, %v s", s.Treatment, s.Volts, s.Started, half.Seconds, len(times), want)
		}
	}
	again := shown.Summary
	again.Conditions = tally.Conditions()
	text, err := json.Marshal(runner.Analyse(again, counted))
	if err != nil {
		t.Fatal(err)
	}
	if got, want := decode[any](t, string(text)), decode[any](t, f.must(t, "show", "--json")); !reflect.DeepEqual(got, want) {
		t.Errorf("worked out from the export:\n%v\nshow:\n%v", got, want)
	}

	said := f.must(t, "show")
	for _, part := range []string{"not counted", "through the run", "rest before the start", "time within which the starts have come", "failure rate against voltage, as found", "50 % of cycles fail at", "each treatment against the unit as found", "marks"} {
		if !strings.Contains(said, part) {
			t.Errorf("it does not say %q; it says\n%s", part, said)
		}
	}
}

// A script that rejects the unit ends run with exit status 3, and show says so.
func TestAcceptance(t *testing.T) {
	t.Parallel()
	f := newFolder(t, `
repeat
  cycle { volts = 1.9, rest = "5 s" }
  decision, why = decide { below = "1 %", above = "20 %" }
until decision ~= "continue"
log(why.sentence)
conclude(decision)
`)
	f.wantRefused(t, exitReject, []string{"run", "night.lua", "--listen", "none"}, "the script rejects the unit", "rejected after", "the supply is off, read back")
	if said := f.must(t, "show"); !strings.Contains(said, "own acceptance: rejected") {
		t.Errorf("show says\n%s", said)
	}
	f.write(t, "night.lua", "cycle { volts = 3.0, rest = \"5 s\" }\nconclude \"accept\"\n")
	f.must(t, "run", "night.lua", "--listen", "none")
	f.write(t, "night.lua", "decide { below = \"20 %\", above = \"1 %\" }\n")
	f.wantRefused(t, exitFailed, []string{"run", "night.lua", "--listen", "none"}, "night.lua:1:", "the accept rate is the lower of the two")
}
