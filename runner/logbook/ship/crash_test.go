//go:build unix

package ship

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"testing"
	"time"

	"ringup/runner/logbook"
)

// shipperVariable and targetVariable make the test binary a process that ships.
const (
	shipperVariable = "RINGUP_TEST_SHIP_BOOK"
	targetVariable  = "RINGUP_TEST_SHIP_TO"
)

// shipForEver ships a book and says so after each transaction.
func shipForEver(path, address string) int {
	b, err := logbook.OpenReadOnly(path)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	to, err := Parse(address)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	s := newShipper(b, to, Options{Waveforms: true})
	s.batch, s.committed = 3, func() { fmt.Println("committed") }
	for {
		if _, err := s.pass(context.Background()); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
	}
}

// A shipping process is killed at moments of chance, while the book grows. What
// is there is whole after each kill, and in the end all is there once.
func TestKilledWhileShipping(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	d, b := newDatabase(t), newBook(t)
	run := begin(t, b, "one")
	address := d.Address("postgres")
	const rounds, cycles = 8, 30
	midway := 0
	for round := range rounds {
		add(t, b, run, cycles*round+1, cycles*(round+1))
		// Not always at the same point between two commits.
		killShipper(t, b.Path(), address, 1+rng.IntN(8), time.Duration(rng.IntN(3000))*time.Microsecond)
		// Numbered from 1 without a hole, whatever came of the last batch.
		d.Want("SELECT count(*) - coalesce(max(number), 0) FROM ringup.cycle", "0")
		d.Want("SELECT count(*) FROM ringup.waveform w LEFT JOIN ringup.cycle c ON c.logbook = w.logbook AND c.run = w.run AND c.number = w.cycle WHERE c.number IS NULL", "0")
		if d.SQL(fmt.Sprintf("SELECT max(number) < %d FROM ringup.cycle", cycles*(round+1))) == "t" {
			midway++
		}
	}
	if midway == 0 {
		t.Error("no kill came before all cycles were shipped")
	}
	once(t, b, d.target("postgres"), Options{Waveforms: true})
	d.wantAll(b)
	kept, err := b.WaveformCycles(run)
	if err != nil {
		t.Fatal(err)
	}
	d.wantWaveforms(b, run, kept)
}

// killShipper ships until so many transactions are committed, and then a little on.
func killShipper(t *testing.T, book, address string, commits int, then time.Duration) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := exec.Command(self)
	c.Env = append(os.Environ(), shipperVariable+"="+book, targetVariable+"="+address)
	c.Stderr = os.Stderr
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	said := bufio.NewScanner(out)
	for n := 1; said.Scan(); n++ {
		if n == commits {
			time.AfterFunc(then, func() { _ = c.Process.Kill() })
		}
	}
	if err := c.Wait(); err == nil {
		t.Error("the shipping process ended by itself")
	}
}
