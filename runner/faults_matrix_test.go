package runner_test

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"ringup/runner"
	"ringup/runner/logbook"
	"ringup/runner/simbench"
	"ringup/runner/verdict"
)

// Time-outs of the matrix, in real time: short, or it would take hours, and long enough for a busy machine, which may
// leave a process alone for half a second.
const (
	matrixTimeOut = 1500 * time.Millisecond
	matrixQuiet   = 40 * time.Millisecond
)

// blow is one fault at one message of a cycle, on one link.
type blow struct {
	link       string
	instrument simbench.Instrument
	message    int
	fault      simbench.WireFault
	spot       int
}

func (b blow) String() string {
	return fmt.Sprintf("%s/%s %d/%s %d", b.link, b.instrument, b.message, b.fault, b.spot)
}

// What may become of a cycle.
const (
	measured   = 'm' // as without the fault, number for number
	noAmbient  = 'a' // likewise, but for the ambient, which was not measured: no start is judged by it
	unread     = 'u' // recorded as not read
	heldThen   = 'M' // the run held for a lost link and went on by itself; as without the fault
	heldUnread = 'U' // likewise; recorded as not read
	bad        = '!'
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

// reference is a cycle without any fault.
type reference struct {
	messages map[simbench.Instrument][]string
	cycle    logbook.Cycle
}

var matrixInstruments = []simbench.Instrument{simbench.Supply, simbench.Scope, simbench.Thermometer}

func refer(t *testing.T, link, dialects string) reference {
	b := openStruck(t, link, dialects)
	b.heal = func() { t.Error("the run holds without any fault") }
	r := reference{messages: map[simbench.Instrument][]string{}}
	var mu sync.Mutex
	for _, i := range matrixInstruments {
		b.sim.Faults().Listen(i, func(message string) {
			mu.Lock()
			defer mu.Unlock()
			r.messages[i] = append(r.messages[i], message)
		})
	}
	b.mustCycle(t, b.session, "started")
	for _, i := range matrixInstruments {
		b.sim.Faults().Listen(i, nil)
	}
	mu.Lock()
	defer mu.Unlock()
	r.cycle = b.cycles(t, b.session.Run().ID)[0]
	return r
}

// blows are all faults at all messages of the reference.
func (r reference) blows(link string) []blow {
	var all []blow
	for _, i := range matrixInstruments {
		for n, message := range r.messages[i] {
			for _, fault := range simbench.WireFaults {
				for spot := range spots(message, fault) {
					all = append(all, blow{link, i, n, fault, spot})
				}
			}
		}
	}
	return all
}

// spots is in how many places a fault can strike a message.
func spots(message string, fault simbench.WireFault) int {
	switch fault {
	case simbench.CommandByteLost, simbench.CommandByteGarbled:
		return len(simbench.Spots(message))
	case simbench.BlockCountWrong:
		if !strings.HasPrefix(message, "TRACe:DATA?") {
			return 0
		}
	}
	return 1
}

// strike puts a bench through a blow and says what became of the cycle; why is what else is wrong with the run. A wrong
// number or a supply that is on fails the test at once.
func (r reference) strike(t *testing.T, w blow, dialects string) (outcome rune, why string) {
	b := openStruck(t, w.link, dialects)
	faults := b.sim.Faults()
	b.heal = func() {
		if err := faults.Heal(w.instrument); err != nil {
			t.Error(err)
		}
	}
	faults.Strike(w.instrument, simbench.Blow{Fault: w.fault, At: w.message, Spot: w.spot, Late: matrixTimeOut * 5 / 4})
	first := <-b.cycle(t, b.session)
	if on, _ := b.sim.SupplyOutput(); on {
		t.Error("THE SUPPLY IS ON after the cycle")
	}
	if first.err != nil {
		return bad, fmt.Sprintf("the run ends: %v", first.err)
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
	return r.outcome(t, cycles[0], len(b.holds) > 0), why
}

// outcome compares a cycle with the reference's.
func (r reference) outcome(t *testing.T, c logbook.Cycle, held bool) rune {
	outcome := map[bool]rune{false: measured, true: heldThen}[held]
	switch c.Verdict {
	case verdict.Unread:
		outcome = map[bool]rune{false: unread, true: heldUnread}[held]
	case r.cycle.Verdict:
	default:
		t.Errorf("WRONG VERDICT: %s (%s), without the fault %s", c.Verdict, c.Reason, r.cycle.Verdict)
		return bad
	}
	want, got := numbers(r.cycle), numbers(c)
	for name, w := range want {
		switch g := got[name]; {
		case math.IsNaN(g) && name == ambient && outcome == measured:
			outcome = noAmbient
		case math.IsNaN(g) && (math.IsNaN(w) || c.Verdict == verdict.Unread):
		case !(math.Abs(g-w) <= sameWithin*math.Abs(w)):
			t.Errorf("WRONG NUMBER: %s is %g, without the fault %g (%s: %s)", name, g, w, c.Verdict, c.Reason)
			outcome = bad
		}
	}
	return outcome
}

// sameWithin is how far a number may be from the reference's, relatively. Most are the same to the last bit; the steady
// record is taken at a later moment, with other noise on it, where a reply was waited for.
const sameWithin = 1e-3

const ambient = "ambient"

// numbers are a cycle's measurements.
func numbers(c logbook.Cycle) map[string]float64 {
	return map[string]float64{
		"start": c.StartSeconds, "frequency": c.FrequencyHertz, "amplitude": c.AmplitudeVolts, "growth": c.GrowthSeconds,
		"rail rise": c.RailRiseSeconds, "rail volts": c.RailVolts, "dropout": c.DropoutSeconds, "lamp": c.LampHertz,
		"supply volts": c.SupplyVolts, "supply amps": c.SupplyAmps, ambient: c.AmbientCelsius,
	}
}

// matrixShare is which part of the blows is dealt in an ordinary test, one in so many.
const matrixShare = 13

// TestFaultMatrix strikes a run with each fault of the wire, at each message of a cycle, on each link. Whatever comes,
// the logbook has every cycle, none has a wrong number, the supply is off, the run goes on, and the next cycle is as if
// nothing had been. The outcomes are those of testdata/fault-matrix.txt. With RINGUP_LONG=1 all blows are dealt and the
// table is printed; with RINGUP_WRITE=1 too it is written.
func TestFaultMatrix(t *testing.T) {
	dialects := matrixDialects(t)
	table := newFaultTable()
	refs := map[string]reference{}
	var all []blow
	for _, link := range []string{simbench.PTY, simbench.TCP} {
		refs[link] = refer(t, link, dialects)
		blows := refs[link].blows(link)
		table.expect(link, refs[link], blows)
		all = append(all, blows...)
	}
	kept, err := readFaultTable(faultTablePath)
	long, write := os.Getenv("RINGUP_LONG") == "1", os.Getenv("RINGUP_WRITE") == "1"
	switch {
	case write:
	case err != nil:
		t.Fatal(err)
	default:
		for _, difference := range table.rowsUnlike(kept) {
			t.Errorf("%s: %s; write the table anew: RINGUP_LONG=1 RINGUP_WRITE=1 go test ./runner -run TestFaultMatrix", faultTablePath, difference)
		}
	}
	if !long {
		n := -1
		all = slices.DeleteFunc(all, func(blow) bool { n++; return n%matrixShare != 0 })
	}
	var mu sync.Mutex
	var again []blow
	deal := func(w blow, last bool) {
		t.Run(w.String(), func(t *testing.T) {
			outcome, why := refs[w.link].strike(t, w, dialects)
			mu.Lock()
			defer mu.Unlock()
			table.set(w, outcome)
			want := outcome
			if !write {
				want = kept.outcome(w)
			}
			switch {
			case outcome == want && outcome != bad && why == "":
			case last:
				t.Errorf("outcome %c, want %c%s", outcome, want, why)
			default:
				again = append(again, w)
			}
		})
	}
	var workers sync.WaitGroup
	work := make(chan blow)
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
	t.Logf("%d blows, %d of them dealt again\n%s", len(all), len(again), table.summary())
	if long {
		t.Logf("\n%s", table)
	}
	if write && long && !t.Failed() {
		if err := os.WriteFile(faultTablePath, []byte(table.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
