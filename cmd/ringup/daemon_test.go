package main

import (
	"io"
	"net/http"
	"strings"
	"testing"

	"ringup/dashboards/live"
)

// served is a daemon in a folder, spoken to by the program's own commands.
type served struct {
	*process
	t       *testing.T
	folder  folder
	address string
}

func (f folder) serve(t *testing.T, address string, more ...string) *served {
	t.Helper()
	d := &served{f.start(t, nil, append([]string{"serve", "--listen", address}, more...)...), t, f, address}
	d.await("ringup serves")
	return d
}

// tell gives the daemon a command that has to succeed.
func (d *served) tell(command string, arguments ...string) string {
	d.t.Helper()
	return d.folder.must(d.t, append([]string{command, "--daemon", d.address}, arguments...)...)
}

func (d *served) status() live.Status {
	d.t.Helper()
	return decode[live.Status](d.t, d.tell("status", "--json"))
}

// awaitEnd asks until the last run has ended.
func (d *served) awaitEnd() live.Status {
	d.t.Helper()
	for d.t.Context().Err() == nil {
		if s := d.status(); !s.Active && s.Run != nil && !s.Run.Ended.IsZero() {
			return s
		}
	}
	d.t.Fatal("the run never ended")
	return live.Status{}
}

// get reads an address of the page.
func (d *served) get(path string) string {
	d.t.Helper()
	response, err := http.Get("http://" + d.address + path)
	if err != nil {
		d.t.Fatal(err)
	}
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	if err != nil || response.StatusCode != http.StatusOK {
		d.t.Fatalf("GET %s: %s, %v", path, response.Status, err)
	}
	return string(text)
}

const questions = `cycle { volts = 3.6 }
local said = ask("Is the lamp lit?")
mark("they said " .. said)
ask("Go on?")
cycle { volts = 3.6 }
`

// TestDaemon lives through two runs of a daemon: one that fails, and one that asks and is stopped.
func TestDaemon(t *testing.T) {
	t.Parallel()
	f := newFolder(t, questions)
	f.write(t, "bad.lua", "cycle { volts = 3.6 }\nerror('no lamp')\n")
	f.write(t, "typo.lua", "cycle { volts = 3.6 \n")
	d := f.serve(t, freePort(t))

	f.wantRefused(t, exitUsage, []string{"submit", "typo.lua", "--daemon", d.address}, "typo.lua:1: ")
	d.tell("submit", "bad.lua")
	d.await("bad.lua:2: no lamp")
	if s := d.awaitEnd(); s.Run == nil || s.Run.ID != 1 || s.Run.State != "failed" || !s.Supply.ConfirmedOff {
		t.Errorf("after a script that fails: %+v, %+v", s.Run, s.Supply)
	}
	f.wantRefused(t, exitFailed, []string{"answer", "--daemon", d.address, "yes"})

	taken := decode[struct{ Run int64 }](t, d.tell("submit", "night.lua", "--json"))
	if taken.Run != 2 {
		t.Errorf("submit says run %d, want 2", taken.Run)
	}
	d.await("asks: Is the lamp lit?")
	s := d.status()
	if s.Run == nil || s.Run.State != "held" || s.Hold == nil || s.Hold.Question != "Is the lamp lit?" || !s.Supply.ConfirmedOff {
		t.Errorf("held: %+v, %+v, %+v", s.Run, s.Hold, s.Supply)
	}
	f.wantRefused(t, exitFailed, []string{"submit", "bad.lua", "--daemon", d.address}, "run")
	d.tell("mark", "heater", "came", "on")
	d.tell("mark", "--treatment", "C7 chilled")
	if page := d.get("/"); !strings.Contains(page, "<html") {
		t.Errorf("the page is no page:\n%s", page)
	}
	if metrics := d.get("/metrics"); !strings.Contains(metrics, "# TYPE ringup_") {
		t.Errorf("the metrics are none:\n%s", metrics)
	}
	d.tell("answer", "yes")
	d.await("they said yes")
	d.await("asks: Go on?")
	d.tell("stop")
	if s := d.awaitEnd(); s.Run.State != "stopped" || !s.Supply.ConfirmedOff || s.Progress.Done != 1 {
		t.Errorf("after stop: %+v, %+v", s.Run, s.Supply)
	}

	shown := f.must(t, "show", "2")
	for _, part := range []string{"stopped", "mark: heater came on", "treatment: C7 chilled", `"yes" to: Is the lamp lit?`, "mark: they said yes"} {
		if !strings.Contains(shown, part) {
			t.Errorf("show does not say %q; it says\n%s", part, shown)
		}
	}
	if status := d.interrupt(); status != exitDone {
		t.Errorf("the daemon ended with status %d", status)
	}
	f.wantSound(t)
	f.wantRefused(t, exitFailed, []string{"status", "--daemon", d.address}, "no daemon")
}

// TestDaemonGoesOn ends a daemon in mid-run, politely and not, and starts another one.
func TestDaemonGoesOn(t *testing.T) {
	t.Parallel()
	whole := newFolder(t, twoSoaks)
	whole.must(t, "run", "night.lua", "--listen", "none")
	want := whole.must(t, "export")
	for name, end := range map[string]func(*testing.T, *served){
		"Ctrl-C": func(t *testing.T, d *served) {
			if status := d.interrupt(); status != exitDone {
				t.Errorf("the daemon ended with status %d", status)
			}
		},
		"killed": func(_ *testing.T, d *served) { d.kill() },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := newFolder(t, twoSoaks)
			d := f.serve(t, freePort(t), "--pace", "200")
			d.tell("submit", "night.lua")
			d.await("go on")
			f.awaitStep(t, "cycle")
			end(t, d)
			if r, err := f.book(t).Run(1); err != nil || r.State != "running" {
				t.Fatalf("the run was left as %q (%v), want running", r.State, err)
			}

			d = f.serve(t, freePort(t))
			d.await("going on with run 1")
			s := d.awaitEnd()
			if s.Run == nil || s.Run.ID != 1 || s.Run.State != "done" || s.Progress.Done != 30 {
				t.Errorf("gone on with: %+v with %d cycles", s.Run, s.Progress.Done)
			}
			if got := f.must(t, "export"); got != want {
				t.Errorf("the run of two daemons differs from an uninterrupted one: %s", firstDifference(got, want))
			}
			f.wantSound(t)
			if status := d.interrupt(); status != exitDone {
				t.Errorf("the daemon ended with status %d", status)
			}
		})
	}
}

// TestDaemonAsksAgain kills a daemon whose run holds: the question must be asked again, and what was done to the
// unit must not be forgotten.
func TestDaemonAsksAgain(t *testing.T) {
	t.Parallel()
	f := newFolder(t, questions)
	d := f.serve(t, freePort(t))
	d.tell("submit", "night.lua")
	d.await("asks: Is the lamp lit?")
	d.tell("mark", "--treatment", "C7 chilled")
	d.kill()

	d = f.serve(t, freePort(t))
	d.await("asks: Is the lamp lit?")
	d.tell("answer", "no")
	d.await("asks: Go on?")
	d.tell("answer", "yes")
	s := d.awaitEnd()
	if s.Run.ID != 1 || s.Run.State != "done" || s.Progress.Done != 2 {
		t.Errorf("gone on with: run %d, %s, %d cycles", s.Run.ID, s.Run.State, s.Progress.Done)
	}
	if s.LastCycle == nil || s.LastCycle.Treatment != "C7 chilled" {
		t.Errorf("the cycle after the power cut is %+v, want it under the treatment named before", s.LastCycle)
	}
	if status := d.interrupt(); status != exitDone {
		t.Errorf("the daemon ended with status %d", status)
	}
	f.wantSound(t)
}
