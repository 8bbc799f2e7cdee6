package main

import (
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"ringup/runner"
	"ringup/runner/simbench"
)

// TestHoldByCommand holds a daemon's run, kills the daemon, and lets the run go on under another one.
func TestHoldByCommand(t *testing.T) {
	t.Parallel()
	f := newFolder(t, twoSoaks)
	d := f.serve(t, freePort(t), "--pace", "400")
	d.tell("submit", "night.lua")
	d.await("of 10 cycles")
	if said := d.tell("hold", "hands", "on the board"); !strings.Contains(said, "held, supply off and confirmed") {
		t.Errorf("hold says %q", said)
	}
	s := d.status()
	if s.Run == nil || s.Run.State != "held" || s.Hold == nil || s.Hold.Reason != "by a person: hands on the board" || !s.Hold.ForPerson || !s.Supply.ConfirmedOff {
		t.Fatalf("held: %+v, %+v, %+v", s.Run, s.Hold, s.Supply)
	}
	done := s.Progress.Done
	f.wantRefused(t, exitFailed, []string{"hold", "--daemon", d.address}, "held already")
	if shown := d.tell("status"); !strings.Contains(shown, "go on with: ringup resume") || !strings.Contains(shown, "supply off, read back") {
		t.Errorf("status says\n%s", shown)
	}
	if page := d.get("/debug"); !strings.Contains(page, "OUTPut OFF") || !strings.Contains(page, "hands on the board") {
		t.Errorf("the debug page does not show what was said last:\n%.2000s", page)
	}
	if metrics := d.get("/metrics"); !strings.Contains(metrics, `ringup_hold{reason="by a person: hands on the board"} 1`) {
		t.Error("the metrics do not tell of the hold")
	}
	d.kill()

	d = f.serve(t, freePort(t))
	d.await("held, supply off: by a person: hands on the board")
	if s := d.status(); s.Run.State != "held" || s.Progress.Done != done {
		t.Errorf("after kill and restart: %+v with %d cycles, want it held after %d", s.Run, s.Progress.Done, done)
	}
	d.tell("resume")
	if s := d.awaitEnd(); s.Run.ID != 1 || s.Run.State != "done" || s.Progress.Done != 30 {
		t.Errorf("gone on with: %+v with %d cycles", s.Run, s.Progress.Done)
	}
	f.wantRefused(t, exitFailed, []string{"resume", "--daemon", d.address}, "no run")
	shown := f.must(t, "show", "1")
	for _, part := range []string{"hold: by a person: hands on the board", "resume: let go on by a person"} {
		if strings.Count(shown, part) != 1 {
			t.Errorf("show does not say %q once; it says\n%s", part, shown)
		}
	}
	if status := d.interrupt(); status != exitDone {
		t.Errorf("the daemon ended with status %d", status)
	}
	f.wantSound(t)
}

// relayBench is the demo's bench with a relay in the lead of a supply that is set by hand.
var relayBench = strings.NewReplacer("[supply]\naddress = \"sim:supply\"", "[supply]\nset_by_hand = \"2.4 V\"\n\n[switch]\naddress = \"sim:switch\"",
	`"cracked-capacitor"`, `"healthy"`).Replace(demoBench)

// TestRelayBench runs on a bench without a remote-controlled supply, and asks it for another voltage.
func TestRelayBench(t *testing.T) {
	t.Parallel()
	f := newFolder(t, `soak { volts = { 2.4 }, cycles = 3 }`)
	f.write(t, "bench.toml", relayBench)
	f.write(t, "other.lua", "cycle { volts = 2.4 }\ncycle { volts = 3.6 }\n")
	o := f.ringup(t, "run", "night.lua", "--listen", "none")
	if o.status != exitDone || !strings.Contains(o.out, "3 started") || !strings.Contains(o.err, "the relay is open, read back") {
		t.Errorf("exit status %d\n%s\n%s", o.status, o.out, o.err)
	}
	line := 1 + strings.Count(relayBench[:strings.Index(relayBench, "set_by_hand")], "\n")
	if line < 2 {
		t.Fatal("the bench file has no relay")
	}
	f.wantRefused(t, exitFailed, []string{"run", "other.lua", "--listen", "none"},
		"other.lua:2", "bench.toml:10:15: supply.set_by_hand: 3.6 V were asked for", "is set to 2.4 V by hand")
	f.wantSound(t)
}

// TestForegroundHold: Enter lets a run in the foreground go on, and the terminal says so.
func TestForegroundHold(t *testing.T) {
	t.Parallel()
	f := newFolder(t, twoSoaks)
	from, to, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer from.Close()
	address := freePort(t)
	p := f.startWith(t, from, nil, "run", "night.lua", "--listen", address, "--pace", "400")
	p.await("of 10 cycles")
	f.must(t, "hold", "--daemon", address)
	p.await("go on with Enter here")
	if _, err := to.WriteString("\n"); err != nil {
		t.Fatal(err)
	}
	p.await("resume: let go on by a person")
	f.must(t, "hold", "--daemon", address)
	if status := p.interrupt(); status != exitStopped {
		t.Errorf("Ctrl-C on a held run: exit status %d, want %d", status, exitStopped)
	}
	if r, err := f.book(t).Run(1); err != nil || r.State != "stopped" {
		t.Errorf("the run is %q (%v), want stopped", r.State, err)
	}
	f.wantSound(t)
}

// TestDaemonWaitsForItsInstruments: after a power cut the computer is up before the scope.
func TestDaemonWaitsForItsInstruments(t *testing.T) {
	t.Parallel()
	f := newFolder(t, `soak { volts = { 3.6 }, cycles = 2, rest = "100 ms" }`)
	sim, err := simbench.New(simbench.Options{
		Unit: "healthy", Seed: 1, Clock: runner.WallClock{}, ClockProbe: simbench.Probe{Node: simbench.NodeNearField, Attenuation: 20},
		Climate: simbench.Climate{MeanCelsius: 20, Zone: time.UTC}, LampProbe: true,
	})
	if err != nil {
		t.Fatal(err)
	}
	defer sim.Close()
	a, err := sim.Serve(simbench.TCP)
	if err != nil {
		t.Fatal(err)
	}
	f.write(t, "bench.toml", strings.NewReplacer(`"sim:supply"`, strconv.Quote(a.Supply), `"sim:scope"`, strconv.Quote(a.Scope), `"sim:thermometer"`, strconv.Quote(a.Thermometer), "[probes.lamp]\nchannel = 3\n", "").Replace(demoBench))
	p := f.start(t, nil, "run", "night.lua", "--listen", "none")
	p.await("of 2 cycles")
	p.kill()
	p.await("the supply is off, read back") // the guard
	if err := sim.Faults().Hangup(simbench.Scope); err != nil {
		t.Fatal(err)
	}

	d := f.serve(t, freePort(t))
	d.await("the run goes on once its instruments answer")
	if _, err := sim.Faults().Plug(simbench.Scope); err != nil {
		t.Fatal(err)
	}
	if s := d.awaitEnd(); s.Run.ID != 1 || s.Run.State != "done" || s.Progress.Done != 2 {
		t.Errorf("gone on with: %+v with %d cycles", s.Run, s.Progress.Done)
	}
	if status := d.interrupt(); status != exitDone {
		t.Errorf("the daemon ended with status %d", status)
	}
	f.wantSound(t)
}
