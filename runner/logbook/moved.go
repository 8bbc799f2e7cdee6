package logbook

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"
)

// ErrMoved means that the book's file was deleted, moved or replaced while it was
// being written.
var ErrMoved = errors.New("the file was deleted, moved or replaced while it was being written")

// files are those of the book as they were opened.
type files struct{ book, log os.FileInfo }

func (b *Book) rememberFiles() (err error) {
	if b.opened.book, err = os.Stat(b.path); err == nil {
		b.opened.log, err = os.Stat(b.path + "-wal")
	}
	return err
}

// inPlace gives ErrMoved unless the file that is written is the one at the book's
// path. The engine would go on writing a deleted file, and a night would be gone
// with the process that holds it. It is the last moment to save what the book
// holds. The caller holds mu.
func (b *Book) inPlace(ctx context.Context) error {
	if b.moved == nil && !isAt(b.opened.book, b.path) {
		saved := fmt.Sprintf("%s.rescued-%s", b.path, time.Now().Format("20060102-150405"))
		if _, err := b.write.ExecContext(ctx, "VACUUM INTO ?", saved); err != nil {
			b.moved = fmt.Errorf("%w, and what it held could not be saved as %s: %w", ErrMoved, saved, err)
		} else {
			b.moved = fmt.Errorf("%w; all that it held is saved as %s: put that in its place, then give the same command again to go on", ErrMoved, saved)
		}
	}
	return b.moved
}

// isAt says whether a file lies at path. What cannot be told counts as yes.
func isAt(file os.FileInfo, path string) bool {
	found, err := os.Stat(path)
	if err != nil {
		return !errors.Is(err, fs.ErrNotExist)
	}
	return os.SameFile(file, found)
}

// removeOwnLog takes the write-ahead log of a book that was moved away from
// beside whatever lies there now: the engine would take the one for the other's.
func (b *Book) removeOwnLog() error {
	log := b.path + "-wal"
	if _, err := os.Stat(log); err != nil || !isAt(b.opened.log, log) {
		return nil
	}
	return errors.Join(os.Remove(log), os.Remove(b.path+"-shm"))
}
