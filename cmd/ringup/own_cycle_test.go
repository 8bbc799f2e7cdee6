package main

import (
	"strings"
	"testing"

	"ringup/runner"
)

// ownCycles makes its cycles itself, each with the unit left on for a while, and begins one again that was cut off.
const ownCycles = `local function start()
  supply.off { rest = "20 s" }
  supply.set(3.0)
  scope.arm { watch = "80 ms" }
  supply.on()
  scope.fetch()
  wait("2 min")
  supply.off()
  return record()
end

for i = 1, 4 do
  local ok, result = pcall(start)
  if not ok then
    log("begun again: " .. tostring(result))
    result = start()
  end
  log(result.number .. " " .. result.verdict)
end
`

// TestOwnCycleSurvivesKill kills a run while its script has the supply on, and goes on with it.
func TestOwnCycleSurvivesKill(t *testing.T) {
	t.Parallel()
	f := newFolder(t, ownCycles)
	p := f.start(t, nil, "run", "night.lua", "--listen", "none", "--pace", "400")
	p.await("2 started")
	f.awaitStep(t, "wait")
	p.kill()

	o := f.ringup(t, "run", "night.lua", "--listen", "none")
	if o.status != exitDone || strings.Count(o.err, "begun again: night.lua:7: the run held or the program was restarted meanwhile") != 1 {
		t.Errorf("exit status %d\n%s", o.status, o.err)
	}
	s := decode[runner.Summary](t, f.must(t, "show", "--json"))
	if s.State != "done" || s.Cycles != 4 {
		t.Errorf("the run is %s with %d cycles, want it done with 4", s.State, s.Cycles)
	}
	f.wantSound(t)

	// It is in the logbook which call learned it.
	steps, err := f.book(t).Steps(1)
	if err != nil {
		t.Fatal(err)
	}
	interrupted := 0
	for _, step := range steps {
		if strings.Contains(string(step.Result), `"kind":"interrupted"`) {
			interrupted++
		}
	}
	if interrupted != 1 {
		t.Errorf("%d calls are recorded as interrupted, want the wait", interrupted)
	}
}

// TestOwnCycleMistakes: what a script does wrong with the parts names the line, and leaves the supply off.
func TestOwnCycleMistakes(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		script string
		says   []string
	}{
		"on without a voltage": {"supply.on()", []string{"night.lua:1: supply.on without a voltage: call supply.set first"}},
		"too many volts":       {"supply.set(3)\nsupply.set(\"5 V\")", []string{"night.lua:2: 5 volts were asked for, allowed are 0 to 3.9 volts"}},
		"a slip of the finger": {"supply.onn()", []string{"night.lua:1: supply has no field onn", "did you mean on?"}},
		"an error while on":    {"supply.set(3)\nsupply.on()\nerror('no lamp')", []string{"night.lua:3: no lamp", "the supply is off, read back"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := newFolder(t, c.script+"\n")
			f.wantRefused(t, exitFailed, []string{"run", "night.lua", "--listen", "none"}, c.says...)
			f.wantSound(t)
		})
	}
}
