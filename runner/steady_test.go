package runner_test

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ringup/runner"
	"ringup/runner/verdict"
)

// scopeDialect is a folder with the simulated scope's dialect, changed.
func scopeDialect(t *testing.T, old, changed string) string {
	t.Helper()
	text, err := os.ReadFile("../drivers/dialect/files/simulated-scope.toml")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(text), old) {
		t.Fatalf("the dialect has no %s", old)
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "simulated-scope.toml"), []byte(strings.Replace(string(text), old, changed, 1)), 0o644); err != nil {
		t.Fatal(err)
	}
	return dir
}

// Where the steady record stays in the scope, the scope's own measurement takes its place, and logbook and summary say
// so. A scope without measurements leaves the cycle unread.
func TestOwnMeasurementsForWantOfASteadyRecord(t *testing.T) {
	const data = `ask = "TRACe:DATA? CH{channel:d}"`
	const refused = `ask = "TRACe:DATA? CH{channel + 10 * (samples == 4096):d}"` // there is no such channel
	for name, c := range map[string]struct {
		old, changed, address string
		verdict               verdict.Verdict
		warning               string
	}{
		"not given":      {data, refused, "", verdict.Started, "did not give its steady record"},
		"wire too slow":  {data, data, "serial:/dev/ttyS0?baud=4800", verdict.Started, "the wire is too slow"},
		"wire just slow": {data, data, "serial:/dev/ttyS0?baud=9600", verdict.Started, ""},
	} {
		dir := scopeDialect(t, c.old, c.changed)
		shorten(t, dir)
		s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Hour, seed: 3, dialects: dir})
		if c.address != "" {
			s.rig.Bench.Scope.Address = c.address // what the plan goes by; the wire itself is none
		}
		session := s.open(t, nil)
		if _, err := call(t.Context(), session, "cycle", map[string]float64{"volts": 3.6, "rest": 3, "watch": 0.08}); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		got := s.cycles(t, session.Run().ID)[0]
		if got.Verdict != c.verdict || math.Abs(got.FrequencyHertz/7.3728e6-1) > 1e-4 {
			t.Errorf("%s: %s at %v Hz: %s", name, got.Verdict, got.FrequencyHertz, got.Reason)
		}
		told := strings.Join(got.Warnings, "\n")
		if (c.warning == "") != (told == "") || !strings.Contains(told, c.warning) {
			t.Errorf("%s: warnings %q", name, got.Warnings)
		}
		summary, err := runner.Summarise(s.book, session.Run().ID, 0)
		if err != nil || (len(summary.Warned) > 0) != (c.warning != "") {
			t.Errorf("%s: summary warns %v, %v", name, summary.Warned, err)
		}
	}

	dir := scopeDialect(t, data, refused)
	without(t, dir, "measure_frequency")
	shorten(t, dir)
	s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Hour, seed: 3, dialects: dir})
	session := s.open(t, nil)
	if _, err := call(t.Context(), session, "cycle", map[string]float64{"volts": 3.6, "rest": 3, "watch": 0.08}); err != nil {
		t.Fatal(err)
	}
	if got := s.cycles(t, session.Run().ID)[0]; got.Verdict != verdict.Unread {
		t.Errorf("without measurements of its own: %s: %s", got.Verdict, got.Reason)
	}
}

// shorten makes the dialect's time-outs short, since what is not given is waited for in real time.
func shorten(t *testing.T, dir string) {
	edit(t, dir, "[session]\n", "[session]\ntime_out = \"700 ms\"\n")
}

// without takes an operation of one step out of the dialect.
func without(t *testing.T, dir, operation string) {
	head := fmt.Sprintf("[operations.%s]\nsteps = ", operation)
	edit(t, dir, head, "# ")
}

func edit(t *testing.T, dir, old, changed string) {
	t.Helper()
	path := filepath.Join(dir, "simulated-scope.toml")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(text), old) {
		t.Fatalf("the dialect has no %q", old)
	}
	if err := os.WriteFile(path, []byte(strings.Replace(string(text), old, changed, 1)), 0o644); err != nil {
		t.Fatal(err)
	}
}

// What the dialect says of the scope is what its records are planned by, and a run says what stands in their way.
func TestPlanKnowsTheScope(t *testing.T) {
	dir := scopeDialect(t, "most_points             = 1_000_000\nmost_samples_per_second = 1e9", "most_points = 1000\nmost_samples_per_second = 1e7")
	var said []string
	s := simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Hour, seed: 3, dialects: dir, watch: listener(func(e runner.Event) {
		if e.Kind == runner.Logged {
			said = append(said, e.Reason)
		}
	})})
	p := runner.CapturePlan(s.rig.Bench, s.rig.Scope, 0)
	if p.EnvelopePoints != 1000 || p.SteadyPoints != 1000 || !p.Alias || p.SteadySamplesPerSecond > 1e7 {
		t.Errorf("planned %+v", p)
	}
	session := s.open(t, nil)
	if len(said) != 1 || !strings.Contains(said[0], "as an alias") {
		t.Errorf("the run said %q", said)
	}
	if _, err := call(t.Context(), session, "cycle", map[string]float64{"volts": 3.6, "rest": 3, "watch": 0.08}); err != nil {
		t.Fatal(err)
	}
	got := s.cycles(t, session.Run().ID)[0]
	if got.Verdict != verdict.Started || !math.IsNaN(got.FrequencyHertz) || !strings.Contains(got.Reason, "its frequency was not checked") {
		t.Errorf("%s at %v Hz: %s", got.Verdict, got.FrequencyHertz, got.Reason)
	}
}

type listener func(runner.Event)

func (l listener) Observe(e runner.Event) { l(e) }
