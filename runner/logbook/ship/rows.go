package ship

import (
	"context"
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"ringup/runner/logbook"
)

// plain gives text as the database can hold it: it refuses zero bytes, which a
// bad wire may have put into a reply, and what is no UTF-8.
func plain(s string) string {
	return strings.ReplaceAll(strings.ToValidUTF8(s, "\uFFFD"), "\x00", "\uFFFD")
}

func plainMap(m map[string]string) map[string]string {
	done := make(map[string]string, len(m))
	for key, value := range m {
		done[plain(key)] = plain(value)
	}
	return done
}

func plainList(list []string) []string {
	done := make([]string, len(list)) // never nil, which would be NULL
	for i, s := range list {
		done[i] = plain(s)
	}
	return done
}

// measured is NULL for what was not.
func measured(v float64) any {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return v
}

// moment is NULL for the zero time. The database cuts to microseconds.
func moment(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t
}

// column is one column of a table and its value in a row.
type column[T any] struct {
	name  string
	value func(T) any
}

// addRows copies rows into a table.
func addRows[T any](ctx context.Context, tx pgx.Tx, table string, columns []column[T], rows []T) error {
	if len(rows) == 0 {
		return nil
	}
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = c.name
	}
	_, err := tx.CopyFrom(ctx, pgx.Identifier{"ringup", table}, names, pgx.CopyFromSlice(len(rows), func(i int) ([]any, error) {
		values := make([]any, len(columns))
		for k, c := range columns {
			values[k] = c.value(rows[i])
		}
		return values, nil
	}))
	return err
}

// of puts the logbook's identity before a table's own columns.
func of[T any](id string, columns []column[T]) []column[T] {
	return append([]column[T]{{"logbook", func(T) any { return id }}}, columns...)
}

var cycleColumns = []column[logbook.Cycle]{
	{"run", func(c logbook.Cycle) any { return c.Run }},
	{"number", func(c logbook.Cycle) any { return c.Number }},
	{"ordinal", func(c logbook.Cycle) any { return c.Ordinal }},
	{"treatment", func(c logbook.Cycle) any { return plain(c.Treatment) }},
	{"set_volts", func(c logbook.Cycle) any { return measured(c.SetVolts) }},
	{"rest_seconds", func(c logbook.Cycle) any { return measured(c.RestSeconds) }},
	{"watch_seconds", func(c logbook.Cycle) any { return measured(c.WatchSeconds) }},
	{"begun", func(c logbook.Cycle) any { return moment(c.Begun) }},
	{"powered_on", func(c logbook.Cycle) any { return moment(c.PoweredOn) }},
	{"powered_off", func(c logbook.Cycle) any { return moment(c.PoweredOff) }},
	{"ended", func(c logbook.Cycle) any { return moment(c.Ended) }},
	{"verdict", func(c logbook.Cycle) any { return plain(string(c.Verdict)) }},
	{"counted", func(c logbook.Cycle) any { return c.Verdict.Counted() }},
	{"failed", func(c logbook.Cycle) any { return c.Verdict.Failed() }},
	{"reason", func(c logbook.Cycle) any { return plain(c.Reason) }},
	{"disagree", func(c logbook.Cycle) any { return c.Disagree }},
	{"warnings", func(c logbook.Cycle) any { return plainList(c.Warnings) }},
	{"start_seconds", func(c logbook.Cycle) any { return measured(c.StartSeconds) }},
	{"censored", func(c logbook.Cycle) any { return c.Censored }},
	{"frequency_hertz", func(c logbook.Cycle) any { return measured(c.FrequencyHertz) }},
	{"amplitude_volts", func(c logbook.Cycle) any { return measured(c.AmplitudeVolts) }},
	{"growth_seconds", func(c logbook.Cycle) any { return measured(c.GrowthSeconds) }},
	{"rail_rise_seconds", func(c logbook.Cycle) any { return measured(c.RailRiseSeconds) }},
	{"rail_volts", func(c logbook.Cycle) any { return measured(c.RailVolts) }},
	{"dropout_seconds", func(c logbook.Cycle) any { return measured(c.DropoutSeconds) }},
	{"lamp", func(c logbook.Cycle) any { return plain(string(c.Lamp)) }},
	{"lamp_hertz", func(c logbook.Cycle) any { return measured(c.LampHertz) }},
	{"supply_volts", func(c logbook.Cycle) any { return measured(c.SupplyVolts) }},
	{"supply_amps", func(c logbook.Cycle) any { return measured(c.SupplyAmps) }},
	{"ambient_celsius", func(c logbook.Cycle) any { return measured(c.AmbientCelsius) }},
	{"factors", func(c logbook.Cycle) any { return plainMap(c.Factors) }},
	{"phases", func(c logbook.Cycle) any {
		seconds := make(map[string]float64, len(c.Phases))
		for name, v := range c.Phases {
			if measured(v) != nil {
				seconds[plain(name)] = v
			}
		}
		return seconds
	}},
}

func addCycles(ctx context.Context, tx pgx.Tx, id string, cycles []logbook.Cycle) error {
	return addRows(ctx, tx, "cycle", of(id, cycleColumns), cycles)
}

type placedMark = logbook.Placed[logbook.Mark]

var markColumns = []column[placedMark]{
	{"id", func(m placedMark) any { return m.Place }},
	{"run", func(m placedMark) any { return m.Entry.Run }},
	{"ordinal", func(m placedMark) any { return m.Entry.Ordinal }},
	{"at", func(m placedMark) any { return m.Entry.At }},
	{"text", func(m placedMark) any { return plain(m.Entry.Text) }},
	{"kind", func(m placedMark) any { return plain(m.Entry.Kind) }},
	{"after_cycle", func(m placedMark) any { return m.Entry.AfterCycle }},
}

func addMarks(ctx context.Context, tx pgx.Tx, id string, marks []placedMark) error {
	return addRows(ctx, tx, "mark", of(id, markColumns), marks)
}

type placedWaveform = logbook.Placed[logbook.Waveform]

var waveformColumns = []column[placedWaveform]{
	{"id", func(w placedWaveform) any { return w.Place }},
	{"run", func(w placedWaveform) any { return w.Entry.Run }},
	{"cycle", func(w placedWaveform) any { return w.Entry.Cycle }},
	{"kind", func(w placedWaveform) any { return plain(w.Entry.Kind) }},
	{"start_seconds", func(w placedWaveform) any { return measured(w.Entry.StartSeconds) }},
	{"step_seconds", func(w placedWaveform) any { return measured(w.Entry.StepSeconds) }},
	{"low_volts", func(w placedWaveform) any { return measured(w.Entry.LowVolts) }},
	{"high_volts", func(w placedWaveform) any { return measured(w.Entry.HighVolts) }},
	{"codes", func(w placedWaveform) any { return w.Entry.Codes }},
	{"points", func(w placedWaveform) any { return len(w.Entry.Min) }},
	{"min_volts", func(w placedWaveform) any { return singles(w.Entry.Min) }},
	{"max_volts", func(w placedWaveform) any {
		if len(w.Entry.Min) > 0 && &w.Entry.Min[0] == &w.Entry.Max[0] {
			return nil // one value a sample
		}
		return singles(w.Entry.Max)
	}},
}

func singles(samples []float64) []float32 {
	done := make([]float32, len(samples))
	for i, v := range samples {
		done[i] = float32(v)
	}
	return done
}

func addWaveforms(ctx context.Context, tx pgx.Tx, id string, waveforms []placedWaveform) error {
	return addRows(ctx, tx, "waveform", of(id, waveformColumns), waveforms)
}

// putRun writes a run, or what has changed of it.
func putRun(ctx context.Context, tx pgx.Tx, id string, r logbook.Run) error {
	instruments, err := json.Marshal(plainMap(r.Instruments))
	if err != nil {
		return err
	}
	_, err = tx.Exec(ctx, `
		INSERT INTO ringup.run (logbook, run, script, unit, bench, zone, seed, simulated, state, reason, accepted, started, ended,
			planned_cycles, version, instruments, waveforms_dropped, script_sha256, bench_sha256, script_text, bench_text)
		VALUES ($1, $2, $3, $4, $5, $6, $7::text::numeric, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21)
		ON CONFLICT (logbook, run) DO UPDATE SET
			state = excluded.state, reason = excluded.reason, accepted = excluded.accepted, ended = excluded.ended,
			planned_cycles = excluded.planned_cycles, instruments = excluded.instruments, waveforms_dropped = excluded.waveforms_dropped`,
		id, r.ID, plain(r.Script), plain(r.Unit), plain(r.Bench), plain(r.Zone), strconv.FormatUint(r.Seed, 10), r.Simulated,
		plain(r.State), plain(r.Reason), r.Accepted, r.Started, moment(r.Ended), r.PlannedCycles, plain(r.Version), string(instruments),
		r.WaveformsDropped, plain(r.ScriptSHA256), plain(r.BenchSHA256), plain(r.ScriptText), plain(r.BenchText))
	return err
}
