//go:build linux

package usbguest_test

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"ringup/drivers/link/internal/usbguest"
	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/faultmatrix"
	"ringup/runner/logbook"
	"ringup/runner/simbench"
)

const (
	usbtmc = "usbtmc"
	// matrixTable is where the outcomes are kept.
	matrixTable = "fault-matrix-usbtmc.txt"
	// tableMark begins each line of the table in the guest's log.
	tableMark = "table: "
	// Time-outs of the matrix, in real time: short, and long enough for a busy computer that plays another one.
	matrixTimeOut = 700 * time.Millisecond
	matrixQuiet   = 40 * time.Millisecond
)

const matrixTitle = `# Written by TestGuest of package usbguest: what becomes of a power cycle when supply and oscilloscope of the simulated
# bench are USB-TMC instruments of a real Linux kernel, and one of them has a fault at one of the cycle's messages. Never
# a wrong number, never a lost cycle, and the supply off afterwards. A command's byte is lost or garbled in one place of
# each message, another from message to message.
`

const matrixMore = `; USB: the transfer has the tag of another request; it is of another type; the
# endpoint stalls; the reply is announced and never comes`

// matrixKinds are the faults of any wire and those of USB's own layer.
var matrixKinds = slices.Concat(faultmatrix.Wire, []faultmatrix.Kind{
	{Fault: simbench.WireFault(usbguest.WrongTag), Column: "tag"},
	{Fault: simbench.WireFault(usbguest.WrongMessage), Column: "type"},
	{Fault: simbench.WireFault(usbguest.Stall), Column: "stall"},
	{Fault: simbench.WireFault(usbguest.Swallow), Column: "swallow"},
})

// interfaceFaults are the blows that the instrument's interface deals.
var interfaceFaults = map[simbench.WireFault]usbguest.Fault{
	simbench.ReplySplit:                       usbguest.Single,
	simbench.WireFault(usbguest.WrongTag):     usbguest.WrongTag,
	simbench.WireFault(usbguest.WrongMessage): usbguest.WrongMessage,
	simbench.WireFault(usbguest.Stall):        usbguest.Stall,
	simbench.WireFault(usbguest.Swallow):      usbguest.Swallow,
}

var matrixInstruments = []simbench.Instrument{simbench.Supply, simbench.Scope}

// dialectFiles are the dialects of the simulated instruments.
var dialectFiles = []string{"simulated-supply.toml", "simulated-scope.toml", "simulated-thermometer.toml"}

// matrixDialects is a folder of them with the matrix's time-outs.
func matrixDialects(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	writeDialects(t, dir, matrixTimeOut, matrixQuiet)
	return dir
}

// writeDialects writes them with other time-outs.
func writeDialects(t *testing.T, dir string, timeOut, quiet time.Duration) {
	t.Helper()
	for _, name := range dialectFiles {
		text, err := os.ReadFile(filepath.Join(usbguest.Files, name))
		must(t, err)
		timed := strings.Replace(string(text), "[session]\n", fmt.Sprintf("[session]\ntime_out = \"%d ms\"\nsilence = \"%d ms\"\n", timeOut.Milliseconds(), quiet.Milliseconds()), 1)
		must(t, os.WriteFile(filepath.Join(dir, name), []byte(timed), 0o644))
	}
}

// struckBench is a simulated bench whose run a test steers through faults.
type struckBench struct {
	t       *testing.T
	sim     *simbench.Bench
	book    *logbook.Book
	session *runner.Session
	holds   []string // causes
	heal    func()
}

// Observe implements runner.Observer.
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

// openStruck sets a bench up with supply and scope on these wires; all of it is taken down with the test, but the
// instruments stay plugged in.
func openStruck(t *testing.T, wires map[simbench.Instrument]*usbWire, dialects string) *struckBench {
	t.Helper()
	begins := time.Date(2026, 1, 14, 18, 30, 0, 0, time.UTC)
	offSince := begins.Add(-time.Minute)
	file, err := bench.Parse("bench.toml", []byte(soakBench))
	must(t, err)
	clock := runner.NewVirtualClock(begins, 0)
	others := map[simbench.Instrument]simbench.Wire{}
	for name, w := range wires {
		others[name] = w
	}
	b := &struckBench{t: t}
	b.sim, err = simbench.New(simbench.Options{
		Unit: "healthy", Seed: 7, Clock: clock, OffSince: offSince, Wires: others,
		Climate:    simbench.Climate{MeanCelsius: 20, Still: true},
		ClockProbe: simbench.Probe{Node: simbench.NodeNearField, Attenuation: file.Clock.Attenuation},
	})
	must(t, err)
	at, err := b.sim.Serve(simbench.TCP)
	must(t, err)
	t.Cleanup(func() {
		for _, w := range wires {
			w.stay()
		}
		if err := b.sim.Close(); err != nil {
			t.Error(err)
		}
	})
	rig, err := runner.OpenRig(t.Context(), file, map[string]string{
		"sim:supply": at.Supply, "sim:scope": at.Scope, "sim:thermometer": at.Thermometer,
	}, dialects, nil)
	must(t, err)
	b.book, err = logbook.Open(filepath.Join(t.TempDir(), "logbook.db"))
	must(t, err)
	t.Cleanup(func() {
		if err := errors.Join(b.book.Close(), rig.Close()); err != nil {
			t.Error(err)
		}
	})
	b.session, err = runner.Open(rig, b.book, nil, runner.Options{
		Program: runner.Program{Name: "test"}, Clock: clock, OffSince: offSince, Zone: time.UTC, Seed: 7, Observer: b,
	})
	must(t, err)
	return b
}

// cycle power-cycles the unit and returns its verdict.
func (b *struckBench) cycle() (string, error) {
	raw, err := b.session.Call(b.t.Context(), "cycle", json.RawMessage(`{"volts":3.6}`), 1)
	var result struct{ Verdict string }
	if err == nil {
		err = json.Unmarshal(raw, &result)
	}
	return result.Verdict, err
}

// cycles reads the run's cycles back from the logbook.
func (b *struckBench) cycles() []logbook.Cycle {
	b.t.Helper()
	var all []logbook.Cycle
	must(b.t, b.book.EachCycle(b.session.Run().ID, func(c logbook.Cycle) error {
		all = append(all, c)
		return nil
	}))
	return all
}

// refer makes a cycle without any fault. On a busy machine a time-out may come all the same, so there are three tries.
func refer(t *testing.T, wires map[simbench.Instrument]*usbWire, dialects string) (r faultmatrix.Reference) {
	for range 3 {
		started := false
		t.Run("reference", func(t *testing.T) {
			r, started = referOnce(t, wires, dialects)
		})
		if started {
			return r
		}
	}
	t.Fatal("no cycle without a fault has started")
	return r
}

func referOnce(t *testing.T, wires map[simbench.Instrument]*usbWire, dialects string) (r faultmatrix.Reference, started bool) {
	r.OneSpot = true
	r.Messages = map[simbench.Instrument][]string{}
	b := openStruck(t, wires, dialects)
	held := false
	b.heal = func() { held = true }
	var mu sync.Mutex
	for _, i := range matrixInstruments {
		b.sim.Faults().Listen(i, func(message string) {
			mu.Lock()
			defer mu.Unlock()
			r.Messages[i] = append(r.Messages[i], message)
		})
	}
	verdict, err := b.cycle()
	for _, i := range matrixInstruments {
		b.sim.Faults().Listen(i, nil)
	}
	if err != nil || verdict != "started" || held {
		t.Logf("the cycle without a fault is %q, error %v, held: %t", verdict, err, held)
		return r, false
	}
	r.Cycle = b.cycles()[0]
	return r, true
}

// strike puts a bench through a blow and says what became of the cycle; why is what else is wrong with the run. A wrong
// number or a supply that is on fails the test at once.
func strike(t *testing.T, r faultmatrix.Reference, w faultmatrix.Blow, wires map[simbench.Instrument]*usbWire, dialects string) (outcome rune, why string) {
	b := openStruck(t, wires, dialects)
	faults := b.sim.Faults()
	b.heal = func() {
		if err := faults.Heal(w.Instrument); err != nil {
			t.Error(err)
		}
	}
	if fault, own := interfaceFaults[w.Fault]; own {
		n := 0
		faults.Listen(w.Instrument, func(string) {
			if n == w.Message {
				wires[w.Instrument].handle.Misbehave(fault)
			}
			n++
		})
	} else {
		faults.Strike(w.Instrument, simbench.Blow{Fault: w.Fault, At: w.Message, Spot: w.Message % faultmatrix.Spots(r.Messages[w.Instrument][w.Message], w.Fault), Late: matrixTimeOut * 5 / 4})
	}
	_, err := b.cycle()
	if on, _ := b.sim.SupplyOutput(); on {
		t.Error("THE SUPPLY IS ON after the cycle")
	}
	if err != nil {
		return faultmatrix.Bad, fmt.Sprintf("the run ends: %v", err)
	}
	b.heal()
	if verdict, err := b.cycle(); err != nil || verdict != "started" {
		why = fmt.Sprintf("; the cycle after the fault is %q, error %v", verdict, err)
	}
	if err := errors.Join(b.session.End(nil), b.book.Check()); err != nil {
		t.Error(err)
	}
	if on, _ := b.sim.SupplyOutput(); on {
		t.Error("THE SUPPLY IS ON after the run")
	}
	cycles := b.cycles()
	if len(cycles) != 2 || cycles[0].Number != 1 || cycles[1].Number != 2 {
		t.Fatalf("the logbook has %d cycles, want both", len(cycles))
	}
	t.Logf("%s: %s", cycles[0].Verdict, cycles[0].Reason)
	for _, h := range b.holds {
		if h != "lost link" {
			why += fmt.Sprintf("; the run held for %q", h)
		}
	}
	return r.Outcome(t, cycles[0], len(b.holds) > 0), why
}

// same compares outcomes. Whether a run holds for an instrument that is unplugged and plugged in again, or switched off
// and on, depends on how soon the kernel finds it.
func same(b faultmatrix.Blow, o, p rune) bool {
	if b.Fault == simbench.LinkClosedAndBack || b.Fault == simbench.Rebooted {
		withoutHold := func(o rune) rune {
			return cmp.Or(map[rune]rune{faultmatrix.HeldThen: faultmatrix.Measured, faultmatrix.HeldUnread: faultmatrix.Unread}[o], o)
		}
		return withoutHold(o) == withoutHold(p)
	}
	return o == p
}

// shareOfWire is how many kinds of faults that any wire has an ordinary test deals.
const shareOfWire = 2

// share is a stall, an unplugging, and a blow of some other kinds, at messages that the seed chooses. TestInsideDamage
// deals a link the faults of USB's own layer each time.
func share(all []faultmatrix.Blow) []faultmatrix.Blow {
	chance := rand.New(rand.NewPCG(7, 0))
	var some []faultmatrix.Blow
	wire := faultmatrix.Faults(faultmatrix.Wire)
	chance.Shuffle(len(wire), func(i, j int) { wire[i], wire[j] = wire[j], wire[i] })
	for _, fault := range append(wire[:shareOfWire], simbench.LinkClosedAndBack, simbench.WireFault(usbguest.Stall)) {
		of := slices.DeleteFunc(slices.Clone(all), func(b faultmatrix.Blow) bool { return b.Fault != fault })
		some = append(some, of[chance.IntN(len(of))])
	}
	return some
}

// TestInsideFaultMatrix strikes a run with each fault of the wire and of the USB interface, at each message of a cycle
// to the supply and the scope. Whatever comes, the logbook has every cycle, none has a wrong number, the supply is off,
// the run goes on, and the next cycle is as if nothing had been. The outcomes are those of
// testdata/fault-matrix-usbtmc.txt. Dealt is a share of the blows; with RINGUP_LONG=1 all of them, or those whose names
// RINGUP_BLOWS matches, a regular expression with _ for a space. With RINGUP_WRITE=1 too their outcomes are written into
// the table.
func TestInsideFaultMatrix(t *testing.T) {
	usbguest.Inside(t)
	long, write := os.Getenv("RINGUP_LONG") == "1", os.Getenv("RINGUP_WRITE") == "1"
	instruments, dialects := usbguest.Connect(t), matrixDialects(t)
	// Many blows wait for a time-out, so several benches are struck side by side.
	var benches []map[simbench.Instrument]*usbWire
	for k := range map[bool]int{false: 2, true: 5}[long] {
		benches = append(benches, map[simbench.Instrument]*usbWire{
			simbench.Supply: newUSBWire(instruments, fmt.Sprintf("PSU-%d", k), usbguest.StatusTells),
			simbench.Scope:  newUSBWire(instruments, fmt.Sprintf("OSC-%d", k), usbguest.StatusTells),
		})
	}
	t.Cleanup(func() { // the virtual host controller has few ports
		for _, wires := range benches {
			for _, w := range wires {
				w.handle.Unplug()
			}
		}
	})
	r := refer(t, benches[0], dialects)
	table := faultmatrix.NewTable(matrixTitle, matrixMore, matrixKinds)
	all := table.Expect(usbtmc, r, matrixInstruments)
	kept, err := faultmatrix.Read(filepath.Join(usbguest.Files, matrixTable), matrixKinds)
	switch {
	case errors.Is(err, os.ErrNotExist) && write:
		kept = faultmatrix.NewTable(matrixTitle, matrixMore, matrixKinds)
	case err != nil:
		t.Fatal(err)
	case !write:
		for _, difference := range table.RowsUnlike(kept) {
			t.Errorf("%s: %s; write the table anew: RINGUP_LONG=1 RINGUP_WRITE=1 go test ./drivers/link/internal/usbguest", matrixTable, difference)
		}
	}
	for _, b := range all {
		if o := kept.Outcome(b); o != '-' {
			table.Set(b, o)
		}
	}
	if long {
		only, err := regexp.Compile(os.Getenv("RINGUP_BLOWS"))
		must(t, err)
		all = slices.DeleteFunc(all, func(b faultmatrix.Blow) bool { return !only.MatchString(strings.ReplaceAll(b.String(), " ", "_")) })
	} else {
		all = share(all)
	}
	var mu sync.Mutex
	var again []faultmatrix.Blow
	deal := func(w faultmatrix.Blow, wires map[simbench.Instrument]*usbWire, last bool) {
		t.Run(w.String(), func(t *testing.T) {
			outcome, why := strike(t, r, w, wires, dialects)
			mu.Lock()
			defer mu.Unlock()
			table.Set(w, outcome)
			want := outcome
			if o := kept.Outcome(w); !write && o != faultmatrix.NotDealt {
				want = o
			}
			switch {
			case same(w, outcome, want) && outcome != faultmatrix.Bad && why == "":
			case last:
				t.Errorf("outcome %c, want %c%s", outcome, want, why)
			default:
				t.Logf("outcome %c, want %c%s: once more", outcome, want, why)
				again = append(again, w)
			}
		})
	}
	begun := time.Now()
	var workers sync.WaitGroup
	work := make(chan faultmatrix.Blow)
	for _, wires := range benches {
		workers.Go(func() {
			for w := range work {
				deal(w, wires, false)
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
		deal(w, benches[0], true)
	}
	t.Logf("%d blows in %.0f s, %d of them dealt again\n%s", len(all), time.Since(begun).Seconds(), len(again), table.Summary())
	if write {
		for line := range strings.Lines(table.String()) {
			fmt.Print(tableMark + line)
		}
	}
}
