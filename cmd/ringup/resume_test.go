package main

import (
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"
)

// twoSoaks has a pause in its middle; 30 cycles.
const twoSoaks = `soak { volts = { 2.4, 2.2 }, cycles = 5, rest = "35 s" }
log("pause")
wait("2 min")
log("go on")
soak { volts = { 2.4, 2.2 }, cycles = 10, rest = "35 s" }
`

// TestResume kills a run and gives the same command again: the night must be the same as an uninterrupted one.
func TestResume(t *testing.T) {
	t.Parallel()
	whole := newFolder(t, twoSoaks)
	whole.must(t, "run", "night.lua", "--listen", "none")
	want := whole.must(t, "export", "--format", "csv")
	if n := strings.Count(want, "\n"); n != 31 {
		t.Fatalf("the uninterrupted run exports %d lines, want a header and 30 cycles", n)
	}
	for name, kill := range map[string]struct{ after, in string }{
		"in the second cycle":   {"1 of 10 cycles", "cycle"},
		"in a pause":            {"pause", "wait"},
		"in the eleventh cycle": {"go on", "cycle"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := newFolder(t, twoSoaks)
			p := f.start(t, nil, "run", "night.lua", "--listen", "none", "--pace", "200")
			p.await(kill.after)
			f.awaitStep(t, kill.in)
			p.kill()
			cut, err := f.book(t).CutOff(1)
			if err != nil || cut == nil || cut.Call != kill.in {
				t.Fatalf("the run was killed in step %+v (%v), not in a %s", cut, err, kill.in)
			}

			f.must(t, "run", "night.lua", "--listen", "none")
			f.wantSound(t)
			if got := f.must(t, "export", "--format", "csv"); got != want {
				t.Errorf("the resumed run differs from the uninterrupted one: %s", firstDifference(got, want))
			}
			steps, err := f.book(t).Steps(1)
			if err != nil {
				t.Fatal(err)
			}
			if again := steps[cut.Ordinal-1]; again.Attempts != 2 {
				t.Errorf("the step that was cut off has %d attempts, want 2", again.Attempts)
			}
			if runs := decode[[]any](t, f.must(t, "runs", "--json")); len(runs) != 1 {
				t.Errorf("%d runs in the logbook, want the one that went on", len(runs))
			}
		})
	}
}

// awaitStep waits until the logbook has a step of this call begun and not ended.
func (f folder) awaitStep(t *testing.T, call string) {
	t.Helper()
	book := f.book(t)
	for t.Context().Err() == nil {
		cut, err := book.CutOff(1)
		if err != nil {
			t.Fatal(err)
		}
		if cut != nil && cut.Call == call {
			return
		}
	}
}

// firstDifference names the first line in which two texts differ.
func firstDifference(got, want string) string {
	a, b := strings.Split(got, "\n"), strings.Split(want, "\n")
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return "\n" + a[i] + "\nwant\n" + b[i]
		}
	}
	return "one is longer than the other"
}

// TestNotTheSameAnyMore edits a file after a run was cut short: the command must say why it does not go on with it.
func TestNotTheSameAnyMore(t *testing.T) {
	t.Parallel()
	f := newFolder(t, twoSoaks)
	p := f.start(t, nil, "run", "night.lua", "--listen", "none", "--pace", "200")
	p.await("1 of 10 cycles")
	p.kill()
	run := []string{"run", "night.lua", "--listen", "none"}
	f.write(t, "night.lua", twoSoaks+"-- a note\n")
	f.write(t, "bench.toml", demoBench+"# a note\n")
	if o := f.ringup(t, run...); !strings.Contains(o.err, "run 1 was cut short and is not gone on with: the script and the bench file differed then") {
		t.Errorf("after an edit it says\n%s", o.err)
	}
	f.write(t, "night.lua", twoSoaks)
	f.write(t, "bench.toml", demoBench)
	if o := f.ringup(t, run...); !strings.Contains(o.err, "run 1 was cut short; going on with it") {
		t.Errorf("with the files put back it says\n%s", o.err)
	}
}

// TestFiftyKills kills one run at fifty moments of chance: its night must be that of a run nobody disturbed.
func TestFiftyKills(t *testing.T) {
	if os.Getenv("RINGUP_LONG") != "1" {
		t.Skip("fifty starts take a while; RINGUP_LONG=1 does them")
	}
	const script = `soak { volts = { 3.6, 2.4, 2.2 }, cycles = 60, rest = "35 s" }
for i = 1, 20 do
  if random() > 0.5 then cycle { volts = 2.2, rest = "35 s" } else wait("20 s") end
  mark("mark " .. i)
end
`
	whole := newFolder(t, script)
	whole.must(t, "run", "night.lua", "--listen", "none")
	want := whole.must(t, "export")

	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	chance := rand.New(rand.NewPCG(seed, 0))
	f := newFolder(t, script)
	for range 50 {
		p := f.start(t, nil, "run", "night.lua", "--listen", "none", "--pace", "500")
		p.await("night.lua on")
		time.AfterFunc(time.Duration(chance.IntN(500))*time.Millisecond, func() { _ = p.cmd.Process.Kill() })
		if status := p.wait(); status == exitDone {
			t.Fatal("the run was done before it had been killed fifty times: the script is too short for this computer")
		}
	}
	f.must(t, "run", "night.lua", "--listen", "none")
	f.wantSound(t)
	if got := f.must(t, "export"); got != want {
		t.Errorf("the run differs from an undisturbed one: %s", firstDifference(got, want))
	}
	if runs := decode[[]any](t, f.must(t, "runs", "--json")); len(runs) != 1 {
		t.Errorf("%d runs in the logbook, want the one that went on", len(runs))
	}
}
