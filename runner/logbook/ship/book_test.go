//go:build unix

package ship

import (
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"testing"
	"time"

	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

var night = time.Date(2026, 1, 12, 21, 0, 0, 123456789, time.UTC)

func newBook(t *testing.T) *logbook.Book {
	t.Helper()
	return openBook(t, filepath.Join(t.TempDir(), "book.db"))
}

func openBook(t *testing.T, path string) *logbook.Book {
	t.Helper()
	b, err := logbook.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

func begin(t *testing.T, b *logbook.Book, script string) int64 {
	t.Helper()
	id, err := b.Begin(logbook.Run{
		Script: script, ScriptSHA256: script, ScriptText: "soak { volts = { 3.6 } }\n", Bench: "bench.toml", BenchSHA256: "b1",
		BenchText: "[unit]\n", Unit: "river-level logger 0231", Zone: "Europe/Berlin", Seed: math.MaxUint64 - 5, Version: "0.1.0",
		Instruments: map[string]string{"supply": "ringup, simulated supply, SUP-7, 1", "scope": "torn\x00reply \xff"},
		Started:     night, PlannedCycles: 1200,
	})
	if err != nil {
		t.Fatal(err)
	}
	return id
}

// add records cycles from to to of a run. Every 7th fails, and every 5th has what
// a database might not take as it is.
func add(t testing.TB, b *logbook.Book, run int64, from, to int) {
	t.Helper()
	for n := from; n <= to; n++ {
		if err := addOne(b, run, n, night); err != nil {
			t.Fatal(err)
		}
	}
}

func addOne(b *logbook.Book, run int64, n int, start time.Time) error {
	c := logbook.Cycle{
		Number: n, Treatment: "as found", SetVolts: 3.6 - 0.3*float64(n%3), RestSeconds: 3, WatchSeconds: 0.08,
		Factors: map[string]string{"side": "A"}, Begun: start.Add(time.Duration(n) * 5 * time.Second),
		Judgement: verdict.Judgement{
			Verdict: verdict.Started, Reason: "reached 1.41 V after 6.1 ms", StartSeconds: 6.1e-3 + float64(n)*1e-7,
			FrequencyHertz: 7372800.5 + 0.1*float64(n), AmplitudeVolts: 1.41, GrowthSeconds: 4.2e-4, RailRiseSeconds: 3.1e-5, RailVolts: 3.59,
			DropoutSeconds: math.NaN(), Lamp: "blinking", LampHertz: 1, SupplyVolts: 3.6, SupplyAmps: 1.0 / 3 * 1e-7,
		},
		AmbientCelsius: math.Inf(1), Phases: map[string]float64{"rest": 3, "judge": 4.2735e-5, "read": math.NaN()},
	}
	c.PoweredOn, c.PoweredOff, c.Ended = c.Begun.Add(3*time.Second), c.Begun.Add(4*time.Second), c.Begun.Add(4001*time.Millisecond)
	if n%7 == 0 {
		c.Verdict, c.Censored, c.Lamp, c.Disagree = verdict.Silent, true, "dark", true
		c.StartSeconds, c.FrequencyHertz = math.NaN(), math.NaN()
		c.Warnings = []string{"the lamp blinked, \"yet\" the clock {stood}; so", `back\slash, comma`, "NULL"}
	}
	if n%5 == 0 {
		c.Verdict, c.Treatment = verdict.Unread, "C7 = 27\u00a0pF\t½ \x00zero"
		c.Reason = "garbled: \"\x00\xfe\xff\", then 'µ'\r\nand a line; \\N"
		c.PoweredOn, c.PoweredOff = time.Time{}, time.Time{}
		c.Factors = map[string]string{"side": "B\x00", "quo\"te": "'"}
	}
	step := logbook.Step{Run: run, Ordinal: 2 * n, Call: "cycle", Arguments: json.RawMessage(`{"volts":3.3}`), Begun: c.Begun, Ended: c.Ended, Result: json.RawMessage("{}")}
	mark := &logbook.Mark{At: c.Begun, Text: fmt.Sprint("mark of ", n, " \x00"), Kind: "mark", AfterCycle: n - 1}
	return b.EndStep(step, &c, []logbook.Waveform{{Kind: "clock", Trace: trace(n)}, {Kind: "rail", Trace: single(n)}}, mark)
}

// trace is a peak-detect record, single one with one value a sample.
func trace(n int) verdict.Trace {
	t := verdict.Trace{StartSeconds: -0.001, StepSeconds: 2e-4, LowVolts: -2.04, HighVolts: 2.04, Codes: 256}
	step := (t.HighVolts - t.LowVolts) / 255
	for i := range 60 {
		t.Min = append(t.Min, t.LowVolts+float64((i+n)%100)*step)
		t.Max = append(t.Max, t.LowVolts+float64((i+n)%100+9)*step)
	}
	return t
}

func single(n int) verdict.Trace {
	t := trace(n)
	t.Max = t.Min
	return t
}
