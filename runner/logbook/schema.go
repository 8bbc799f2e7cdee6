package logbook

import (
	"context"
	"database/sql"
	"fmt"
	"net/url"
)

// migrations bring a book forward, one schema version each: the first makes
// version 1 out of an empty file. A released step is never changed; a new schema
// is a new step at the end.
var migrations = []string{schema1, schema2, schema3}

const schema1 = `
CREATE TABLE run (
	id                INTEGER PRIMARY KEY,
	script            TEXT    NOT NULL,
	script_sha256     TEXT    NOT NULL,
	script_text       TEXT    NOT NULL,
	bench             TEXT    NOT NULL,
	bench_sha256      TEXT    NOT NULL,
	bench_text        TEXT    NOT NULL,
	unit              TEXT    NOT NULL,
	zone              TEXT    NOT NULL,
	seed              INTEGER NOT NULL, -- the 64 bits of an unsigned number
	simulated         INTEGER NOT NULL,
	version           TEXT    NOT NULL,
	instruments       TEXT    NOT NULL, -- JSON object: role, identity
	state             TEXT    NOT NULL CHECK (state IN ('running','held','done','failed','stopped')),
	reason            TEXT    NOT NULL DEFAULT '',
	accepted          INTEGER,
	planned_cycles    INTEGER NOT NULL,
	started_ns        INTEGER NOT NULL,
	ended_ns          INTEGER,
	waveforms_dropped INTEGER NOT NULL DEFAULT 0
) STRICT;

CREATE TABLE step (
	run         INTEGER NOT NULL REFERENCES run(id),
	ordinal     INTEGER NOT NULL,
	call        TEXT    NOT NULL,
	arguments   TEXT    NOT NULL, -- JSON
	script_line INTEGER NOT NULL,
	attempts    INTEGER NOT NULL,
	begun_ns    INTEGER NOT NULL,
	ended_ns    INTEGER,          -- NULL with result: begun and cut off
	result      TEXT,             -- JSON
	PRIMARY KEY (run, ordinal),
	CHECK ((ended_ns IS NULL) = (result IS NULL))
) STRICT, WITHOUT ROWID;

CREATE TABLE cycle (
	run               INTEGER NOT NULL,
	number            INTEGER NOT NULL,
	ordinal           INTEGER NOT NULL,
	treatment         TEXT    NOT NULL,
	set_volts         REAL,
	rest_seconds      REAL,
	watch_seconds     REAL,
	factors           TEXT    NOT NULL, -- JSON object
	begun_ns          INTEGER NOT NULL,
	powered_on_ns     INTEGER,
	powered_off_ns    INTEGER,
	ended_ns          INTEGER NOT NULL,
	verdict           TEXT    NOT NULL,
	reason            TEXT    NOT NULL,
	start_seconds     REAL,
	censored          INTEGER NOT NULL,
	frequency_hertz   REAL,
	amplitude_volts   REAL,
	growth_seconds    REAL,
	rail_rise_seconds REAL,
	rail_volts        REAL,
	dropout_seconds   REAL,
	lamp              TEXT    NOT NULL,
	lamp_hertz        REAL,
	supply_volts      REAL,
	supply_amps       REAL,
	ambient_celsius   REAL,
	phases            TEXT    NOT NULL, -- JSON object: seconds
	PRIMARY KEY (run, number),
	UNIQUE (run, ordinal),
	FOREIGN KEY (run, ordinal) REFERENCES step(run, ordinal)
) STRICT, WITHOUT ROWID;

CREATE TABLE mark (
	id          INTEGER PRIMARY KEY,
	run         INTEGER NOT NULL REFERENCES run(id),
	ordinal     INTEGER NOT NULL, -- 0: from outside the script
	at_ns       INTEGER NOT NULL,
	text        TEXT    NOT NULL,
	kind        TEXT    NOT NULL,
	after_cycle INTEGER NOT NULL
) STRICT;
CREATE INDEX mark_of_run ON mark (run, at_ns);

CREATE TABLE waveform (
	id            INTEGER PRIMARY KEY,
	run           INTEGER NOT NULL,
	cycle         INTEGER NOT NULL,
	kind          TEXT    NOT NULL,
	kept_as       INTEGER NOT NULL, -- 0 sampled success, 1 first of its verdict in its condition, 2 failure
	bytes         INTEGER NOT NULL, -- length of samples
	start_seconds REAL,
	step_seconds  REAL,
	low_volts     REAL,
	high_volts    REAL,
	codes         INTEGER NOT NULL,
	points        INTEGER NOT NULL,
	encoding      TEXT    NOT NULL,
	samples       BLOB    NOT NULL, -- zstd; last, so that no other column lies behind it
	UNIQUE (run, cycle, kind),
	FOREIGN KEY (run, cycle) REFERENCES cycle(run, number)
) STRICT;
CREATE INDEX waveform_to_drop ON waveform (kept_as, id, bytes);
`

// schema2 keeps what a person should know of a cycle's records.
const schema2 = `
ALTER TABLE cycle ADD COLUMN disagree INTEGER NOT NULL DEFAULT 0;  -- lamp or supply current contradict the clock
ALTER TABLE cycle ADD COLUMN warnings TEXT    NOT NULL DEFAULT '[]'; -- JSON array of sentences
`

// schema3 gives a book a name that no other book has, on whatever computer. A
// copy of the file keeps it.
const schema3 = `
CREATE TABLE identity (id TEXT NOT NULL) STRICT;
INSERT INTO identity VALUES (lower(hex(randomblob(16))));
`

func schemaVersion(ctx context.Context, db *sql.DB) (int, error) {
	var v int
	err := db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&v)
	return v, err
}

func checkVersion(found, known int) error {
	if found > known {
		return fmt.Errorf("%w: its schema is version %d, this ringup knows up to %d; use the newer ringup", ErrNewer, found, known)
	}
	if 0 < found && found < known {
		return fmt.Errorf("%w: its schema is version %d, this ringup's is %d; open it once for writing, e.g. with \"ringup run\"", ErrOlder, found, known)
	}
	if found < known {
		return fmt.Errorf("its schema is version %d and must be brought to %d first: open it once for writing, e.g. with \"ringup run\"", found, known)
	}
	return nil
}

// refuseForeign gives ErrForeign for the database of another program, before
// anything of it is changed. What cannot be read shows when it is opened.
func (b *Book) refuseForeign() error {
	db, err := sql.Open("sqlite", dataSource(b.path, url.Values{"mode": {"ro"}}))
	if err != nil {
		return err
	}
	defer db.Close()
	ctx := context.Background()
	var tables int
	version, err := schemaVersion(ctx, db)
	if err != nil || version > 0 {
		return nil
	}
	if err := db.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_master").Scan(&tables); err == nil && tables > 0 {
		return ErrForeign
	}
	return nil
}

// migrate applies the missing steps, each in a transaction of its own with its
// version number, so a book is always at one version or the next.
func (b *Book) migrate(steps []string) error {
	ctx, cancel := context.WithTimeout(context.Background(), commitTimeout)
	defer cancel()
	version, err := schemaVersion(ctx, b.write)
	if err != nil {
		return err
	}
	if version > len(steps) {
		return checkVersion(version, len(steps))
	}
	for ; version < len(steps); version++ {
		if err := b.migrateTo(ctx, version+1, steps[version]); err != nil {
			return fmt.Errorf("bring the schema from version %d to %d: %w", version, version+1, err)
		}
	}
	return nil
}

func (b *Book) migrateTo(ctx context.Context, version int, step string) error {
	tx, err := b.write.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	// A no-op after Commit.
	defer tx.Rollback()
	if _, err := tx.ExecContext(ctx, step); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA user_version = %d", version)); err != nil {
		return err
	}
	return tx.Commit()
}
