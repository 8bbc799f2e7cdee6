package simbench

import (
	"math"
	"strings"
	"testing"
	"time"

	"ringup/runner/crystal"
)

func TestClimateFollowsTheDay(t *testing.T) {
	zone := time.FixedZone("UTC+1", 3600)
	c := Climate{MeanCelsius: 20, SwingCelsius: 3, ColdestAt: 5 * time.Hour, Zone: zone, Still: true}
	at := func(hour int) float64 { return c.celsius(time.Date(2025, 11, 4, hour, 0, 0, 0, zone), chance{1}) }
	for hour, want := range map[int]float64{5: 17, 11: 20, 17: 23, 23: 20} {
		near(t, "ambient", at(hour), want, 1e-9)
	}
	if got := (Climate{}).celsius(time.Date(2025, 11, 4, 5, 0, 0, 0, time.UTC), chance{1}); math.Abs(got-17) > 1.5 {
		t.Errorf("a laboratory's night has %.1f °C at its coldest", got)
	}
}

// First-order noise: standard deviation 0.3 K, correlation exp(−lag/15 min), continuous in time.
func TestWanderIsFirstOrderNoise(t *testing.T) {
	luck := chance{99}
	const lag = 15 * time.Minute
	var sum, squares, products float64
	const n = 4000
	for i := range n {
		at := evening.Add(time.Duration(i) * time.Hour)
		v, later := wander(at, luck), wander(at.Add(lag), luck)
		sum, squares, products = sum+v, squares+v*v, products+v*later
		if jump := math.Abs(wander(at.Add(time.Second), luck) - v); jump > 0.02 {
			t.Fatalf("%.3f K in a second", jump)
		}
	}
	near(t, "mean", sum/n, 0, 0.03)
	near(t, "standard deviation", math.Sqrt(squares/n), wanderCelsius, 0.02)
	near(t, "correlation after one time constant", products/squares, math.Exp(-1), 0.06)
	if wander(evening, luck) == wander(evening, chance{100}) {
		t.Error("another seed makes the same air")
	}
}

func TestThermometerReadsTheAir(t *testing.T) {
	r := newRig(t, nil)
	near(t, "thermometer", r.number(Thermometer, "MEASure:TEMPerature?"), 25, 0.15)
}

// The temperature of a treated part in closed form, by hand: spray pulls toward −25 °C with 3 s, air toward 60 °C with
// 5 s, released parts go back with 45 s.
func TestHandMovesTemperatures(t *testing.T) {
	r := newRig(t, nil)
	do := func(verb, part string) {
		t.Helper()
		if err := r.Hand().Do(Action{Verb: verb, Part: part}); err != nil {
			t.Fatal(err)
		}
	}
	do(Chill, "C7")
	r.clock.pass(6 * time.Second)
	chilled := -25 + 50*math.Exp(-2)
	near(t, "chilled", r.world.partCelsius(r.clock.Now())[crystal.C7], chilled, 1e-9)
	do(Release, "C7")
	do(Warm, "Y1")
	r.clock.pass(45 * time.Second)
	parts := r.world.partCelsius(r.clock.Now())
	near(t, "released", parts[crystal.C7], 25+(chilled-25)*math.Exp(-1), 1e-9)
	near(t, "warmed", parts[crystal.Y1], 60-35*math.Exp(-9), 1e-9)
	if _, touched := parts[crystal.U1]; touched || len(parts) != 2 {
		t.Errorf("parts with a temperature of their own: %v", parts)
	}
}

// What the hand does shows in how the unit starts.
func TestHandChangesTheUnit(t *testing.T) {
	failures := func(treat func(*rig)) (n int) {
		r := newRig(t, func(o *Options) { o.Unit = "cracked-capacitor" })
		treat(r)
		for range 40 {
			r.clock.pass(3 * time.Second)
			r.power("2.4")
			r.clock.pass(100 * time.Millisecond)
			if math.IsInf(r.world.latest().up.ClockSeconds(), 1) {
				n++
			}
			r.say(Supply, "OUTP OFF")
		}
		return n
	}
	must := func(r *rig, a Action) {
		t.Helper()
		if err := r.Hand().Do(a); err != nil {
			t.Fatal(err)
		}
	}
	asFound := failures(func(*rig) {})
	chilled := failures(func(r *rig) { must(r, Action{Verb: Chill, Part: "C7"}); r.clock.pass(20 * time.Second) })
	repaired := failures(func(r *rig) {
		must(r, Action{Verb: Chill, Part: "C7"})
		must(r, Action{Verb: Fit, Part: "C7", Value: 27e-12})
		r.clock.pass(20 * time.Second)
	})
	if !(chilled > asFound && chilled > 0 && repaired == 0) {
		t.Errorf("failures of 40: %d as found, %d with C7 chilled, %d with a new C7", asFound, chilled, repaired)
	}
}

func TestSolderingNeedsTheSupplyOff(t *testing.T) {
	r := newRig(t, nil)
	r.power("3.6")
	for _, verb := range []string{Lift, Fit, Insert} {
		err := r.Hand().Do(Action{Verb: verb, Part: "C7"})
		if err == nil || !strings.Contains(err.Error(), "switch the supply off") {
			t.Errorf("%s while powered: %v", verb, err)
		}
	}
	if err := r.Hand().Do(Action{Verb: Chill, Part: "C7"}); err != nil {
		t.Errorf("chill while powered: %v", err)
	}
	r.say(Supply, "OUTP OFF")
	if err := r.Hand().Do(Action{Verb: Lift, Part: "C7"}); err != nil {
		t.Errorf("lift with the supply off: %v", err)
	}
	for _, a := range []Action{{Verb: "kick", Part: "C7"}, {Verb: Chill, Part: "Z9"}, {Verb: Lift, Part: "Z9"}} {
		if err := r.Hand().Do(a); err == nil {
			t.Errorf("%v was accepted", a)
		}
	}
	if n := len(r.Hand().History()); n != 2 {
		t.Errorf("history holds %d actions, want the 2 that were done", n)
	}
}

func TestReplayLeavesTheUnitAsItWas(t *testing.T) {
	r := newRig(t, nil)
	for _, a := range []Action{{Verb: Chill, Part: "Y1"}, {Verb: Lift, Part: "C8"}, {Verb: Release, Part: "Y1"}, {Verb: Fit, Part: "C8", Value: 22e-12}} {
		if err := r.Hand().Do(a); err != nil {
			t.Fatal(err)
		}
		r.clock.pass(10 * time.Second)
	}
	again := newRig(t, nil)
	again.clock.pass(40 * time.Second)
	if err := again.Hand().Replay(r.Hand().History()); err != nil {
		t.Fatal(err)
	}
	now := r.clock.Now()
	if a, b := r.world.partCelsius(now), again.world.partCelsius(now); len(a) != 1 || a[crystal.Y1] != b[crystal.Y1] {
		t.Errorf("temperatures %v and %v", a, b)
	}
	if a, b := night(r, 2, false), night(again, 2, false); differing(a, b) != 0 {
		t.Error("the replayed unit behaves otherwise")
	}
	if err := again.Hand().Replay([]Action{{At: evening, Verb: Chill, Part: "C7"}}); err == nil {
		t.Error("an action older than the last one was accepted")
	}
	if err := again.Hand().Replay([]Action{{At: evening.AddDate(1, 0, 0), Verb: Chill, Part: "C7"}}); err == nil {
		t.Error("an action in the future was accepted")
	}
}

func TestNewRefusesWhatCannotBe(t *testing.T) {
	clock := &handClock{now: evening}
	for what, o := range map[string]Options{
		"no clock":      {Unit: "healthy"},
		"unknown unit":  {Unit: "toaster", Clock: clock},
		"unknown node":  {Unit: "healthy", Clock: clock, ClockProbe: Probe{Node: "D"}},
		"negative load": {Unit: "healthy", Clock: clock, ClockProbe: Probe{Node: NodeA, Farads: -1}},
		"off in future": {Unit: "healthy", Clock: clock, OffSince: evening.Add(time.Hour)},
	} {
		if _, err := New(o); err == nil {
			t.Errorf("%s was accepted", what)
		}
	}
}
