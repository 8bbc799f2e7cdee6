package logbook

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// Books of earlier schema versions as SQL, each written when its version was
// released. They stay as they are whatever the schema becomes.
const (
	firstVersion  = "../../testdata/logbook/version1.sql"
	secondVersion = "../../testdata/logbook/version2.sql"
)

// restore makes a book file from its SQL.
func restore(t *testing.T, version string) (path string) {
	t.Helper()
	text, err := os.ReadFile(version)
	if err != nil {
		t.Fatal(err)
	}
	path = filepath.Join(t.TempDir(), "old.db")
	db, err := sql.Open("sqlite", dataSource(path, nil))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(string(text)); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestBookOfTheFirstVersion(t *testing.T) {
	b, err := Open(restore(t, firstVersion))
	if err != nil {
		t.Fatal(err)
	}
	defer checkAndClose(t, b)
	cycles, err := b.Cycles(1, 0, 100)
	if err != nil || len(cycles) != 8 {
		t.Fatalf("%d cycles, %v", len(cycles), err)
	}
	for i, c := range cycles {
		want := sampleCycle(i + 1)
		want.Run, want.Ordinal = 1, i+1
		delete(want.Phases, "read")
		if diff := cmp.Diff(want, c, nanEqual); diff != "" {
			t.Errorf("cycle %d (-want +got):\n%s", i+1, diff)
		}
	}
	if w, err := b.Waveforms(1, 7); err != nil || len(w) != 1 || len(w[0].Min) != 400 {
		t.Errorf("%d waveforms of cycle 7, %v", len(w), err)
	}
	addCycles(t, b, 1, 9, 12)
}

// A book from before books had an identity gets one, its own.
func TestBookOfTheSecondVersion(t *testing.T) {
	identities := map[string]bool{}
	for range 2 {
		b, err := Open(restore(t, secondVersion))
		if err != nil {
			t.Fatal(err)
		}
		defer checkAndClose(t, b)
		cycles, err := b.Cycles(1, 6, 100)
		if err != nil || len(cycles) != 2 || !cycles[0].Disagree || len(cycles[0].Warnings) != 2 || cycles[1].Warnings != nil {
			t.Fatalf("cycles 7 and 8: %+v, %v", cycles, err)
		}
		id, err := b.Identity()
		if err != nil || len(id) != 32 {
			t.Errorf("identity %q, %v", id, err)
		}
		identities[id] = true
		addCycles(t, b, 1, 9, 12)
	}
	if len(identities) != 2 {
		t.Errorf("two books have one identity: %v", identities)
	}
}

func TestOlderBookSaysSo(t *testing.T) {
	if _, err := OpenReadOnly(restore(t, firstVersion)); !errors.Is(err, ErrOlder) {
		t.Errorf("OpenReadOnly of version 1: %v", err)
	}
}

func TestMigrationForward(t *testing.T) {
	path := restore(t, firstVersion)
	later := append(migrations[:len(migrations):len(migrations)],
		"ALTER TABLE run ADD COLUMN operator TEXT NOT NULL DEFAULT ''; CREATE TABLE more (x INTEGER);",
		"INSERT INTO more VALUES (7);")
	b, err := openWith(path, later)
	if err != nil {
		t.Fatal(err)
	}
	var x int
	if err := b.read.QueryRow("SELECT x FROM more, run WHERE operator = ''").Scan(&x); err != nil || x != 7 {
		t.Errorf("after the migration: %d, %v", x, err)
	}
	addCycles(t, b, 1, 9, 10)
	checkAndClose(t, b)

	if b, err = openWith(path, later); err != nil {
		t.Fatalf("a second opening: %v", err)
	}
	checkAndClose(t, b)

	// The older program must leave the newer book alone.
	for name, open := range map[string]func(string) (*Book, error){"Open": Open, "OpenReadOnly": OpenReadOnly} {
		if _, err := open(path); !errors.Is(err, ErrNewer) {
			t.Errorf("%s of a newer book: %v", name, err)
		}
	}
}

func TestFailedMigrationChangesNothing(t *testing.T) {
	path := restore(t, firstVersion)
	broken := append(migrations[:len(migrations):len(migrations)], "CREATE TABLE half (x INTEGER); SELECT no_such_function();")
	_, err := openWith(path, broken)
	if err == nil || !strings.Contains(err.Error(), "from version 3 to 4") {
		t.Fatalf("a broken migration: %v", err)
	}
	b, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer checkAndClose(t, b)
	var tables int
	if err := b.read.QueryRow("SELECT count(*) FROM sqlite_schema WHERE name = 'half'").Scan(&tables); err != nil || tables != 0 {
		t.Errorf("half of the migration is left: %d, %v", tables, err)
	}
	if v, err := schemaVersion(context.Background(), b.read); err != nil || v != 3 {
		t.Errorf("version %d, %v", v, err)
	}
}

func TestOlderBookCannotBeReadOnly(t *testing.T) {
	path := filepath.Join(t.TempDir(), "empty.db")
	db, err := sql.Open("sqlite", dataSource(path, nil))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("CREATE TABLE other (x INTEGER)"); err != nil {
		t.Fatal(err)
	}
	db.Close()
	if _, err := OpenReadOnly(path); err == nil || !strings.Contains(err.Error(), "version 0") {
		t.Errorf("OpenReadOnly: %v", err)
	}
}
