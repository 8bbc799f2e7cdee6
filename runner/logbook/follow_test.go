package logbook

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func TestIdentityStaysWithTheFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "book.db")
	b, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	id, err := b.Identity()
	if err != nil || len(id) != 32 {
		t.Fatalf("identity %q, %v", id, err)
	}
	checkAndClose(t, b)

	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	elsewhere := filepath.Join(t.TempDir(), "copy.db")
	if err := os.WriteFile(elsewhere, whole, 0o644); err != nil {
		t.Fatal(err)
	}
	moved, err := Open(elsewhere)
	if err != nil {
		t.Fatal(err)
	}
	defer checkAndClose(t, moved)
	if same, err := moved.Identity(); err != nil || same != id {
		t.Errorf("the copy has identity %q, %v; the book has %q", same, err, id)
	}
	if err := moved.NewIdentity(); err != nil {
		t.Fatal(err)
	}
	if other, err := moved.Identity(); err != nil || other == id || len(other) != 32 {
		t.Errorf("its new identity is %q, %v", other, err)
	}
	if other, err := openBook(t).Identity(); err != nil || other == id {
		t.Errorf("another book has identity %q, %v", other, err)
	}
}

// Whoever follows a book gets each entry once, in pieces of any size, also of
// runs that take turns, and not what was dropped meanwhile.
func TestFollowing(t *testing.T) {
	b := openBook(t)
	first, second := begin(t, b), begin(t, b)
	addCycles(t, b, first, 1, 8)
	addCycles(t, b, second, 1, 7)
	addCycles(t, b, first, 9, 14)
	var marks []Mark
	for i, run := range []int64{second, first, second, first, first} {
		// Not in order of time: a clock may have been set back.
		m := Mark{Run: run, At: night.Add(time.Duration(i*7%5) * time.Minute), Text: "m", Kind: "mark", AfterCycle: i}
		if err := b.AddMark(m); err != nil {
			t.Fatal(err)
		}
		marks = append(marks, m)
	}
	var got []Mark
	for place := int64(0); ; {
		next, err := b.MarksAfter(place, 2)
		if err != nil {
			t.Fatal(err)
		}
		if len(next) == 0 {
			break
		}
		for _, m := range next {
			got, place = append(got, m.Entry), m.Place
		}
	}
	if diff := cmp.Diff(marks, got); diff != "" {
		t.Errorf("marks (-added +followed):\n%s", diff)
	}

	var followed []Waveform
	for place := int64(0); ; {
		next, err := b.WaveformsAfter(place, 3)
		if err != nil {
			t.Fatal(err)
		}
		if len(next) == 0 {
			break
		}
		for _, w := range next {
			followed, place = append(followed, w.Entry), w.Place
		}
	}
	var stored []Waveform
	for _, of := range []struct {
		run   int64
		cycle int
	}{{first, 1}, {first, 2}, {first, 3}, {first, 7}, {second, 1}, {second, 2}, {second, 3}, {second, 7}, {first, 14}} {
		w, err := b.Waveforms(of.run, of.cycle)
		if err != nil {
			t.Fatal(err)
		}
		stored = append(stored, w...)
	}
	if diff := cmp.Diff(stored, followed, nanEqual); diff != "" || len(stored) < 8 {
		t.Errorf("%d waveforms (-stored +followed):\n%s", len(stored), diff)
	}
}
