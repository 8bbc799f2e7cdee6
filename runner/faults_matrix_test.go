package runner_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"ringup/runner"
	"ringup/runner/faultmatrix"
	"ringup/runner/simbench"
)

// Time-outs of the matrix, in real time: short, or it would take hours, and long enough for a busy machine, which may
// leave a process alone for half a second.
const (
	matrixTimeOut = 1500 * time.Millisecond
	matrixQuiet   = 40 * time.Millisecond
)

// matrixDialects is a folder of the simulated instruments' dialects with the matrix's time-outs.
func matrixDialects(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	for _, name := range []string{"simulated-supply", "simulated-scope", "simulated-thermometer"} {
		text, err := os.ReadFile(filepath.Join("../drivers/dialect/files", name+".toml"))
		if err != nil {
			t.Fatal(err)
		}
		quick := strings.Replace(string(text), "[session]\n", fmt.Sprintf("[session]\ntime_out = \"%d ms\"\nsilence = \"%d ms\"\n", matrixTimeOut.Milliseconds(), matrixQuiet.Milliseconds()), 1)
		if err := os.WriteFile(filepath.Join(dir, name+".toml"), []byte(quick), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// struckBench is a simulated bench whose run a test steers through faults.
type struckBench struct {
	*simulation
	t       *testing.T
	session *runner.Session
	holds   []string // causes
	heal    func()
}

func (b *struckBench) Observe(e runner.Event) {
	if e.Kind != runner.Held {
		return
	}
	cause, _, _ := strings.Cut(e.Reason, ":")
	b.holds = append(b.holds, cause)
	if on, _ := b.sim.SupplyOutput(); on && !strings.Contains(e.Reason, "NOT CONFIRMED OFF") {
		b.t.Errorf("THE SUPPLY IS ON while the run holds: %s", e.Reason)
	}
	b.heal()
	if e.ForPerson {
		go b.session.Resume()
	}
}

func openStruck(t *testing.T, link, dialects string) *struckBench {
	b := &struckBench{t: t}
	b.simulation = simulate(t, simulation{unit: "healthy", celsius: 20, rested: time.Minute, seed: 7, link: link, dialects: dialects, watch: b})
	b.session = b.open(t, nil)
	return b
}

var matrixInstruments = []simbench.Instrument{simbench.Supply, simbench.Scope, simbench.Thermometer}

func refer(t *testing.T, link, dialects string) faultmatrix.Reference {
	b := openStruck(t, link, dialects)
	b.heal = func() { t.Error("the run holds without any fault") }
	r := faultmatrix.Reference{Messages: map[simbench.Instrument][]string{}}
	var mu sync.Mutex
	for _, i := range matrixInstruments {
		b.sim.Faults().Listen(i, func(message string) {
			mu.Lock()
			defer mu.Unlock()
			r.Messages[i] = append(r.Messages[i], message)
		})
	}
	b.mustCycle(t, b.session, "started")
	for _, i := range matrixInstruments {
		b.sim.Faults().Listen(i, nil)
	}
	mu.Lock()
	defer mu.Unlock()
	r.Cycle = b.cycles(t, b.session.Run().ID)[0]
	return r
}

// strike puts a bench through a blow and says what became of the cycle; why is what else is wrong with the run. A wrong
// number or a supply that is on fails the test at once.
func strike(t *testing.T, r faultmatrix.Reference, w faultmatrix.Blow, dialects string) (outcome rune, why string) {
	b := openStruck(t, w.Link, dialects)
	faults := b.sim.Faults()
	b.heal = func() {
		if err := faults.Heal(w.Instrument); err != nil {
			t.Error(err)
		}
	}
	faults.Strike(w.Instrument, simbench.Blow{Fault: w.Fault, At: w.Message, Spot: w.Spot, Late: matrixTimeOut * 5 / 4})
	first := <-b.cycle(t, b.session)
	if on, _ := b.sim.SupplyOutput(); on {
		t.Error("THE SUPPLY IS ON after the cycle")
	}
	if first.err != nil {
		return faultmatrix.Bad, fmt.Sprintf("the run ends: %v", first.err)
	}
	b.heal()
	next := <-b.cycle(t, b.session)
	if next.err != nil || next.result.Verdict != "started" {
		why = fmt.Sprintf("the cycle after the fault: %+v", next)
	}
	if err := errors.Join(b.session.End(nil), b.book.Check()); err != nil {
		t.Error(err)
	}
	if on, _ := b.sim.SupplyOutput(); on {
		t.Error("THE SUPPLY IS ON after the run")
	}
	cycles := b.cycles(t, b.session.Run().ID)
	if len(cycles) != 2 || cycles[0].Number != 1 || cycles[1].Number != 2 {
		t.Fatalf("the logbook has %d cycles, want both", len(cycles))
	}
	for _, h := range b.holds {
		if h != "lost link" {
			why += fmt.Sprintf("; the run held for %q", h)
		}
	}
	return r.Outcome(t, cycles[0], len(b.holds) > 0), why
}

const faultTablePath = "../testdata/fault-matrix.txt"

const faultTableTitle = `# Written by TestFaultMatrix of package runner: what becomes of a power cycle when a wire of the simulated bench has a
# fault at one of the cycle's messages. Never a wrong number, never a lost cycle, and the supply off afterwards.
`

// matrixShare is which part of the blows is dealt in an ordinary test, one in so many.
const matrixShare = 13

// TestFaultMatrix strikes a run with each fault of the wire, at each message of a cycle, on each link. Whatever comes,
// the logbook has every cycle, none has a wrong number, the supply is off, the run goes on, and the next cycle is as if
// nothing had been. The outcomes are those of testdata/fault-matrix.txt. With RINGUP_LONG=1 all blows are dealt and the
// table is printed; with RINGUP_WRITE=1 too it is written.
func TestFaultMatrix(t *testing.T) {
	dialects := matrixDialects(t)
	table := faultmatrix.NewTable(faultTableTitle, "", faultmatrix.Wire)
	refs := map[string]faultmatrix.Reference{}
	var all []faultmatrix.Blow
	for _, link := range []string{simbench.PTY, simbench.TCP} {
		refs[link] = refer(t, link, dialects)
		all = append(all, table.Expect(link, refs[link], matrixInstruments)...)
	}
	kept, err := faultmatrix.Read(faultTablePath, faultmatrix.Wire)
	long, write := os.Getenv("RINGUP_LONG") == "1", os.Getenv("RINGUP_WRITE") == "1"
	switch {
	case write:
	case err != nil:
		t.Fatal(err)
	default:
		for _, difference := range table.RowsUnlike(kept) {
			t.Errorf("%s: %s; write the table anew: RINGUP_LONG=1 RINGUP_WRITE=1 go test ./runner -run TestFaultMatrix", faultTablePath, difference)
		}
	}
	if !long {
		n := -1
		all = slices.DeleteFunc(all, func(faultmatrix.Blow) bool { n++; return n%matrixShare != 0 })
	}
	var mu sync.Mutex
	var again []faultmatrix.Blow
	deal := func(w faultmatrix.Blow, last bool) {
		t.Run(w.String(), func(t *testing.T) {
			outcome, why := strike(t, refs[w.Link], w, dialects)
			mu.Lock()
			defer mu.Unlock()
			table.Set(w, outcome)
			want := outcome
			if !write {
				want = kept.Outcome(w)
			}
			switch {
			case outcome == want && outcome != faultmatrix.Bad && why == "":
			case last:
				t.Errorf("outcome %c, want %c%s", outcome, want, why)
			default:
				again = append(again, w)
			}
		})
	}
	var workers sync.WaitGroup
	work := make(chan faultmatrix.Blow)
	for range 24 { // most of them wait for a time-out
		workers.Go(func() {
			for w := range work {
				deal(w, false)
			}
		})
	}
	for _, w := range all {
		work <- w
	}
	close(work)
	workers.Wait()
	// On a busy machine a time-out may come without any fault. So a run that went unlike the table is gone through once
	// more, alone. A wrong number has no second chance.
	for _, w := range again {
		deal(w, true)
	}
	t.Logf("%d blows, %d of them dealt again\n%s", len(all), len(again), table.Summary())
	if long {
		t.Logf("\n%s", table)
	}
	if write && long && !t.Failed() {
		if err := os.WriteFile(faultTablePath, []byte(table.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
