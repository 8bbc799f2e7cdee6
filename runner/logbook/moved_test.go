package logbook

import (
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// TestMovedBook deletes or replaces the file under a writer. The next write says so and saves all there was, and
// nothing of it gets into the other book.
func TestMovedBook(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("Windows does not let an open file be deleted")
	}
	for name, move := range map[string]func(t *testing.T, path string){
		"deleted": func(t *testing.T, path string) {
			for _, suffix := range []string{"", "-wal", "-shm"} {
				if err := os.Remove(path + suffix); err != nil {
					t.Fatal(err)
				}
			}
		},
		"replaced": func(t *testing.T, path string) {
			other := filepath.Join(t.TempDir(), "other.db")
			b, err := Open(other)
			if err != nil {
				t.Fatal(err)
			}
			addCycles(t, b, begin(t, b), 1, 3)
			checkAndClose(t, b)
			if err := os.Rename(other, path); err != nil {
				t.Fatal(err)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "book.db")
			b, err := Open(path)
			if err != nil {
				t.Fatal(err)
			}
			run := begin(t, b)
			addCycles(t, b, run, 1, 7)
			move(t, path)
			for range 2 { // it stays so, and is saved once
				if err := b.BeginStep(sampleStep(run, 8)); !errors.Is(err, ErrMoved) || !strings.Contains(err.Error(), path+".rescued-") {
					t.Errorf("a moved book gives: %v", err)
				}
			}
			if err := b.Close(); err != nil {
				t.Error(err)
			}
			saved, err := filepath.Glob(path + ".rescued-*")
			if err != nil || len(saved) != 1 {
				t.Fatalf("saved as %v (%v), want one file", saved, err)
			}
			wantCycles(t, saved[0], 7)
			if name == "replaced" {
				wantCycles(t, path, 3)
			}
		})
	}
}

func wantCycles(t *testing.T, path string, want int) {
	t.Helper()
	b, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer checkAndClose(t, b)
	if cycles, err := b.Cycles(1, 0, 100); err != nil || len(cycles) != want {
		t.Errorf("%s has %d cycles (%v), want %d", filepath.Base(path), len(cycles), err, want)
	}
}

// TestNoLogbook opens what is no logbook, or not any more, and must leave it as it is.
func TestNoLogbook(t *testing.T) {
	dir := t.TempDir()
	foreign := filepath.Join(dir, "foreign.db")
	db, err := sql.Open("sqlite", dataSource(foreign, nil))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("CREATE TABLE bookmarks (address TEXT)"); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	text := filepath.Join(dir, "notes.txt")
	if err := os.WriteFile(text, []byte(strings.Repeat("chilled C7\n", 100)), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{foreign, text} {
		before, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := Open(path); !errors.Is(err, ErrForeign) {
			t.Errorf("open %s: %v", filepath.Base(path), err)
		}
		if after, err := os.ReadFile(path); err != nil || string(after) != string(before) {
			t.Errorf("%s was changed (%v)", filepath.Base(path), err)
		}
	}
	if _, err := OpenReadOnly(dir); err == nil || !strings.Contains(err.Error(), "this is a folder") {
		t.Errorf("open a folder: %v", err)
	}
}

func TestDamagedBook(t *testing.T) {
	path := filepath.Join(t.TempDir(), "book.db")
	b, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	addCycles(t, b, begin(t, b), 1, 200)
	checkAndClose(t, b)
	file, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	const enginePage = 4096
	for i := enginePage * 2; i < len(file); i++ { // all but the schema's pages
		file[i] = 0xa5
	}
	if err := os.WriteFile(path, file, 0o644); err != nil {
		t.Fatal(err)
	}
	if b, err = OpenReadOnly(path); err == nil {
		_, err = b.Cycles(1, 0, 1000)
		b.Close()
	}
	if !errors.Is(err, ErrDamaged) {
		t.Errorf("a damaged book gives: %v", err)
	}
}

// TestWritten tells a book that is being written from one that was left.
func TestWritten(t *testing.T) {
	path := filepath.Join(t.TempDir(), "book.db")
	b, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	reader, err := OpenReadOnly(path)
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	if !b.Written() || !reader.Written() {
		t.Error("a book that is open for writing is not said to be")
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	if reader.Written() {
		t.Error("a closed book is said to be written")
	}
	if b, err = Open(path); err != nil {
		t.Fatalf("looking whether it is written keeps a writer out: %v", err)
	}
	checkAndClose(t, b)
}
