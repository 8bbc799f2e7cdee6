package logbook

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"ringup/runner/verdict"
)

var night = time.Date(2026, 1, 12, 21, 0, 0, 123456789, time.UTC)

// openBook gives a new book that is checked when the test ends.
func openBook(t *testing.T) *Book {
	t.Helper()
	b, err := Open(filepath.Join(t.TempDir(), "book of 50 % & more?.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { checkAndClose(t, b) })
	return b
}

func checkAndClose(t *testing.T, b *Book) {
	t.Helper()
	if err := b.Check(); err != nil {
		t.Errorf("the book is not consistent: %v", err)
	}
	if err := b.Close(); err != nil {
		t.Errorf("close: %v", err)
	}
}

func begin(t *testing.T, b *Book) int64 {
	t.Helper()
	id, err := b.Begin(sampleRun())
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func sampleRun() Run {
	return Run{
		Script: "soak.lua", ScriptSHA256: "s1", ScriptText: "soak { volts = { 3.6 } }\n",
		Bench: "bench.toml", BenchSHA256: "b1", BenchText: "[unit]\n", Unit: "river-level logger 0231",
		Zone: "Europe/Berlin", Seed: math.MaxUint64 - 5, Simulated: true, Version: "0.1.0",
		Instruments: map[string]string{"supply": "ringup, simulated supply, SUP-7, 1"},
		Started:     night, PlannedCycles: 1200,
	}
}

// sampleCycle is the n-th cycle of a run: every 7th fails.
func sampleCycle(n int) Cycle {
	c := Cycle{
		Number: n, Treatment: "as found", SetVolts: 3.6 - 0.3*float64(n%3), RestSeconds: 3, WatchSeconds: 0.08,
		Factors: map[string]string{"side": "A"},
		Begun:   night.Add(time.Duration(n) * 5 * time.Second),
		Judgement: verdict.Judgement{
			Verdict: verdict.Started, Reason: "reached 1.41 V after 6.1 ms", StartSeconds: 6.1e-3 + float64(n)*1e-7,
			FrequencyHertz: 7372800.5, AmplitudeVolts: 1.41, GrowthSeconds: 4.2e-4, RailRiseSeconds: 3.1e-4, RailVolts: 3.59,
			DropoutSeconds: math.NaN(), Lamp: "blinking", LampHertz: 1, SupplyVolts: 3.6, SupplyAmps: 0.0071,
		},
		AmbientCelsius: math.NaN(), Phases: map[string]float64{"rest": 3, "judge": 0.002, "read": math.NaN()},
	}
	c.PoweredOn, c.PoweredOff, c.Ended = c.Begun.Add(3*time.Second), c.Begun.Add(4*time.Second), c.Begun.Add(4001*time.Millisecond)
	if n%7 == 0 {
		c.Verdict, c.Reason, c.Censored, c.Lamp = verdict.Silent, "no oscillation in 80 ms, \"not even noise\"", true, "dark"
		c.StartSeconds, c.FrequencyHertz, c.AmplitudeVolts, c.GrowthSeconds, c.LampHertz = math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN()
	}
	return c
}

// addCycles records cycles from to to, each by its step, with a clock waveform.
func addCycles(t *testing.T, b *Book, run int64, from, to int) {
	t.Helper()
	for n := from; n <= to; n++ {
		c := sampleCycle(n)
		record(t, b, run, c)
	}
}

func record(t *testing.T, b *Book, run int64, c Cycle) {
	t.Helper()
	step := sampleStep(run, c.Number)
	if err := b.BeginStep(step); err != nil {
		t.Fatal(err)
	}
	step.Ended, step.Result = c.Ended, json.RawMessage(fmt.Sprintf(`{"verdict":%q}`, c.Verdict))
	if err := b.EndStep(step, &c, []Waveform{{Kind: "clock", Trace: sampleTrace(400, 256)}, {Kind: "lamp"}}, nil); err != nil {
		t.Fatal(err)
	}
}

func sampleStep(run int64, ordinal int) Step {
	return Step{Run: run, Ordinal: ordinal, Call: "cycle", Arguments: json.RawMessage(`{"volts":3.3}`), ScriptLine: 4,
		Begun: night.Add(time.Duration(ordinal) * 5 * time.Second)}
}

func TestRunRoundTrip(t *testing.T) {
	b := openBook(t)
	if _, err := b.LastRun(); !errors.Is(err, ErrNoRun) {
		t.Errorf("LastRun of an empty book: %v", err)
	}
	want := sampleRun()
	want.ID, want.State = begin(t, b), "running"
	got, err := b.Run(want.ID)
	if diff := cmp.Diff(want, got); err != nil || diff != "" {
		t.Errorf("Run (-want +got): %v\n%s", err, diff)
	}
	if where := got.Location().String(); where != "Europe/Berlin" {
		t.Errorf("Location = %s", where)
	}

	found, err := b.Unfinished("s1", "b1", want.Seed)
	if err != nil || found == nil || found.ID != want.ID {
		t.Errorf("Unfinished = %v, %v", found, err)
	}
	for _, other := range []struct {
		script, bench string
		seed          uint64
	}{{"s2", "b1", want.Seed}, {"s1", "b2", want.Seed}, {"s1", "b1", 5}} {
		if found, err := b.Unfinished(other.script, other.bench, other.seed); found != nil || err != nil {
			t.Errorf("Unfinished(%v) = %v, %v; want nil", other, found, err)
		}
	}

	second := begin(t, b)
	yes, ended := true, night.Add(9*time.Hour)
	for _, err := range []error{
		b.SetState(second, "held", "the supply does not answer"), b.SetState(second, "running", ""),
		b.SetPlanned(second, 77), b.SetAccepted(second, yes), b.SetInstruments(second, map[string]string{"scope": "x"}),
		b.Finish(second, "done", "all cycles done", ended),
	} {
		if err != nil {
			t.Error(err)
		}
	}
	want = sampleRun()
	want.ID, want.State, want.Reason, want.Ended, want.Accepted, want.PlannedCycles = second, "done", "all cycles done", ended, &yes, 77
	want.Instruments = map[string]string{"scope": "x"}
	got, err = b.LastRun()
	if diff := cmp.Diff(want, got); err != nil || diff != "" {
		t.Errorf("LastRun (-want +got): %v\n%s", err, diff)
	}
	runs, err := b.Runs()
	if err != nil || len(runs) != 2 || runs[0].ID != second || runs[0].ScriptText != "" {
		t.Errorf("Runs = %+v, %v", runs, err)
	}
	if err := b.Finish(99, "done", "", ended); !errors.Is(err, ErrNoRun) {
		t.Errorf("Finish of no run: %v", err)
	}
	if err := b.SetState(second, "asleep", ""); err == nil {
		t.Error("a state that does not exist was accepted")
	}
}

func TestCycleRoundTrip(t *testing.T) {
	b := openBook(t)
	run := begin(t, b)
	addCycles(t, b, run, 1, 20)
	unpowered := sampleCycle(21)
	unpowered.PoweredOn, unpowered.PoweredOff, unpowered.Factors = time.Time{}, time.Time{}, nil
	unpowered.Verdict, unpowered.SupplyAmps = verdict.Unpowered, math.Inf(1)
	record(t, b, run, unpowered)

	got, err := b.Cycles(run, 6, 15)
	if err != nil || len(got) != 15 {
		t.Fatalf("Cycles gave %d, %v", len(got), err)
	}
	for i, c := range got {
		want := sampleCycle(7 + i)
		if want.Number == 21 {
			want = unpowered
			want.SupplyAmps, want.Factors = math.NaN(), map[string]string{}
		}
		want.Run, want.Ordinal = run, want.Number
		delete(want.Phases, "read") // was not measured
		if diff := cmp.Diff(want, c, nanEqual); diff != "" {
			t.Errorf("cycle %d (-want +got):\n%s", want.Number, diff)
		}
	}

	var nulls int
	row := b.read.QueryRow(`SELECT count(*) FROM cycle WHERE start_seconds IS NULL AND frequency_hertz IS NULL AND ambient_celsius IS NULL AND verdict = 'silent'`)
	if err := row.Scan(&nulls); err != nil || nulls != 2 {
		t.Errorf("%d rows hold NULL for what was not measured, want 2 (%v)", nulls, err)
	}
}

// nanEqual lets two values that were not measured compare as equal.
var nanEqual = cmp.Comparer(func(a, b float64) bool { return a == b || (math.IsNaN(a) && math.IsNaN(b)) })

func TestSecondWriterIsRefused(t *testing.T) {
	b := openBook(t)
	_, err := Open(b.Path())
	if !errors.Is(err, ErrInUse) || !strings.Contains(err.Error(), fmt.Sprintf("process %d", os.Getpid())) {
		t.Errorf("second Open: %v", err)
	}
	begin(t, b) // the first still can write
}

func TestOpenReadOnly(t *testing.T) {
	b := openBook(t)
	run := begin(t, b)
	addCycles(t, b, run, 1, 3)
	reader, err := OpenReadOnly(b.Path())
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	if cycles, err := reader.Cycles(run, 0, 10); err != nil || len(cycles) != 3 {
		t.Errorf("Cycles gave %d, %v", len(cycles), err)
	}
	four, seven := sampleCycle(4), sampleCycle(7)
	four.Run, seven.Run = run, run
	if reader.Keep(four) || !reader.Keep(seven) {
		t.Error("Keep does not work in a book opened for reading")
	}
	if err := reader.AddMark(Mark{Run: run, At: night, Text: "x", Kind: "mark"}); !errors.Is(err, ErrReadOnly) {
		t.Errorf("AddMark: %v", err)
	}
	if _, err := reader.read.Exec("DELETE FROM mark"); err == nil {
		t.Error("the readers' connections can write")
	}
	missing := filepath.Join(t.TempDir(), "none.db")
	if _, err := OpenReadOnly(missing); !errors.Is(err, os.ErrNotExist) || !strings.Contains(err.Error(), missing) {
		t.Errorf("OpenReadOnly of nothing: %v", err)
	}
	if _, err := os.Stat(missing); err == nil {
		t.Error("OpenReadOnly made a file")
	}
}

func TestEveryConnectionHasItsPragmas(t *testing.T) {
	b := openBook(t)
	for name, want := range map[string]string{"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1", "busy_timeout": "5000"} {
		var got string
		if err := b.write.QueryRow("PRAGMA " + name).Scan(&got); err != nil || got != want {
			t.Errorf("%s of the writer = %q (%v), want %q", name, got, err, want)
		}
	}
}

// The shell of another build of the engine is the judge from outside.
func TestShellFindsTheBookIntact(t *testing.T) {
	shell, err := exec.LookPath("sqlite3")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("the program sqlite3 is missing; install the package sqlite3")
		}
		t.Skip("the program sqlite3 is missing; install the package sqlite3")
	}
	b := openBook(t)
	run := begin(t, b)
	addCycles(t, b, run, 1, 120)
	copied := filepath.Join(t.TempDir(), "copy.db")
	if _, err := b.write.Exec("VACUUM INTO ?", copied); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(shell, "-readonly", copied, "PRAGMA integrity_check; PRAGMA foreign_key_check; SELECT count(*), sum(verdict = 'silent') FROM cycle;").CombinedOutput()
	if want := "ok\n120|17\n"; err != nil || string(out) != want {
		t.Errorf("sqlite3 says %q (%v), want %q", out, err, want)
	}
}

func TestCheckFindsDamage(t *testing.T) {
	for name, damage := range map[string]string{
		"missing step":     `DELETE FROM step WHERE ordinal = 3`,
		"cycle twice":      `UPDATE cycle SET number = 9 WHERE number = 5`,
		"step cut off":     `UPDATE step SET ended_ns = NULL, result = NULL WHERE ordinal = 4`,
		"unknown verdict":  `UPDATE cycle SET verdict = 'perhaps' WHERE number = 2`,
		"time runs back":   `UPDATE cycle SET ended_ns = begun_ns - 1 WHERE number = 2`,
		"torn waveform":    `UPDATE waveform SET samples = substr(samples, 1, 20), bytes = 20`,
		"wrong accounting": `UPDATE waveform SET bytes = bytes + 1`,
	} {
		t.Run(name, func(t *testing.T) {
			b, err := Open(filepath.Join(t.TempDir(), "book.db"))
			if err != nil {
				t.Fatal(err)
			}
			defer b.Close()
			addCycles(t, b, begin(t, b), 1, 8)
			if err := b.Check(); err != nil {
				t.Fatalf("before the damage: %v", err)
			}
			raw, err := sql.Open("sqlite", dataSource(b.path, nil))
			if err != nil {
				t.Fatal(err)
			}
			defer raw.Close()
			if _, err := raw.Exec("PRAGMA foreign_keys = 0; " + damage); err != nil {
				t.Fatal(err)
			}
			if err := b.Check(); err == nil {
				t.Error("Check finds nothing wrong")
			}
		})
	}
}
