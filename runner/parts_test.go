package runner_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"ringup/drivers"
	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
	"ringup/runner/simbench"
)

// failure is how a part of a script's own cycle fails: a result, since it is recorded.
type failure struct {
	Error struct{ Kind, Message string }
}

// part calls one part and returns its result. A failure of the part is an error that begins with its kind.
func part(ctx context.Context, s *runner.Session, name string, arguments any) (json.RawMessage, error) {
	raw, err := call(ctx, s, name, arguments)
	var f failure
	if err != nil || json.Unmarshal(raw, &f) != nil || f.Error.Kind == "" {
		return raw, err
	}
	return raw, errors.New(f.Error.Kind + ": " + f.Error.Message)
}

type (
	volts map[string]float64
	none  struct{}
)

// script calls parts until one fails.
func script(t *testing.T, s *runner.Session, calls ...any) (last json.RawMessage, err error) {
	t.Helper()
	for i := 0; i < len(calls); i += 2 {
		if last, err = part(t.Context(), s, calls[i].(string), calls[i+1]); err != nil {
			return nil, fmt.Errorf("%s: %w", calls[i], err)
		}
	}
	return last, nil
}

// ownCycle is a cycle made of its parts.
var ownCycle = []any{
	"supply.off", volts{"rest": 10}, "supply.set", volts{"volts": 2.4}, "scope.arm", volts{"watch": 0.08},
	"supply.on", none{}, "scope.fetch", none{}, "supply.off", none{}, "record", none{},
}

func wantError(t *testing.T, err error, parts ...string) {
	t.Helper()
	if err == nil {
		t.Errorf("no error; want one that says %q", parts)
		return
	}
	for _, p := range parts {
		if !strings.Contains(err.Error(), p) {
			t.Errorf("the error is %q, want it to say %q", err, p)
		}
	}
}

func (s *simulation) wantOff(t *testing.T) {
	t.Helper()
	if on, _ := s.sim.SupplyOutput(); on {
		t.Error("THE SUPPLY IS ON")
	}
}

// A cycle made of its parts measures, in every digit, what the cycle call does in the same night.
func TestOwnCycleIsACycle(t *testing.T) {
	night := func(do func(*runner.Session) error) []logbook.Cycle {
		s := simulate(t, simulation{unit: "cracked-capacitor", celsius: -10, rested: time.Minute, seed: 3})
		session := s.open(t, nil)
		for range 5 {
			if err := do(session); err != nil {
				t.Fatal(err)
			}
		}
		if err := errors.Join(session.End(nil), s.book.Check()); err != nil {
			t.Error(err)
		}
		waves, err := s.book.WaveformCycles(session.Run().ID)
		if err != nil || len(waves) == 0 {
			t.Errorf("waveforms of the cycles %v, %v", waves, err)
		}
		return s.cycles(t, session.Run().ID)
	}
	want := night(func(s *runner.Session) error {
		_, err := call(t.Context(), s, "cycle", volts{"volts": 2.4, "rest": 10, "watch": 0.08})
		return err
	})
	got := night(func(s *runner.Session) error { _, err := script(t, s, ownCycle...); return err })
	for i := range want {
		for _, c := range []*logbook.Cycle{&want[i], &got[i]} {
			c.Ordinal, c.Phases = 0, nil
		}
		if w, g := fmt.Sprintf("%+v", want[i]), fmt.Sprintf("%+v", got[i]); w != g { // as text: NaN is no number's equal
			t.Errorf("cycle %d is\n%s\nwant\n%s", i+1, g, w)
		}
	}
}

// restart opens the unfinished run again, as after kill -9: the supply has been opened anew and is off, and nobody knows
// what the scope did.
func (s *simulation) restart(t *testing.T) *runner.Session {
	t.Helper()
	if err := errors.Join(s.rig.Supply.Reopen(t.Context()), s.rig.Supply.Off(t.Context()), s.rig.Scope.Stop(t.Context())); err != nil {
		t.Fatal(err)
	}
	unfinished, err := runner.Unfinished(s.book, runner.Program{Name: "test"}, s.rig.Bench, s.seed)
	if err != nil || unfinished == nil {
		t.Fatalf("the unfinished run: %v, %v", unfinished, err)
	}
	return s.open(t, unfinished)
}

// TestOwnCycleCutOff restarts the program after each part of a cycle. A script never goes on believing that the supply is
// on, that the scope is armed or that a start can still be recorded; it learns so as an error, which a second restart
// finds in the logbook; and begun again the cycle is whole.
func TestOwnCycleCutOff(t *testing.T) {
	for done, next := range map[int]string{2: "", 3: "supply.on", 4: "scope.fetch", 5: "", 6: "record"} {
		t.Run(fmt.Sprintf("after %s", ownCycle[2*done-2]), func(t *testing.T) {
			t.Parallel()
			s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: 1})
			session := s.open(t, nil)
			first, err := script(t, session, ownCycle[:2*done]...)
			if err != nil {
				t.Fatal(err)
			}
			for attempt := range 2 {
				session = s.restart(t)
				again, err := script(t, session, ownCycle[:2*done]...)
				if err != nil || string(again) != string(first) {
					t.Fatalf("replayed: %s, %v; recorded was %s", again, err, first)
				}
				s.wantOff(t)
				_, err = script(t, session, ownCycle[2*done:]...)
				switch {
				case next == "" && done == 2:
					if err != nil {
						t.Fatal(err)
					}
					return
				case next == "": // off is what it is told to be; what is lost shows at record
					wantError(t, err, "record: interrupted: ", "restarted")
				default:
					wantError(t, err, next+": interrupted: ", "restarted")
				}
				s.wantOff(t)
				if n := len(s.cycles(t, session.Run().ID)); n != 0 {
					t.Errorf("attempt %d: %d cycles are recorded of one that was cut off", attempt, n)
				}
			}
			if _, err := script(t, session, ownCycle...); err != nil {
				t.Errorf("begun again: %v", err)
			}
			if err := errors.Join(session.End(nil), s.book.Check()); err != nil {
				t.Error(err)
			}
			if all := s.cycles(t, session.Run().ID); len(all) != 1 || all[0].Verdict != "started" {
				t.Errorf("the logbook has %+v, want the one cycle", all)
			}
		})
	}
}

var (
	switchedOn = []any{"supply.set", volts{"volts": 3.6}, "supply.on", none{}}
	watched    = []any{"supply.set", volts{"volts": 3.6}, "scope.arm", none{}, "supply.on", none{}}
)

// A start may be fetched after the supply is off: without what needs the unit on, and not after a restart.
func TestFetchedAfterOff(t *testing.T) {
	s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: 1})
	session := s.open(t, nil)
	seen := []any{"supply.set", volts{"volts": 3}, "scope.arm", volts{"watch": 0.08}, "supply.on", none{}, "wait", volts{"duration": 0.1}, "supply.off", none{}}
	if _, err := script(t, session, append(seen[:10:10], "scope.fetch", none{}, "record", none{})...); err != nil {
		t.Fatal(err)
	}
	all := s.cycles(t, session.Run().ID)
	if len(all) != 1 || !(all[0].StartSeconds < 0.02) || !math.IsNaN(all[0].SupplyVolts) || all[0].PoweredOff.Sub(all[0].PoweredOn) != 100*time.Millisecond {
		t.Errorf("recorded %+v", all)
	}
	waves, err := s.book.Waveforms(session.Run().ID, 1)
	if err != nil || len(waves) != 2 || waves[0].Kind == "steady" || waves[1].Kind == "steady" {
		t.Errorf("%d records of a unit that was off, want rail and clock; %v", len(waves), err)
	}
	if _, err := script(t, session, seen...); err != nil {
		t.Fatal(err)
	}
	session = s.restart(t)
	if _, err := script(t, session, append(seen[:10:10], "scope.fetch", none{}, "record", none{})...); err != nil {
		t.Fatal(err)
	}
	_, err = script(t, session, append(seen[:10:10], "scope.fetch", none{})...)
	wantError(t, err, "scope.fetch: interrupted: ")
	if err := errors.Join(session.End(nil), s.book.Check()); err != nil {
		t.Error(err)
	}
}

// onReading calls back, once, when the supply has been read while it is on.
type onReading struct {
	*watcher
	once sync.Once
	call func()
}

func (o *onReading) Observe(e runner.Event) {
	if e.Kind == runner.SupplyRead && e.Output && !math.IsNaN(e.Volts) {
		o.once.Do(o.call)
	}
	o.watcher.Observe(e)
}

// A hold switches off before the next call, and in the middle of a wait; the script learns it.
func TestHoldOfAnOwnCycle(t *testing.T) {
	for name, during := range map[string]bool{"before a wait": false, "during it": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := &onReading{watcher: newWatcher()}
			s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: 1, watch: w})
			session := s.open(t, nil)
			hold := func() {
				if err := session.Hold("hands on the board"); err != nil {
					t.Error(err)
				}
			}
			w.call = func() {}
			if during {
				w.call = hold
			}
			if _, err := script(t, session, switchedOn...); err != nil {
				t.Fatal(err)
			}
			if !during {
				hold()
			}
			done := make(chan error, 1)
			go func() { _, err := part(t.Context(), session, "wait", volts{"duration": 3600}); done <- err }()
			s.wantHeld(t, session.Run().ID, w.await(t, runner.Held), "by a person", true)
			if err := session.Resume(); err != nil {
				t.Fatal(err)
			}
			wantError(t, <-done, "interrupted: ", "the run held")
			s.wantOff(t)
			if begun := s.clock.Now().Sub(nightBegins); begun > time.Minute {
				t.Errorf("the hold began %s into the hour", begun)
			}
			for _, again := range [][]any{switchedOn, ownCycle} {
				if _, err := script(t, session, again...); err != nil {
					t.Errorf("begun again: %v", err)
				}
			}
		})
	}
}

// Too much current holds the run wherever the script looks, and where it does not look itself.
func TestOverCurrentOfAnOwnCycle(t *testing.T) {
	for name, arguments := range map[string]any{"supply.read": none{}, "supply.off": none{}, "wait": volts{"duration": 60}, "scope.fetch": none{}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := newWatcher()
			s, session := held(t, w)
			calls := switchedOn
			if name == "scope.fetch" {
				calls = watched
			}
			if _, err := script(t, session, calls...); err != nil {
				t.Fatal(err)
			}
			s.sim.Faults().Overcurrent(0.4)
			done := make(chan error, 1)
			go func() { _, err := part(t.Context(), session, name, arguments); done <- err }()
			s.wantHeld(t, session.Run().ID, w.await(t, runner.Held), "over-current", true)
			s.sim.Faults().Overcurrent(0)
			if err := session.Resume(); err != nil {
				t.Fatal(err)
			}
			wantError(t, <-done, "over-current: ", "drew 0.4")
			s.mustCycle(t, session, "started")
		})
	}
}

// What switches off by itself does so, whatever a script believes.
func TestOffWhateverTheScriptSays(t *testing.T) {
	t.Run("at its end", func(t *testing.T) {
		s, session := held(t, newWatcher())
		if _, err := script(t, session, watched...); err != nil {
			t.Fatal(err)
		}
		if on, v := s.sim.SupplyOutput(); !on || v != 3.6 {
			t.Errorf("the output is on: %t, at %g V", on, v)
		}
		if err := session.End(nil); err != nil {
			t.Error(err)
		}
		s.wantOff(t)
	})
	t.Run("when it asks", func(t *testing.T) {
		w := newWatcher()
		s, session := held(t, w)
		if _, err := script(t, session, switchedOn...); err != nil {
			t.Fatal(err)
		}
		done := make(chan error, 1)
		go func() { _, err := call(t.Context(), session, "ask", map[string]string{"text": "Hands?"}); done <- err }()
		w.await(t, runner.Held)
		s.wantOff(t)
		if err := errors.Join(session.Answer("yes"), <-done); err != nil {
			t.Error(err)
		}
		if _, err := script(t, session, "supply.on", none{}); err == nil {
			t.Error("on again with what was set before a person had hands on the unit")
		}
	})
	t.Run("for a cycle", func(t *testing.T) {
		s, session := held(t, newWatcher())
		if _, err := script(t, session, watched...); err != nil {
			t.Fatal(err)
		}
		if c := s.mustCycle(t, session, "started"); c.Reason == "" {
			t.Error("no reason")
		}
		raw, err := script(t, session, "supply.read", none{})
		if err != nil || !strings.Contains(string(raw), `"output":false`) {
			t.Errorf("after the cycle: %s, %v", raw, err)
		}
	})
}

// Beyond the limits nothing is sent, and nothing recorded.
func TestOwnCycleKeepsTheLimits(t *testing.T) {
	s, session := held(t, newWatcher())
	heard := 0
	s.sim.Faults().Listen(simbench.Supply, func(string) { heard++ })
	_, err := script(t, session, "supply.set", volts{"volts": 4})
	s.sim.Faults().Listen(simbench.Supply, nil)
	var limit *drivers.LimitError
	if !errors.As(err, &limit) || limit.Asked != 4 || limit.Limit != 3.9 || heard != 0 {
		t.Errorf("got %v, and the supply heard %d messages", err, heard)
	}
	if steps, err := s.book.Steps(session.Run().ID); err != nil || len(steps) != 0 {
		t.Errorf("steps %v, %v", steps, err)
	}
}

// Parts in an order that makes no sense are refused before anything is touched, and say what to do.
func TestPartsOutOfOrder(t *testing.T) {
	on := switchedOn[:4:4]
	for name, c := range map[string]struct {
		calls []any
		says  string
	}{
		"on without a voltage":   {[]any{"supply.on", none{}}, "call supply.set first"},
		"on twice":               {append(on, "supply.on", none{}), "it is on already"},
		"armed for no voltage":   {[]any{"scope.arm", none{}}, "call supply.set first: the volts scale"},
		"set while on":           {append(on, "supply.set", volts{"volts": 3}), "call supply.off first"},
		"armed while on":         {append(on, "scope.arm", none{}), "call supply.off first"},
		"armed for other volts":  {[]any{"supply.set", volts{"volts": 3}, "scope.arm", none{}, "supply.set", volts{"volts": 2.4}, "supply.on", none{}, "scope.fetch", none{}}, "supply.set, supply.off with a rest"},
		"nothing to fetch":       {append(on, "scope.fetch", none{}), "call scope.arm before"},
		"fetched before it came": {[]any{"supply.set", volts{"volts": 3}, "scope.arm", none{}, "scope.fetch", none{}}, "call supply.on between"},
		"fetched twice":          {append(ownCycle[:10:10], "scope.fetch", none{}), "each record is fetched once"},
		"given up by a rest":     {append(ownCycle[:8:8], "supply.off", volts{"rest": 1}, "scope.fetch", none{}), "give it up"},
		"recorded while on":      {append(ownCycle[:10:10], "record", none{}), "call supply.off first"},
		"recorded twice":         {append(ownCycle[:14:14], "record", none{}), "once for each record"},
		"nothing to record":      {append(on, "supply.off", none{}, "record", none{}), "scope.fetch and supply.off first"},
		"no thermometer":         {[]any{"thermometer.read", none{}}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s, session := held(t, newWatcher())
			if c.says == "" {
				raw, err := script(t, session, c.calls...)
				if err != nil || !strings.HasPrefix(string(raw), "2") { // near 20 °C
					t.Errorf("a bench with a thermometer says %s, %v", raw, err)
				}
				return
			}
			_, err := script(t, session, c.calls...)
			var input *failrate.InputError
			if !errors.As(err, &input) {
				t.Errorf("got %v, want a refusal", err)
			}
			wantError(t, err, c.calls[len(c.calls)-2].(string), c.says)
			if err := errors.Join(session.End(nil), s.book.Check()); err != nil {
				t.Error(err)
			}
			s.wantOff(t)
		})
	}
}

// A bench without scope and thermometer says so, and its supply's parts work.
func TestPartsOfASmallBench(t *testing.T) {
	s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: 1, text: withoutScope})
	session := s.open(t, nil)
	_, err := script(t, session, "supply.set", volts{"volts": 3}, "scope.arm", none{})
	wantError(t, err, "scope.arm without a scope")
	_, err = script(t, session, "thermometer.read", none{})
	wantError(t, err, "thermometer.read without a thermometer")
	raw, err := script(t, session, "supply.on", none{}, "wait", volts{"duration": 25}, "supply.read", none{})
	var reading struct {
		Volts, Amps float64
		Output      bool
	}
	if err := errors.Join(err, json.Unmarshal(raw, &reading)); err != nil || !reading.Output || reading.Volts < 2.95 || reading.Volts > 3.05 || reading.Amps < 1e-3 {
		t.Errorf("reads %s, %v", raw, err)
	}
	if err := session.End(nil); err != nil {
		t.Error(err)
	}
	s.wantOff(t)
}

// Behind a relay the voltage is the one set by hand; and where nothing but the rail probe confirms that the relay is
// open, the scope is not for scripts.
func TestPartsOnARelay(t *testing.T) {
	_, session := onRelay(t, 3.6)
	_, err := script(t, session, "supply.set", volts{"volts": 3.3})
	wantError(t, err, "supply.set_by_hand: 3.3 V were asked for")
	calls := append([]any{}, ownCycle...)
	calls[3] = volts{"volts": 3.6}
	raw, err := script(t, session, calls...)
	if err != nil || !strings.Contains(string(raw), `"verdict":"started"`) || !strings.Contains(string(raw), `"volts":null`) {
		t.Errorf("a relay that is read back: %s, %v", raw, err)
	}

	s, _ := onRelay(t, 3.6)
	s.rig.Supply = &blind{Supply: s.rig.Supply}
	session = s.open(t, nil)
	_, err = script(t, session, "supply.set", volts{"volts": 3.6}, "scope.arm", none{})
	wantError(t, err, "scope.arm with a relay that nothing reads back", "use cycle")
	if _, err := script(t, session, "supply.on", none{}, "wait", volts{"duration": 5}, "supply.off", none{}); err != nil {
		t.Error(err)
	}
	s.wantOff(t)
	if err := session.End(nil); err != nil {
		t.Error(err)
	}
}

// samples divides what the scope recorded, and loses neither its ends nor its extremes.
func TestFetchedSamples(t *testing.T) {
	s, session := held(t, newWatcher())
	raw, err := script(t, session, append(ownCycle[:8:8], "scope.fetch", map[string]int{"samples": 7})...)
	var start struct {
		Verdict     string
		Start       float64 `json:"start_s"`
		Rail, Clock struct {
			Start       float64 `json:"start_s"`
			Step        float64 `json:"step_s"`
			Low         float64 `json:"low_v"`
			High        float64 `json:"high_v"`
			Count       int
			Lows, Highs []float64
		}
	}
	if err := errors.Join(err, json.Unmarshal(raw, &start)); err != nil {
		t.Fatal(err)
	}
	for name, r := range map[string]any{"rail": start.Rail, "clock": start.Clock} {
		v := reflect.ValueOf(r)
		if n := v.FieldByName("Count").Int(); n != 7 || v.FieldByName("Lows").Len() != 7 || v.FieldByName("Highs").Len() != 7 {
			t.Errorf("%s has %d stretches: %+v", name, n, r)
		}
	}
	// 80 ms are watched, and 8 % of that before the trigger.
	if r := start.Rail; r.Start > -0.0063 || r.Start+7*r.Step < 0.08 || r.Low > 0.1 || r.High < 2.35 || r.Highs[6] < 2.35 || r.Lows[0] > 0.1 || r.Lows[6] < 2.3 {
		t.Errorf("a rail that comes up to 2.4 V is %+v", r)
	}
	if start.Verdict != "started" || start.Clock.Highs[6]-start.Clock.Lows[6] < 0.5 {
		t.Errorf("%s; a clock that runs is %+v", start.Verdict, start.Clock)
	}
	if err := session.End(nil); err != nil {
		t.Error(err)
	}
	s.wantOff(t)
}
