package ship

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// migrations bring the database's tables forward, one version each. A released
// step is never changed; a new schema is a new step at the end.
var migrations = []string{schema1}

// Columns are those of the logbook's exports. Those that have a unit say it in
// their names; times are with time zone, so any client shows them in its own.
const schema1 = `
CREATE TABLE ringup.logbook (
	id            uuid PRIMARY KEY,
	name          text NOT NULL,
	first_shipped timestamptz NOT NULL DEFAULT now(),
	last_shipped  timestamptz NOT NULL DEFAULT now()
);
COMMENT ON TABLE ringup.logbook IS 'one logbook file, as a rule one bench';
COMMENT ON COLUMN ringup.logbook.id IS 'made at random with the logbook and kept in it; in no other logbook, whatever the computer';
COMMENT ON COLUMN ringup.logbook.name IS 'for people: the computer''s name, unless ringup ship --name gave another';
COMMENT ON COLUMN ringup.logbook.last_shipped IS 'when its bench last shipped, or had nothing new';

CREATE TABLE ringup.run (
	logbook           uuid        NOT NULL REFERENCES ringup.logbook ON DELETE CASCADE,
	run               bigint      NOT NULL,
	script            text        NOT NULL,
	unit              text        NOT NULL,
	bench             text        NOT NULL,
	zone              text        NOT NULL,
	seed              numeric(20) NOT NULL,
	simulated         boolean     NOT NULL,
	state             text        NOT NULL,
	reason            text        NOT NULL,
	accepted          boolean,
	started           timestamptz NOT NULL,
	ended             timestamptz,
	planned_cycles    integer     NOT NULL,
	version           text        NOT NULL,
	instruments       jsonb       NOT NULL,
	waveforms_dropped integer     NOT NULL,
	script_sha256     text        NOT NULL,
	bench_sha256      text        NOT NULL,
	script_text       text        NOT NULL,
	bench_text        text        NOT NULL,
	PRIMARY KEY (logbook, run)
);
CREATE INDEX run_started ON ringup.run (started);
COMMENT ON TABLE ringup.run IS 'one execution of one script against one bench and unit';
COMMENT ON COLUMN ringup.run.run IS 'number of the run in its logbook';
COMMENT ON COLUMN ringup.run.unit IS 'the unit under test, as the bench file names it';
COMMENT ON COLUMN ringup.run.bench IS 'the bench file';
COMMENT ON COLUMN ringup.run.zone IS 'the bench''s time zone, by its IANA name';
COMMENT ON COLUMN ringup.run.simulated IS 'no real instrument was involved';
COMMENT ON COLUMN ringup.run.state IS 'running, held, done, failed or stopped; as of the last time the bench shipped';
COMMENT ON COLUMN ringup.run.reason IS 'why it is in that state';
COMMENT ON COLUMN ringup.run.accepted IS 'what the script itself decided of the unit; NULL: it did not decide';
COMMENT ON COLUMN ringup.run.planned_cycles IS '0: the script cannot say';
COMMENT ON COLUMN ringup.run.version IS 'the ringup that began the run';
COMMENT ON COLUMN ringup.run.instruments IS 'role, and what the instrument there said of itself';
COMMENT ON COLUMN ringup.run.waveforms_dropped IS 'cycles whose waveforms the logbook had no room for';

CREATE TABLE ringup.cycle (
	logbook           uuid        NOT NULL,
	run               bigint      NOT NULL,
	number            integer     NOT NULL,
	ordinal           integer     NOT NULL,
	treatment         text        NOT NULL,
	set_volts         double precision,
	rest_seconds      double precision,
	watch_seconds     double precision,
	begun             timestamptz NOT NULL,
	powered_on        timestamptz,
	powered_off       timestamptz,
	ended             timestamptz NOT NULL,
	verdict           text        NOT NULL,
	counted           boolean     NOT NULL,
	failed            boolean     NOT NULL,
	reason            text        NOT NULL,
	disagree          boolean     NOT NULL,
	warnings          text[]      NOT NULL,
	start_seconds     double precision,
	censored          boolean     NOT NULL,
	frequency_hertz   double precision,
	amplitude_volts   double precision,
	growth_seconds    double precision,
	rail_rise_seconds double precision,
	rail_volts        double precision,
	dropout_seconds   double precision,
	lamp              text        NOT NULL,
	lamp_hertz        double precision,
	supply_volts      double precision,
	supply_amps       double precision,
	ambient_celsius   double precision,
	factors           jsonb       NOT NULL,
	phases            jsonb       NOT NULL,
	PRIMARY KEY (logbook, run, number),
	UNIQUE (logbook, run, ordinal),
	FOREIGN KEY (logbook, run) REFERENCES ringup.run ON DELETE CASCADE
);
CREATE INDEX cycle_begun ON ringup.cycle (begun);
COMMENT ON TABLE ringup.cycle IS 'one power cycle; what was not measured is NULL; times are cut to microseconds';
COMMENT ON COLUMN ringup.cycle.number IS '1, 2, 3 … within the run';
COMMENT ON COLUMN ringup.cycle.ordinal IS 'of the script''s call that made the cycle';
COMMENT ON COLUMN ringup.cycle.treatment IS 'what had been done to the unit';
COMMENT ON COLUMN ringup.cycle.set_volts IS 'the supply''s set voltage';
COMMENT ON COLUMN ringup.cycle.rest_seconds IS 'off before the start';
COMMENT ON COLUMN ringup.cycle.watch_seconds IS 'the window in which the start had to come';
COMMENT ON COLUMN ringup.cycle.verdict IS 'started; failures are late, silent, weak, off-frequency, dropped-out; not counted are unpowered, unread';
COMMENT ON COLUMN ringup.cycle.counted IS 'counts towards the failure rate: divide failed by counted cycles, not by all';
COMMENT ON COLUMN ringup.cycle.disagree IS 'lamp or supply current contradict the clock';
COMMENT ON COLUMN ringup.cycle.start_seconds IS 'from the rail''s rise to the clock''s steady amplitude';
COMMENT ON COLUMN ringup.cycle.censored IS 'it did not start: a start would have taken longer than the window, and start_seconds is NULL';
COMMENT ON COLUMN ringup.cycle.growth_seconds IS 'time constant of the growing oscillation';
COMMENT ON COLUMN ringup.cycle.factors IS 'further factors that the script names';
COMMENT ON COLUMN ringup.cycle.phases IS 'seconds spent in each phase of the cycle';

CREATE TABLE ringup.mark (
	logbook     uuid        NOT NULL,
	id          bigint      NOT NULL,
	run         bigint      NOT NULL,
	ordinal     integer     NOT NULL,
	at          timestamptz NOT NULL,
	text        text        NOT NULL,
	kind        text        NOT NULL,
	after_cycle integer     NOT NULL,
	PRIMARY KEY (logbook, id),
	FOREIGN KEY (logbook, run) REFERENCES ringup.run ON DELETE CASCADE
);
CREATE INDEX mark_run ON ringup.mark (logbook, run);
CREATE INDEX mark_at ON ringup.mark (at);
COMMENT ON TABLE ringup.mark IS 'a note at a moment of a run';
COMMENT ON COLUMN ringup.mark.id IS 'its place in the logbook';
COMMENT ON COLUMN ringup.mark.ordinal IS 'of the script''s call that made it; 0: it came from outside the script';
COMMENT ON COLUMN ringup.mark.kind IS 'mark, treatment, answer, hold or resume';
COMMENT ON COLUMN ringup.mark.after_cycle IS 'the last cycle begun before it';

CREATE TABLE ringup.waveform (
	logbook       uuid    NOT NULL,
	id            bigint  NOT NULL,
	run           bigint  NOT NULL,
	cycle         integer NOT NULL,
	kind          text    NOT NULL,
	start_seconds double precision,
	step_seconds  double precision,
	low_volts     double precision,
	high_volts    double precision,
	codes         integer NOT NULL,
	points        integer NOT NULL,
	min_volts     real[]  NOT NULL,
	max_volts     real[],
	PRIMARY KEY (logbook, id),
	UNIQUE (logbook, run, cycle, kind),
	FOREIGN KEY (logbook, run, cycle) REFERENCES ringup.cycle ON DELETE CASCADE
);
COMMENT ON TABLE ringup.waveform IS 'records of some cycles, with ringup ship --waveforms: sample i, from 0, is at start_seconds + i * step_seconds';
COMMENT ON COLUMN ringup.waveform.id IS 'its place in the logbook';
COMMENT ON COLUMN ringup.waveform.kind IS 'rail, clock, steady (short, full rate) or lamp';
COMMENT ON COLUMN ringup.waveform.start_seconds IS 'time of the first sample; 0 is when the rail rose';
COMMENT ON COLUMN ringup.waveform.low_volts IS 'lower end of the scope''s range; a sample here was cut off';
COMMENT ON COLUMN ringup.waveform.high_volts IS 'upper end of the scope''s range';
COMMENT ON COLUMN ringup.waveform.codes IS 'steps of the scope''s converter between the two';
COMMENT ON COLUMN ringup.waveform.max_volts IS 'highest of each sample''s interval, min_volts its lowest; NULL where the scope kept one value only';
`

// migrationLock keeps two benches from making the tables at the same time.
const migrationLock = 0x72696e677570 // "ringup"

// migrate brings the tables to this ringup's version, making them at first use.
// The tables' version is checked whenever something is shipped, since another
// bench may have brought them further.
func migrate(ctx context.Context, conn *pgx.Conn, steps []string) error {
	version, err := tablesVersion(ctx, conn)
	if err != nil || version == len(steps) {
		return err
	}
	if version > len(steps) {
		return fmt.Errorf("%w: version %d, this ringup knows up to %d", ErrNewer, version, len(steps))
	}
	err = pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, "SELECT pg_advisory_xact_lock($1)", int64(migrationLock)); err != nil {
			return err
		}
		version, err := tablesVersion(ctx, tx)
		if err != nil || version >= len(steps) {
			return err
		}
		if version == 0 {
			if err := makeSchema(ctx, tx); err != nil {
				return err
			}
		}
		for _, step := range steps[version:] {
			if _, err := tx.Exec(ctx, step); err != nil {
				return err
			}
		}
		_, err = tx.Exec(ctx, "UPDATE ringup.schema SET version = $1", len(steps))
		return err
	})
	if err != nil {
		return fmt.Errorf("%w: %w", errTables, err)
	}
	return nil
}

// makeSchema makes the schema "ringup" unless the database's owner has, and in
// it the table that holds the tables' version.
func makeSchema(ctx context.Context, tx pgx.Tx) error {
	var there bool
	if err := tx.QueryRow(ctx, "SELECT EXISTS (SELECT FROM pg_namespace WHERE nspname = 'ringup')").Scan(&there); err != nil {
		return err
	}
	if !there {
		if _, err := tx.Exec(ctx, "CREATE SCHEMA ringup"); err != nil {
			return err
		}
	}
	_, err := tx.Exec(ctx, `
		CREATE TABLE ringup.schema (version integer NOT NULL);
		COMMENT ON TABLE ringup.schema IS 'the version of these tables';
		INSERT INTO ringup.schema VALUES (0)`)
	return err
}

// rowQuerier is a connection or a transaction.
type rowQuerier interface {
	QueryRow(ctx context.Context, sql string, args ...any) pgx.Row
}

// tablesVersion is 0 where there are no tables yet. It looks into the catalogue
// itself: to_regclass may answer from before another bench made the tables.
func tablesVersion(ctx context.Context, from rowQuerier) (version int, err error) {
	var there bool
	err = from.QueryRow(ctx, `SELECT EXISTS (SELECT FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
		WHERE n.nspname = 'ringup' AND c.relname = 'schema')`).Scan(&there)
	if err != nil || !there {
		return 0, err
	}
	err = from.QueryRow(ctx, "SELECT version FROM ringup.schema").Scan(&version)
	return version, err
}
