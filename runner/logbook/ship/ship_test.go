//go:build unix

package ship

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"ringup/runner/logbook"
	"ringup/runner/logbook/ship/pgtest"
)

func TestMain(m *testing.M) {
	if book := os.Getenv(shipperVariable); book != "" {
		os.Exit(shipForEver(book, os.Getenv(targetVariable)))
	}
	os.Exit(m.Run())
}

// smallBatch makes several transactions of what a test has.
const smallBatch = 20

// once is Once in small batches.
func once(t *testing.T, b *logbook.Book, to Target, o Options) Shipped {
	t.Helper()
	s := newShipper(b, to, o)
	defer s.close()
	s.batch = smallBatch
	done, err := s.pass(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return done
}

// database is the tests' database.
type database struct {
	pgtest.Database
	t *testing.T
}

func newDatabase(t *testing.T) database {
	t.Helper()
	return database{pgtest.New(t), t}
}

// target is the database as role reaches it.
func (d database) target(role string, more ...string) Target {
	d.t.Helper()
	to, err := Parse(d.Address(role, more...))
	if err != nil {
		d.t.Fatal(err)
	}
	return to
}

func identity(t *testing.T, b *logbook.Book) string {
	t.Helper()
	id, err := b.Identity()
	if err != nil {
		t.Fatal(err)
	}
	return id
}

// wantAll checks with psql that the database has each cycle and mark of the book
// once and as the book exports it.
func (d database) wantAll(b *logbook.Book) {
	d.t.Helper()
	runs, err := b.Runs()
	if err != nil {
		d.t.Fatal(err)
	}
	id := identity(d.t, b)
	d.Want(fmt.Sprintf("SELECT count(*) FROM ringup.run WHERE logbook = '%s'", id), strconv.Itoa(len(runs)))
	for _, r := range runs {
		var out bytes.Buffer
		if err := b.ExportCSV(&out, r.ID); err != nil {
			d.t.Fatal(err)
		}
		exported := records(d.t, out.Bytes())
		shipped := records(d.t, []byte(d.SQL(fmt.Sprintf(`COPY (SELECT %s FROM ringup.cycle WHERE logbook = '%s' AND run = %d ORDER BY number) TO STDOUT CSV`,
			strings.Join(expressions(exported[0]), ", "), id, r.ID))))
		compare(d.t, exported, shipped)

		marks, err := b.Marks(r.ID)
		if err != nil {
			d.t.Fatal(err)
		}
		var lines []string
		for _, m := range marks {
			lines = append(lines, fmt.Sprintf("%d|%d|%s|%s|%d", m.Ordinal, m.At.UnixMicro(), m.Kind, strings.ReplaceAll(m.Text, "\x00", "\uFFFD"), m.AfterCycle))
		}
		d.Want(fmt.Sprintf(`SELECT ordinal, (extract(epoch FROM at) * 1000000)::bigint, kind, text, after_cycle
			FROM ringup.mark WHERE logbook = '%s' AND run = %d ORDER BY at, id`, id, r.ID), strings.Join(lines, "\n"))
	}
}

func records(t *testing.T, text []byte) [][]string {
	t.Helper()
	all, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// expressions word the columns of the export in SQL: those that hold maps have
// a column for each key there.
func expressions(header []string) []string {
	literal := func(s string) string { return "'" + strings.ReplaceAll(s, "'", "''") + "'" }
	var all []string
	for _, name := range header {
		if factor, ok := strings.CutPrefix(name, "factor_"); ok {
			name = "factors->>" + literal(factor)
		} else if phase, ok := strings.CutPrefix(name, "phase_"); ok {
			name = "phases->>" + literal(strings.TrimSuffix(phase, "_seconds"))
		} else if name == "warnings" {
			name = "array_to_string(warnings, '; ')"
		} else if slices.Contains([]string{"counted", "failed", "disagree", "censored"}, name) {
			name += "::text"
		}
		all = append(all, name)
	}
	return all
}

// compare holds the exported cycles, with their header, against the shipped ones.
func compare(t *testing.T, exported, shipped [][]string) {
	t.Helper()
	header, exported := exported[0], exported[1:]
	if len(exported) != len(shipped) {
		t.Errorf("%d cycles are exported, %d shipped", len(exported), len(shipped))
		return
	}
	for i, record := range exported {
		for k, want := range record {
			if got := shipped[i][k]; !same(plain(want), got) {
				t.Errorf("cycle %d: %s is %q, exported %q", i+1, header[k], got, want)
			}
		}
	}
}

// same compares texts, numbers to the last bit, and times to the microsecond that
// the database keeps.
func same(exported, shipped string) bool {
	if exported == shipped {
		return true
	}
	a, errA := strconv.ParseFloat(exported, 64)
	b, errB := strconv.ParseFloat(shipped, 64)
	if errA == nil && errB == nil {
		return a == b
	}
	x, errX := time.Parse(time.RFC3339Nano, exported)
	y, errY := time.Parse("2006-01-02 15:04:05.999999-07", shipped)
	return errX == nil && errY == nil && x.Truncate(time.Microsecond).Equal(y)
}

func TestShippedIsWhatIsExported(t *testing.T) {
	d, b := newDatabase(t), newBook(t)
	first, second := begin(t, b, "one"), begin(t, b, "two")
	begin(t, b, "none yet")
	add(t, b, first, 1, 3*smallBatch)
	add(t, b, second, 1, 30)
	if got, want := once(t, b, d.target("postgres"), Options{Name: "bench at the window"}), (Shipped{Runs: 3, Cycles: 90, Marks: 90}); got != want {
		t.Errorf("shipped %+v, want %+v", got, want)
	}
	d.wantAll(b)
	d.Want("SELECT count(*), count(*) FILTER (WHERE dropout_seconds IS NULL AND ambient_celsius IS NULL) FROM ringup.cycle", "90|90")
	d.Want("SELECT name FROM ringup.logbook", "bench at the window")
	d.Want("SELECT seed, instruments->>'scope', started, ended, accepted, zone, script_text FROM ringup.run WHERE run = 1",
		"18446744073709551610|torn\uFFFDreply \uFFFD|2026-01-12 21:00:00.123456+00|||Europe/Berlin|soak { volts = { 3.6 } }\n")

	if got := once(t, b, d.target("postgres"), Options{}); got.Any() {
		t.Errorf("shipped again: %+v", got)
	}
	d.wantAll(b)
	d.Want("SELECT name FROM ringup.logbook", "bench at the window")

	// The first run goes on.
	add(t, b, first, 61, 62)
	if got, want := once(t, b, d.target("postgres"), Options{}), (Shipped{Cycles: 2, Marks: 2}); got != want {
		t.Errorf("shipped %+v, want %+v", got, want)
	}
	d.wantAll(b)
}

// Every name of the exports is a column, and every column of cycles one of the exports.
func TestNamesAreThoseOfTheExports(t *testing.T) {
	d, b := newDatabase(t), newBook(t)
	run := begin(t, b, "one")
	add(t, b, run, 1, 1)
	once(t, b, d.target("postgres"), Options{})
	var out bytes.Buffer
	if err := b.ExportJSONLines(&out, run); err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(out.String()) {
		var record map[string]any
		if err := json.Unmarshal([]byte(line), &record); err != nil {
			t.Fatal(err)
		}
		table := record["record"].(string)
		delete(record, "record")
		columns := strings.Split(d.SQL(`SELECT column_name FROM information_schema.columns WHERE table_schema = 'ringup' AND table_name = '`+table+`'`), "\n")
		for name := range record {
			if !slices.Contains(columns, name) {
				t.Errorf("table %s has no column %s", table, name)
			}
		}
		for _, name := range columns {
			_, exported := record[name]
			if !exported && name != "logbook" && table == "cycle" {
				t.Errorf("column %s of cycles is not in the export", name)
			}
		}
	}
	d.Want(`SELECT c.relname FROM pg_class c WHERE c.relnamespace = 'ringup'::regnamespace AND c.relkind = 'r' AND obj_description(c.oid) IS NULL`, "")
}

func TestRunThatGoesOn(t *testing.T) {
	d, b := newDatabase(t), newBook(t)
	to := d.target("postgres")
	run := begin(t, b, "one")
	state := "SELECT state, reason, accepted, ended, planned_cycles FROM ringup.run"
	add(t, b, run, 1, 3)
	once(t, b, to, Options{})
	d.Want(state, "running||||1200")
	for _, change := range []struct {
		do   func() error
		want string
	}{
		{func() error { return b.SetState(run, "held", "the supply does not answer") }, "held|the supply does not answer|||1200"},
		{func() error { return b.Finish(run, "failed", "torn \x00 reply", night.Add(time.Hour)) }, "failed|torn \uFFFD reply||2026-01-12 22:00:00.123456+00|1200"},
		{func() error { return b.SetState(run, "running", "") }, "running||||1200"},
		{func() error { return b.SetPlanned(run, 40) }, "running||||40"},
		{func() error { return b.SetAccepted(run, false) }, "running||f||40"},
		{func() error { return b.Finish(run, "done", "", night.Add(2*time.Hour)) }, "done||f|2026-01-12 23:00:00.123456+00|40"},
	} {
		if err := change.do(); err != nil {
			t.Fatal(err)
		}
		if got := once(t, b, to, Options{}); got != (Shipped{Runs: 1}) {
			t.Errorf("shipped %+v, want the one run", got)
		}
		d.Want(state, change.want)
	}
	if got := once(t, b, to, Options{}); got.Any() {
		t.Errorf("shipped again: %+v", got)
	}
}

// Two benches begin at the same time with the same database, which has no tables yet.
func TestTwoBenches(t *testing.T) {
	d := newDatabase(t)
	books := []*logbook.Book{newBook(t), newBook(t)}
	for _, b := range books {
		add(t, b, begin(t, b, "one"), 1, 40)
	}
	together(t, func(i int) error {
		_, err := Once(t.Context(), books[i], d.target("postgres"), Options{Name: fmt.Sprint("bench ", i)})
		return err
	})
	for _, b := range books {
		d.wantAll(b)
	}
	d.Want("SELECT name, count(*) FROM ringup.logbook l JOIN ringup.cycle c ON c.logbook = l.id GROUP BY 1 ORDER BY 1", "bench 0|40\nbench 1|40")
}

// Two programs ship one logbook at the same time.
func TestOneBenchTwice(t *testing.T) {
	d, b := newDatabase(t), newBook(t)
	add(t, b, begin(t, b, "one"), 1, 100)
	var counted [2]Shipped
	together(t, func(i int) (err error) {
		s := newShipper(b, d.target("postgres"), Options{Waveforms: true})
		defer s.close()
		s.batch = smallBatch
		counted[i], err = s.pass(t.Context())
		return err
	})
	if sum := counted[0].Cycles + counted[1].Cycles; sum != 100 {
		t.Errorf("%d cycles were shipped: %+v", sum, counted)
	}
	d.wantAll(b)
}

func together(t *testing.T, do func(int) error) {
	t.Helper()
	var group sync.WaitGroup
	var failed [2]error
	for i := range failed {
		group.Go(func() { failed[i] = do(i) })
	}
	group.Wait()
	if err := errors.Join(failed[:]...); err != nil {
		t.Fatal(err)
	}
}

func TestWaveforms(t *testing.T) {
	d, b := newDatabase(t), newBook(t)
	to := d.target("postgres")
	run := begin(t, b, "one")
	add(t, b, run, 1, 60)
	if got := once(t, b, to, Options{}); got.Waveforms != 0 {
		t.Errorf("%d waveforms were shipped unasked", got.Waveforms)
	}
	cycles, err := b.WaveformCycles(run)
	if err != nil || len(cycles) < waveformBatch {
		t.Fatalf("cycles %d, %v", cycles, err)
	}
	if got := once(t, b, to, Options{Waveforms: true}); got.Waveforms != 2*len(cycles) {
		t.Errorf("%d waveforms were shipped, want 2 of each of %d cycles", got.Waveforms, len(cycles))
	}
	d.wantWaveforms(b, run, cycles)

	// The logbook makes room: it drops the oldest, and what is shipped stays.
	b.SetWaveformBudget(800)
	add(t, b, run, 61, 63)
	if got := once(t, b, to, Options{Waveforms: true}); got.Waveforms != 2 {
		t.Errorf("%d waveforms were shipped, want the 2 of cycle 63", got.Waveforms)
	}
	left, err := b.WaveformCycles(run)
	if err != nil || len(left) >= len(cycles) || left[len(left)-1] != 63 {
		t.Fatalf("the logbook kept %d, %v", left, err)
	}
	d.wantWaveforms(b, run, left)
	d.Want("SELECT count(*) FROM ringup.waveform", strconv.Itoa(2*len(cycles)+2))
	d.Want("SELECT waveforms_dropped > 0 FROM ringup.run", "t")
}

// wantWaveforms holds the samples that psql shows against the book's.
func (d database) wantWaveforms(b *logbook.Book, run int64, cycles []int) {
	d.t.Helper()
	word := func(samples []float64) string {
		var words []string
		for _, v := range samples {
			words = append(words, strconv.FormatFloat(float64(float32(v)), 'g', -1, 32))
		}
		return strings.Join(words, " ")
	}
	shipped := map[string][]string{}
	for line := range strings.Lines(d.SQL(fmt.Sprintf(`SELECT cycle || kind, start_seconds, step_seconds, low_volts, high_volts, codes, points,
		array_to_string(min_volts, ' '), array_to_string(max_volts, ' ') FROM ringup.waveform WHERE run = %d`, run))) {
		fields := strings.Split(strings.TrimSuffix(line, "\n"), "|")
		shipped[fields[0]] = fields[1:]
	}
	for _, cycle := range cycles {
		waveforms, err := b.Waveforms(run, cycle)
		if err != nil {
			d.t.Fatal(err)
		}
		for _, w := range waveforms {
			want := []string{"-0.001", "0.0002", "-2.04", "2.04", "256", "60", word(w.Min), ""}
			if w.Kind == "clock" {
				want[7] = word(w.Max)
			}
			got := shipped[fmt.Sprint(cycle, w.Kind)]
			if !slices.EqualFunc(want, got, sameNumbers) {
				d.t.Errorf("%s of cycle %d is\n%v\nwant\n%v", w.Kind, cycle, got, want)
			}
		}
	}
}

// sameNumbers compares lists of single precision, however each program words a number.
func sameNumbers(a, b string) bool {
	return slices.EqualFunc(strings.Fields(a), strings.Fields(b), func(a, b string) bool {
		x, errX := strconv.ParseFloat(a, 32)
		y, errY := strconv.ParseFloat(b, 32)
		return errX == nil && errY == nil && x == y
	})
}

func TestCopiesOfALogbook(t *testing.T) {
	d := newDatabase(t)
	to := d.target("postgres")
	path := filepath.Join(t.TempDir(), "book.db")
	b := openBook(t, path)
	run := begin(t, b, "one")
	add(t, b, run, 1, 10)
	once(t, b, to, Options{})
	old := copyOf(t, b, path)
	add(t, b, run, 11, 20)
	once(t, b, to, Options{})

	// Moved to another computer and gone on with there.
	moved := copyOf(t, b, path)
	add(t, moved, run, 21, 25)
	if got, want := once(t, moved, to, Options{}), (Shipped{Cycles: 5, Marks: 5}); got != want {
		t.Errorf("from the moved logbook %+v, want %+v", got, want)
	}
	d.wantAll(moved)

	refused := func(b *logbook.Book, what string) {
		t.Helper()
		_, err := Once(t.Context(), b, to, Options{})
		if !errors.Is(err, ErrForked) || !strings.Contains(err.Error(), what) || !strings.Contains(err.Error(), "--new-identity") {
			t.Errorf("shipping another copy: %v; want %s", err, what)
		}
		d.wantAll(moved)
	}
	// The first file is used again, as it was and then with cycles of its own.
	refused(b, "cycle 25 of run 1")
	for n := 21; n <= 30; n++ {
		if err := addOne(b, run, n, night.Add(time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	refused(b, "cycle 25 of run 1")
	// A backup begins a run that the database knows as another.
	begin(t, moved, "two")
	once(t, moved, to, Options{})
	refused(old, "run 2")
	begin(t, old, "three")
	refused(old, "run 2 is another one")

	if err := old.NewIdentity(); err != nil {
		t.Fatal(err)
	}
	if got, want := once(t, old, to, Options{}), (Shipped{Runs: 2, Cycles: 10, Marks: 10}); got != want {
		t.Errorf("as a logbook of its own %+v, want %+v", got, want)
	}
	d.wantAll(old)
	d.wantAll(moved)
}

// Marks alone tell two copies apart, too.
func TestCopiesWithOtherMarks(t *testing.T) {
	d := newDatabase(t)
	path := filepath.Join(t.TempDir(), "book.db")
	b := openBook(t, path)
	run := begin(t, b, "one")
	other := copyOf(t, b, path)
	for i, b := range []*logbook.Book{b, other} {
		if err := b.AddMark(logbook.Mark{Run: run, At: night.Add(time.Duration(i) * time.Minute), Kind: "mark"}); err != nil {
			t.Fatal(err)
		}
	}
	once(t, b, d.target("postgres"), Options{})
	if _, err := Once(t.Context(), other, d.target("postgres"), Options{}); !errors.Is(err, ErrForked) {
		t.Errorf("shipping the other copy: %v", err)
	}
}

// copyOf copies a book's file while nothing writes it.
func copyOf(t *testing.T, b *logbook.Book, path string) *logbook.Book {
	t.Helper()
	copied := filepath.Join(t.TempDir(), "copy.db")
	for _, suffix := range []string{"", "-wal"} {
		text, err := os.ReadFile(path + suffix)
		if err == nil {
			err = os.WriteFile(copied+suffix, text, 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	return openBook(t, copied)
}

// A database that was restored from an older dump gets the rest again.
func TestRestoredDatabase(t *testing.T) {
	d, b := newDatabase(t), newBook(t)
	to := d.target("postgres")
	add(t, b, begin(t, b, "one"), 1, 40)
	once(t, b, to, Options{})
	d.SQL("DELETE FROM ringup.cycle WHERE number > 25; DELETE FROM ringup.mark WHERE after_cycle > 20; UPDATE ringup.run SET state = 'held'")
	if got, want := once(t, b, to, Options{}), (Shipped{Runs: 1, Cycles: 15, Marks: 19}); got != want {
		t.Errorf("shipped %+v, want %+v", got, want)
	}
	d.wantAll(b)
}

func TestCancelled(t *testing.T) {
	d, b := newDatabase(t), newBook(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Once(ctx, b, d.target("postgres"), Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("Once in a context that has ended: %v", err)
	}
}
