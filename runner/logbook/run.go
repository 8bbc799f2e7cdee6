package logbook

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"
	_ "time/tzdata" // a bench computer may have no zone tables of its own
)

// Run is one execution of one script against one bench and unit.
type Run struct {
	ID     int64  `json:"run"`
	Script string `json:"script"` // name of the script
	Unit   string `json:"unit"`
	Bench  string `json:"bench"` // name of the bench file
	Zone   string `json:"zone"`  // IANA name of the bench's time zone
	Seed   uint64 `json:"seed"`
	// Simulated is true when no real instrument was involved.
	Simulated bool `json:"simulated"`
	// State is "running", "held", "done", "failed" or "stopped"; Reason says why.
	State  string `json:"state"`
	Reason string `json:"reason"`
	// Accepted is the script's own acceptance; nil if it did not decide.
	Accepted      *bool     `json:"accepted"`
	Started       time.Time `json:"started"`
	Ended         time.Time `json:"ended,omitzero"`
	PlannedCycles int       `json:"planned_cycles"` // 0: the script cannot say
	// Version is the ringup that began the run.
	Version string `json:"version"`
	// Instruments maps a role ("supply", "scope", "thermometer") to what the
	// instrument there said of itself.
	Instruments map[string]string `json:"instruments"`
	// WaveformsDropped counts the cycles whose waveforms were due to be kept
	// and are not in the book, to stay within the byte budget.
	WaveformsDropped int `json:"waveforms_dropped"`

	ScriptSHA256 string `json:"script_sha256"`
	BenchSHA256  string `json:"bench_sha256"`
	ScriptText   string `json:"script_text,omitempty"`
	BenchText    string `json:"bench_text,omitempty"`
}

// Location is the bench's time zone; UTC if its name is unknown here.
func (r Run) Location() *time.Location {
	where, err := time.LoadLocation(r.Zone)
	if err != nil {
		return time.UTC
	}
	return where
}

// Begin records a new run in state "running" and returns its number. The ID,
// State, Reason, Accepted and Ended of r are not looked at.
func (b *Book) Begin(r Run) (int64, error) {
	var id int64
	err := b.transact("begin a run", func(ctx context.Context, tx *sql.Tx) error {
		// SQL integers are signed: the seed keeps its 64 bits.
		added, err := tx.ExecContext(ctx, `
			INSERT INTO run (script, script_sha256, script_text, bench, bench_sha256, bench_text, unit, zone,
				seed, simulated, version, instruments, state, planned_cycles, started_ns)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 'running', ?, ?)`,
			r.Script, r.ScriptSHA256, r.ScriptText, r.Bench, r.BenchSHA256, r.BenchText, r.Unit, r.Zone,
			int64(r.Seed), r.Simulated, r.Version, jsonObject(r.Instruments), r.PlannedCycles, r.Started.UnixNano())
		if err != nil {
			return err
		}
		id, err = added.LastInsertId()
		return err
	})
	return id, err
}

// Finish ends a run: state is "done", "failed" or "stopped".
func (b *Book) Finish(run int64, state, reason string, at time.Time) error {
	return b.update(run, "finish", "state = ?, reason = ?, ended_ns = ?", state, reason, at.UnixNano())
}

// SetState changes the state of a run that goes on: "running" or "held". A run
// that was stopped or failed and is resumed becomes "running" again.
func (b *Book) SetState(run int64, state, reason string) error {
	return b.update(run, "set the state of", "state = ?, reason = ?, ended_ns = NULL", state, reason)
}

// SetPlanned records how many cycles the run will have.
func (b *Book) SetPlanned(run int64, cycles int) error {
	return b.update(run, "set the planned cycles of", "planned_cycles = ?", cycles)
}

// SetAccepted records the script's own acceptance.
func (b *Book) SetAccepted(run int64, accepted bool) error {
	return b.update(run, "record the acceptance of", "accepted = ?", accepted)
}

// SetInstruments records what the instruments of the run said of themselves, by role.
func (b *Book) SetInstruments(run int64, identities map[string]string) error {
	return b.update(run, "record the instruments of", "instruments = ?", jsonObject(identities))
}

func (b *Book) update(run int64, op, set string, values ...any) error {
	return b.transact(fmt.Sprintf("%s run %d", op, run), func(ctx context.Context, tx *sql.Tx) error {
		done, err := tx.ExecContext(ctx, "UPDATE run SET "+set+" WHERE id = ?", append(values, run)...)
		if err != nil {
			return err
		}
		if n, err := done.RowsAffected(); err != nil || n == 1 {
			return err
		}
		return ErrNoRun
	})
}

// Run gives one run; ErrNoRun if there is none of that number.
func (b *Book) Run(run int64) (Run, error) {
	return b.one(fmt.Sprintf("read run %d", run), "WHERE id = ?", run)
}

// LastRun gives the newest run; ErrNoRun in an empty book.
func (b *Book) LastRun() (Run, error) {
	return b.one("read the last run", "ORDER BY id DESC LIMIT 1")
}

// Runs gives all runs, the newest first, without their script and bench texts.
func (b *Book) Runs() ([]Run, error) {
	runs, err := b.runs("'', ''", "ORDER BY id DESC")
	if err != nil {
		return nil, b.fail("read runs", err)
	}
	return runs, nil
}

// Unfinished gives the newest run still "running" or "held" of the same script,
// bench and seed, or nil if there is none.
func (b *Book) Unfinished(scriptSHA256, benchSHA256 string, seed uint64) (*Run, error) {
	r, err := b.one("look for an unfinished run", `WHERE state IN ('running', 'held')
		AND script_sha256 = ? AND bench_sha256 = ? AND seed = ? ORDER BY id DESC LIMIT 1`, scriptSHA256, benchSHA256, int64(seed))
	if errors.Is(err, ErrNoRun) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return &r, nil
}

func (b *Book) one(op, where string, arguments ...any) (Run, error) {
	runs, err := b.runs("script_text, bench_text", where, arguments...)
	if err == nil && len(runs) == 0 {
		err = ErrNoRun
	}
	if err != nil {
		return Run{}, b.fail(op, err)
	}
	return runs[0], nil
}

func (b *Book) runs(texts, where string, arguments ...any) ([]Run, error) {
	return query(b.read, func(rows *sql.Rows) (Run, error) {
		var r Run
		var seed int64
		var accepted sql.NullBool
		var started, ended sql.NullInt64
		var instruments string
		err := rows.Scan(&r.ID, &r.Script, &r.ScriptSHA256, &r.Bench, &r.BenchSHA256, &r.Unit, &r.Zone, &seed, &r.Simulated,
			&r.Version, &instruments, &r.State, &r.Reason, &accepted, &r.PlannedCycles, &started, &ended, &r.WaveformsDropped,
			&r.ScriptText, &r.BenchText)
		if err != nil {
			return r, err
		}
		r.Seed, r.Started, r.Ended = uint64(seed), moment(started), moment(ended)
		if accepted.Valid {
			r.Accepted = &accepted.Bool
		}
		return r, json.Unmarshal([]byte(instruments), &r.Instruments)
	}, `SELECT id, script, script_sha256, bench, bench_sha256, unit, zone, seed, simulated, version, instruments,
		state, reason, accepted, planned_cycles, started_ns, ended_ns, waveforms_dropped, `+texts+` FROM run `+where, arguments...)
}
