package logbook

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"testing"
	"time"
)

// writerVariable names the book that the test binary, run again as a child, is to write.
const writerVariable = "RINGUP_TEST_LOGBOOK_WRITER"

func TestMain(m *testing.M) {
	if path := os.Getenv(writerVariable); path != "" {
		fmt.Fprintln(os.Stderr, writeUntilKilled(path))
		os.Exit(1)
	}
	os.Exit(m.Run())
}

// writeUntilKilled resumes the last run and goes on with its next cycle for ever,
// saying each number once the book has acknowledged it.
func writeUntilKilled(path string) error {
	b, err := Open(path)
	if err != nil {
		return err
	}
	run, err := b.LastRun()
	if errors.Is(err, ErrNoRun) {
		run.ID, err = b.Begin(sampleRun())
	}
	if err != nil {
		return err
	}
	steps, err := b.Steps(run.ID)
	if err != nil {
		return err
	}
	for n := len(steps) + 1; ; n++ {
		c, step := sampleCycle(n), sampleStep(run.ID, n)
		if err := b.BeginStep(step); err != nil {
			return err
		}
		step.Ended, step.Result = c.Ended, json.RawMessage(strconv.Itoa(n))
		mark := &Mark{At: c.Begun, Text: fmt.Sprint("cycle ", n), Kind: "mark", AfterCycle: n - 1}
		if err := b.EndStep(step, &c, []Waveform{{Kind: "clock", Trace: sampleTrace(2000, 256)}}, mark); err != nil {
			return err
		}
		fmt.Println(n)
	}
}

// A writer is killed twenty times at moments of chance. What it had acknowledged
// must be there, all of each cycle or nothing, and the next writer goes on from it.
func TestKilledWriterLosesNothing(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	path := filepath.Join(t.TempDir(), "book.db")
	acknowledged := 0
	for round := range 20 {
		acknowledged = writeAndKill(t, path, acknowledged, 1+rng.IntN(60), time.Duration(rng.IntN(3000))*time.Microsecond)
		if t.Failed() {
			t.Fatalf("in round %d", round)
		}
	}
}

func writeAndKill(t *testing.T, path string, before, lines int, then time.Duration) (after int) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	writer := exec.Command(self)
	writer.Env = append(os.Environ(), writerVariable+"="+path)
	writer.Stderr = os.Stderr
	out, err := writer.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := writer.Start(); err != nil {
		t.Fatal(err)
	}
	acknowledged := before
	said := bufio.NewScanner(out)
	for i := 0; said.Scan(); i++ {
		n, err := strconv.Atoi(said.Text())
		if err != nil || n < acknowledged || n > acknowledged+2 {
			t.Errorf("the writer goes on at cycle %q after %d", said.Text(), acknowledged)
		}
		acknowledged = n
		if i+1 == lines {
			// Not always at the same point of the writer's loop.
			time.AfterFunc(then, func() { _ = writer.Process.Kill() })
		}
	}
	if err := writer.Wait(); err == nil {
		t.Error("the writer ended by itself")
	}

	b, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer checkAndClose(t, b)
	cycles, err := b.Cycles(1, 0, 1<<30)
	if err != nil {
		t.Fatal(err)
	}
	marks, err := b.Marks(1)
	if err != nil {
		t.Fatal(err)
	}
	// One cycle more than was heard of may have been committed.
	if n := len(cycles); n < acknowledged || n > acknowledged+1 || n != len(marks) {
		t.Errorf("%d cycles and %d marks in the book, %d were acknowledged", n, len(marks), acknowledged)
	}
	return len(cycles)
}

// Readers see whole cycles only, in order, while the writer is at work.
func TestReadersWhileWriting(t *testing.T) {
	b := openBook(t)
	run := begin(t, b)
	stop := make(chan struct{})
	var readers sync.WaitGroup
	for range 2 {
		readers.Go(func() {
			for last := 0; ; {
				n := 0
				err := b.EachCycle(run, func(c Cycle) error {
					n++
					if c.Number != n {
						return fmt.Errorf("cycle %d at place %d", c.Number, n)
					}
					return nil
				})
				if err != nil || n < last {
					t.Errorf("%d cycles after %d: %v", n, last, err)
					return
				}
				steps, err := b.Steps(run)
				if err != nil || len(steps) < n {
					t.Errorf("%d steps for %d cycles: %v", len(steps), n, err)
					return
				}
				last = n
				select {
				case <-stop:
					return
				default:
				}
			}
		})
	}
	addCycles(t, b, run, 1, 120)
	close(stop)
	readers.Wait()

	// With no rows left open the write-ahead log can be folded back entirely.
	var busy, pages, moved int
	if err := b.write.QueryRow("PRAGMA wal_checkpoint(TRUNCATE)").Scan(&busy, &pages, &moved); err != nil || busy != 0 {
		t.Errorf("checkpoint: busy %d, %v", busy, err)
	}
}

func TestFullDisk(t *testing.T) {
	b := openBook(t)
	run := begin(t, b)
	addCycles(t, b, run, 1, 5)
	// The engine's own limit of pages fails like a disk without room.
	limit := func(pages int) {
		if _, err := b.write.Exec(fmt.Sprintf("PRAGMA max_page_count = %d", pages)); err != nil {
			t.Fatal(err)
		}
	}
	limit(1) // is raised to what the file has
	var failed int
	for n := 6; ; n++ {
		c, step := sampleCycle(n), sampleStep(run, n)
		step.Ended = c.Ended
		err := b.EndStep(step, &c, []Waveform{{Kind: "clock", Trace: sampleTrace(5000, 256)}}, nil)
		if err == nil {
			continue
		}
		var full *Error
		if !errors.Is(err, ErrFull) || !errors.As(err, &full) || full.Path != b.Path() || full.Op != fmt.Sprintf("end step %d of run %d", n, run) {
			t.Fatalf("full disk gives: %v", err)
		}
		failed = n
		break
	}
	if cycles, err := b.Cycles(run, 0, 1000); err != nil || len(cycles) != failed-1 {
		t.Errorf("%d cycles can be read, want %d (%v)", len(cycles), failed-1, err)
	}
	if err := b.Check(); err != nil {
		t.Error(err)
	}
	limit(1 << 20)
	addCycles(t, b, run, failed, failed+20)
	if sum, err := storedBytes(b.read); err != nil || sum != b.stored {
		t.Errorf("%d bytes accounted for, %d in the book (%v)", b.stored, sum, err)
	}
}
