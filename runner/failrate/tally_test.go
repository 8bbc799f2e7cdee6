package failrate

import (
	"encoding/json"
	"math"
	"reflect"
	"testing"
)

var nan = math.NaN()

func started(volts float64, treatment string, seconds float64) Observation {
	return Observation{volts, treatment, "started", true, false, seconds}
}

func failed(volts float64, treatment, verdict string, seconds float64) Observation {
	return Observation{volts, treatment, verdict, true, true, seconds}
}

func lost(volts float64, treatment, verdict string) Observation {
	return Observation{volts, treatment, verdict, false, false, nan}
}

func tallied(observations ...Observation) *Tally {
	t := NewTally(.95)
	for _, o := range observations {
		t.Add(o)
	}
	return t
}

func TestTallyConditions(t *testing.T) {
	tally := tallied(
		started(2.4, "as found", .012), started(3.6, "as found", .004),
		failed(3.6-12*.1, "as found", "silent", nan), // 2.3999999999999995 V
		started(2.2, "C7 lifted", .010), started(3.0, "C7 lifted", .006),
		lost(2.4, "as found", "unread"), started(2.4, "as found", .014),
		failed(2.2, "C7 lifted", "late", .070),
	)
	type row struct {
		treatment                    string
		volts                        float64
		cycles, failures, notCounted int
	}
	var got []row
	for _, c := range tally.Conditions() {
		got = append(got, row{c.Treatment, c.Volts, c.Cycles, c.Failures, c.NotCounted})
	}
	want := []row{
		{"as found", 3.6, 1, 0, 0}, {"as found", 2.4, 3, 1, 1},
		{"C7 lifted", 3.0, 1, 0, 0}, {"C7 lifted", 2.2, 2, 1, 0},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("conditions\n%v, want\n%v", got, want)
	}
	c := tally.Conditions()[1]
	if iv := ClopperPearson(1, 3, .95); c.Low != iv.Low || c.High != iv.High || c.Estimate != 1./3 || c.OneSided || c.Confidence != .95 {
		t.Errorf("interval %+v, want %+v", c, iv)
	}
	if want := map[string]int{"started": 2, "silent": 1, "unread": 1}; !reflect.DeepEqual(c.Verdicts, want) {
		t.Errorf("verdicts %v, want %v", c.Verdicts, want)
	}
	if c.StartSecondsMedian != .014 {
		t.Errorf("median of 12 ms, 14 ms and a silent start is %v s", c.StartSecondsMedian)
	}
}

func TestTallyOf(t *testing.T) {
	tally := tallied(
		started(3.6, "as found", .004), failed(2.4, "as found", "silent", nan), started(2.4, "C7 lifted", .008),
		lost(2.4, "as found", "unpowered"),
	)
	all := tally.Of(func(float64, string) bool { return true })
	if all.Cycles != 3 || all.Failures != 1 || all.NotCounted != 1 || !math.IsNaN(all.Volts) || all.Treatment != "" || all.StartSecondsMedian != .008 {
		t.Errorf("pooled: %+v", all)
	}
	at24 := tally.Of(func(v float64, _ string) bool { return v == 2.4 })
	if at24.Volts != 2.4 || at24.Treatment != "" || at24.Cycles != 2 {
		t.Errorf("pooled at 2.4 V: %+v", at24)
	}
	none := tally.Of(func(float64, string) bool { return false })
	if none.Cycles != 0 || !math.IsNaN(none.Estimate) || none.High != 1 || !math.IsNaN(none.StartSecondsMedian) {
		t.Errorf("pooled from nothing: %+v", none)
	}
}

func TestTallyUnknownVolts(t *testing.T) {
	conditions := tallied(started(nan, "as found", .004), started(nan, "as found", .006)).Conditions()
	if len(conditions) != 1 || conditions[0].Cycles != 2 || !math.IsNaN(conditions[0].Volts) {
		t.Errorf("two cycles at an unknown voltage: %+v", conditions)
	}
}

// A cycle that did not start is slower than every start seen.
func TestStartMedian(t *testing.T) {
	for _, c := range []struct {
		starts []float64
		want   float64
	}{
		{nil, nan},
		{[]float64{.005}, .005},
		{[]float64{.007, .005}, .006},
		{[]float64{.005, nan, .007}, .007},
		{[]float64{nan, .005, nan}, nan},
		{[]float64{.005, nan}, nan}, // the middle lies beyond the window
		{[]float64{.005, .006, nan, nan}, nan},
		{[]float64{.004, .005, .006, nan}, .0055},
		{[]float64{nan, nan}, nan},
	} {
		tally := NewTally(.95)
		for _, s := range c.starts {
			tally.Add(Observation{Volts: 3, Verdict: "x", Counted: true, Failed: math.IsNaN(s), StartSeconds: s})
		}
		tally.Add(lost(3, "", "unread"))
		if got := tally.Conditions()[0].StartSecondsMedian; math.Abs(got-c.want) > 1e-15 || math.IsNaN(got) != math.IsNaN(c.want) {
			t.Errorf("median of %v is %v, want %v", c.starts, got, c.want)
		}
	}
}

func TestConditionJSON(t *testing.T) {
	none := tallied(lost(2.4, "as found", "unread")).Conditions()[0]
	got, err := json.Marshal(none)
	if err != nil {
		t.Fatal(err)
	}
	want := `{"volts":2.4,"treatment":"as found","cycles":0,"failures":0,"estimate":null,"low":0,"high":1,"confidence":0.95,` +
		`"one_sided":false,"verdicts":{"unread":1},"start_seconds_median":null,"not_counted":1}`
	if string(got) != want {
		t.Errorf("JSON\n%s, want\n%s", got, want)
	}
	for _, c := range append(tallied(started(3, "a", .01), failed(3, "a", "weak", nan), started(2, "a", .02)).Conditions(), none, Condition{Volts: nan}) {
		data, err := json.Marshal([]Condition{c})
		if err != nil {
			t.Fatal(err)
		}
		var back []Condition
		if err := json.Unmarshal(data, &back); err != nil {
			t.Fatal(err)
		}
		again, err := json.Marshal(back)
		if err != nil {
			t.Fatal(err)
		}
		if string(again) != string(data) || math.IsNaN(back[0].Estimate) != math.IsNaN(c.Estimate) {
			t.Errorf("there and back: %s, was %s", again, data)
		}
	}
	if err := json.Unmarshal([]byte(`{"cycles":"many"}`), &none); err == nil {
		t.Error("a text for a count was accepted")
	}
}
