package main

import (
	"encoding/json"
	"fmt"
	"math"
	"net"
	"strings"
	"testing"
	"time"

	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
)

// rehearse gives the answer of a rehearsal in a folder.
func (f folder) rehearse(t *testing.T, arguments ...string) rehearsed {
	t.Helper()
	return decode[rehearsed](t, f.must(t, append([]string{"rehearse", "--json"}, arguments...)...))
}

// TestRehearseIsTheRun holds a rehearsal against the very run, and both against sums done by hand.
func TestRehearseIsTheRun(t *testing.T) {
	t.Parallel()
	f := newFolder(t, `soak { volts = { 2.4, 2.2 }, cycles = 6, rest = "35 s", watch = "80 ms" }
wait("20 min")
treatment("warmed")
soak { volts = { 2.2 }, cycles = 4, rest = "2 min", watch = "80 ms" }
`)
	ran := decode[runner.Summary](t, f.must(t, "run", "night.lua", "--listen", "none", "--json"))
	a := f.rehearse(t, "night.lua")
	if len(a.Rehearsals) != 2 || a.DependsOnUnit || !a.Simulated {
		t.Fatalf("%+v", a)
	}
	var r runner.Rehearsal
	for _, each := range a.Rehearsals {
		if each.Unit == "cracked-capacitor" { // the bench file's
			r = each
		}
	}
	if r.State != runner.RehearsalEnded || r.Cycles != ran.Cycles || r.Seconds != ran.VirtualSeconds {
		t.Errorf("rehearsed %s, %d cycles, %g s; the run had %d, %g s", r.State, r.Cycles, r.Seconds, ran.Cycles, ran.VirtualSeconds)
	}
	on := 0.0
	err := f.book(t).EachCycle(ran.Run, func(c logbook.Cycle) error {
		on += c.PoweredOff.Sub(c.PoweredOn).Seconds()
		return nil
	})
	if err != nil || math.Abs(on-r.EnergisedSeconds) > 1e-6 {
		t.Errorf("rehearsed %g s energised, the run was it %g s (%v)", r.EnergisedSeconds, on, err)
	}
	for i, c := range r.Conditions {
		if was := ran.Conditions[i]; c.Treatment != was.Treatment || c.Volts != was.Volts || c.Cycles != was.Cycles || c.Failures != was.Failures {
			t.Errorf("rehearsed %+v, the run had %+v", c, was)
		}
	}
	// The lamp's record takes 2.4 s. A cycle's other records and the scope's polling are below 0.1 s.
	rests, watched := 12*35.0+3*120, 16*(0.08+2.4) // the wait is rest enough for the cycle after it
	if least := rests + 1200 + watched; r.Seconds < least || r.Seconds > least+16*0.1 {
		t.Errorf("%g s, by hand %g s and a little", r.Seconds, least)
	}
	if r.EnergisedSeconds < watched || r.EnergisedSeconds > watched+16*0.1 || r.LongestOnSeconds < 2.48 || r.LongestOnSeconds > 2.6 {
		t.Errorf("%g s energised, %g s at most; by hand %g s and a little", r.EnergisedSeconds, r.LongestOnSeconds, watched)
	}
	if r.HighestVolts != 2.4 || a.MaxVolts != 3.9 {
		t.Errorf("highest volts %g of %g", r.HighestVolts, a.MaxVolts)
	}
	if runs := decode[[]any](t, f.must(t, "runs", "--json")); len(runs) != 1 {
		t.Errorf("%d runs in the logbook, want none of a rehearsal", len(runs))
	}
}

// TestRehearseShows holds what so many cycles can show against what the statistics' own planning says of them.
func TestRehearseShows(t *testing.T) {
	t.Parallel()
	f := newFolder(t, `soak { volts = { 3.3 }, cycles = 22, rest = 0 }`+"\n")
	a := f.rehearse(t, "night.lua", "--unit", "healthy", "--rate", "13%")
	c := a.Rehearsals[0].Conditions[0]
	// 22 cycles without a failure show a reliability of 0.87 with 95 % confidence (1 - 0.05^(1/22) = 0.1273), and 21 do
	// not show 0.8727 (testdata/success_run.csv has the convention).
	if math.Abs(c.NoFailureBelow-(1-math.Pow(0.05, 1.0/22))) > 1e-12 || c.Method != failrate.MethodClopperPearson {
		t.Errorf("%+v", c)
	}
	for _, scale := range []struct{ by, cycles float64 }{{1.0001, 22}, {0.9999, 23}} {
		need := decode[needAnswer](t, f.must(t, "need", "--json", "--below", fmt.Sprint(scale.by*c.NoFailureBelow)))
		if float64(need.Cycles) != scale.cycles {
			t.Errorf("%d cycles are needed to show less than %g times it, want %g", need.Cycles, scale.by, scale.cycles)
		}
	}
	// 3 of 22: R 4.2.2, binom.test(3, 22)$conf.int; and 1 - 0.87^22.
	if c.If.Failures != 3 || math.Abs(c.If.Low-0.02905) > 5e-5 || math.Abs(c.If.High-0.34912) > 5e-5 || math.Abs(c.If.Seen-0.953289) > 1e-5 {
		t.Errorf("%+v", c.If)
	}
}

// TestRehearseAdaptive: a script that ends by what it sees takes another time with another unit.
func TestRehearseAdaptive(t *testing.T) {
	t.Parallel()
	f := newFolder(t, `local decision
repeat
  cycle { volts = 2.2, rest = "35 s" }
  decision = decide { below = "10 %", above = "60 %" }
until decision ~= "continue"
conclude(decision)
`)
	f.write(t, "bench.toml", strings.Replace(demoBench, `"-6 °C"`, `"-25 °C"`, 1))
	a := f.rehearse(t, "night.lua")
	if !a.DependsOnUnit || len(a.Rehearsals) != 2 || a.Rehearsals[0].Seconds < a.Rehearsals[1].Seconds {
		t.Fatalf("%+v", a)
	}
	for _, r := range a.Rehearsals {
		want := r.Unit == "healthy"
		if r.Accepted == nil || *r.Accepted != want || len(r.Rules) != 1 || r.Rules[0].Line != 4 || !strings.Contains(r.Rules[0].Text, "never more than") {
			t.Errorf("%+v", r)
		}
		// It may have ended at any cycle, so the interval must hold at each.
		if c := r.Conditions[0]; c.Method != failrate.MethodAnytime || c.NoFailureBelow <= failrate.ClopperPearson(0, c.Cycles, 0.95).High {
			t.Errorf("%+v", c)
		}
	}
	said := f.must(t, "rehearse", "night.lua")
	for _, part := range []string{"depends on what the unit does", "accepts it", "rejects it", "line 4, decide"} {
		if !strings.Contains(said, part) {
			t.Errorf("it does not say %q; it says\n%s", part, said)
		}
	}
}

// TestRehearseStops: what never ends is left, and what goes nowhere is an error.
func TestRehearseStops(t *testing.T) {
	t.Parallel()
	endless := newFolder(t, "while true do\n  cycle { volts = 3.3, rest = \"10 min\" }\nend\n")
	a := endless.rehearse(t, "night.lua", "--unit", "healthy", "--cycles", "7")
	if r := a.Rehearsals[0]; r.State != runner.RehearsalStillGoing || r.Cycles != 7 {
		t.Errorf("%+v", r)
	}
	a = endless.rehearse(t, "night.lua", "--unit", "healthy", "--at-most", "1h")
	if r := a.Rehearsals[0]; r.State != runner.RehearsalStillGoing || r.Cycles != 6 {
		t.Errorf("%+v", r)
	}
	if said := endless.must(t, "rehearse", "night.lua", "--cycles", "3"); !strings.Contains(said, "still going at") {
		t.Errorf("it says\n%s", said)
	}
	newFolder(t, "cycle { volts = 3.3 }\nwhile true do\n  rate { volts = 3.3 }\nend\n").
		wantRefused(t, exitFailed, []string{"rehearse", "night.lua"}, "night.lua:3: ", "no time has passed")
	newFolder(t, "repeat until ask(\"Which resistor?\") == \"82 ohm\"\n").
		wantRefused(t, exitFailed, []string{"rehearse", "night.lua"}, "night.lua:1: ", "Which resistor?", `"done"`, "--answer")
}

func TestRehearseMistakes(t *testing.T) {
	t.Parallel()
	good := "cycle { volts = 3.6 }\n"
	for name, c := range map[string]struct {
		script string
		status int
		flags  []string
		says   []string
	}{
		"syntax":             {"cycle { volts = 3.6 }\nfor i = 1, 3 o\n", exitUsage, nil, []string{"night.lua:2: "}},
		"too many volts":     {"cycle { volts = 3.6 }\ncycle { volts = 5.5 }\n", exitFailed, nil, []string{"night.lua:2: ", "5.5", "3.9"}},
		"an unknown option":  {"soak { volts = { 3.6 }, cycles = 2, reps = 3 }\n", exitFailed, nil, []string{"night.lua:1: ", "reps"}},
		"no start no number": {"for i = 1, 30 do\n  local s = cycle { volts = 1.2 }.start_s + 1\nend\n", exitFailed, nil, []string{"night.lua:2: ", "nil"}},
		"an unknown unit":    {good, exitUsage, []string{"--unit", "broken"}, []string{"--unit", "broken", "healthy"}},
		"no time":            {good, exitUsage, []string{"--start", "late"}, []string{"--start", "late", "22:15"}},
		"no rate":            {good, exitUsage, []string{"--rate", "10"}, []string{"--rate", "10 %"}},
		"no bound":           {good, exitUsage, []string{"--cycles", "0"}, []string{"--cycles"}},
		"no script":          {good, exitUsage, []string{"other.lua"}, []string{"accepts 1 arg"}},
		"no bench":           {good, exitUsage, []string{"-b", "other.toml"}, []string{"other.toml"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			newFolder(t, c.script).wantRefused(t, c.status, append([]string{"rehearse", "night.lua"}, c.flags...), c.says...)
		})
	}
	t.Run("only one unit finds the mistake", func(t *testing.T) {
		t.Parallel()
		f := newFolder(t, "local c = cycle { volts = 2.2, rest = \"1 h\" }\nlog(string.format(\"%.3f s\", c.start_s))\n")
		f.write(t, "bench.toml", strings.Replace(demoBench, `"-6 °C"`, `"-40 °C"`, 1))
		f.wantRefused(t, exitFailed, []string{"rehearse", "night.lua"}, "with the simulated unit cracked-capacitor: night.lua:2: ")
	})
}

// TestRehearseQuestions: each question with its moment, its answer, and the time that a person takes.
func TestRehearseQuestions(t *testing.T) {
	t.Parallel()
	f := newFolder(t, `local part = ask("Which part?")
treatment(part)
wait("1 h")
if ask("Warm it.", { timeout = "20 min" }) ~= "done" then error("not warmed") end
if ask("Anybody?", { timeout = "5 min" }) then error("somebody") end
treatment("as found")
hunt { volts = 3.3, cycles = 6, rest = "1 s" }
soak { volts = { 3.3 }, cycles = 1000, rest = "10 min", stop_at = "21:00" }
`)
	a := f.rehearse(t, "night.lua", "--unit", "healthy", "--answer", "C7 = 27 pF", "--answer", "done", "--answer-after", "10m", "--start", "19:05")
	r := a.Rehearsals[0]
	var said []string
	for _, e := range r.Events {
		answer := "nobody"
		if e.Answer != nil {
			answer = *e.Answer
		}
		said = append(said, fmt.Sprintf("%s %d %s %s: %s", e.At.Format("15:04"), e.Line, e.Kind, e.Text, answer))
	}
	want := []string{
		"19:05 1 ask Which part?: C7 = 27 pF",
		"19:15 2 treatment C7 = 27 pF: nobody",
		"20:15 4 ask Warm it.: done",
		"20:25 5 ask Anybody?: nobody",
		"20:30 6 treatment as found: nobody",
		"20:30 7 hunt marks treatments during 6 cycles: nobody",
	}
	if strings.Join(said, "\n") != strings.Join(want, "\n") {
		t.Errorf("it says\n%s\nwant\n%s", strings.Join(said, "\n"), strings.Join(want, "\n"))
	}
	// Begun before 21:00: at rests from 20:30, 20:40 and 20:50, each with some seconds more.
	if end := r.Ends.Format("15:04"); r.Cycles != 6+3 || end != "21:00" || r.Rules[0].ByOutcome {
		t.Errorf("%d cycles, ends %s; %+v", r.Cycles, end, r.Rules)
	}
	if r.Begins.Format(time.RFC3339) != "2026-01-14T19:05:00+01:00" {
		t.Errorf("begins %s, want the first 19:05 after simulation.start", r.Begins)
	}
}

// realBench has instruments that must not be touched.
const realBench = `[unit]
name      = "flow meter 7"
clock     = "%s"
max_volts = "%s"
max_amps  = "1 mA"
[supply]
address = "tcp:%[4]s"
[scope]
address = "serial:/dev/serial/by-id/usb-no-such-scope?baud=9600"
[thermometer]
address = "tcp:[::1]:1"
[probes.rail]
channel = 4
[probes.clock]
channel = 1
attenuation = 10
capacitance = "12 pF"
loads = "crystal input"
[probes.lamp]
channel = 2
[expect]
start_within     = "%[3]s"
amplitude_min    = "1.1 V"
frequency_within = "0.005 %%"
residual_max     = "10 mV"
lamp             = "4 Hz"
`

// TestRehearseRealBench: whatever the unit's clock, cell and allowed time, the simulated unit stands in for it, and no
// instrument of the bench file is opened.
func TestRehearseRealBench(t *testing.T) {
	t.Parallel()
	supply, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer supply.Close()
	go func() {
		if c, err := supply.Accept(); err == nil {
			t.Error("the supply of the bench file was opened")
			c.Close()
		}
	}()
	for _, unit := range []struct {
		clock, volts, within           string
		hertz, maxVolts, withinSeconds float64
	}{
		{"16 MHz", "13.8 V", "4 ms", 16e6, 13.8, 4e-3},
		{"7.3728 MHz", "3.9 V", "65 ms", 7.3728e6, 3.9, 65e-3},
		{"32.768 kHz", "2 V", "1.5 s", 32768, 2, 1.5},
	} {
		t.Run(unit.clock, func(t *testing.T) {
			t.Parallel()
			f := newFolder(t, fmt.Sprintf(`assert(not bench.simulated and bench.clock_probe == "crystal input" and unit.clock_hz == %[1]g and unit.max_amps == 0.001)
local volts = 0.9 * unit.max_volts
local r = soak { volts = { volts }, cycles = 6, rest = "10 s" }[1]
assert(r.cycles == 6 and r.failures == 0, r.sentence)
for i = 1, 3 do
  local c = cycle { volts = volts, rest = "10 s" }
  local said = c.verdict .. ": " .. c.reason
  assert(c.verdict == "started" and not c.disagree, said)
  assert(c.start_s > 0.01 * %[2]g and c.start_s < 0.5 * %[2]g, said)
  assert(math.abs(c.frequency_hz / unit.clock_hz - 1) < 1e-3, said)
  assert(math.abs(c.volts / volts - 1) < 0.02 and c.amplitude_v > 0.3 * volts and c.amplitude_v < volts, said)
  assert(c.lamp == "blinking" and c.ambient_c, said)
end
`, unit.hertz, unit.withinSeconds))
			f.write(t, "bench.toml", fmt.Sprintf(realBench, unit.clock, unit.volts, unit.within, supply.Addr()))
			a := f.rehearse(t, "night.lua", "--unit", "healthy", "--start", "2026-02-03 22:15")
			r := a.Rehearsals[0]
			if a.Simulated || math.Abs(r.HighestVolts-0.9*unit.maxVolts) > 1e-9 || r.Begins.Format("2006-01-02 15:04") != "2026-02-03 22:15" {
				t.Errorf("%+v", r)
			}
			// The scope's line carries 960 bytes a second; what that takes of each cycle is known without a run.
			took := a.InstrumentTime
			if took.OnSeconds == nil || *took.OnSeconds < 4 || *took.OnSeconds > 8 {
				t.Fatalf("%+v", took)
			}
			if least := 9 * (1.25*unit.withinSeconds + 2.4 + *took.OnSeconds); r.EnergisedSeconds < least || r.EnergisedSeconds > least+9*0.1 {
				t.Errorf("%g s energised, by hand %g s and a little", r.EnergisedSeconds, least)
			}
		})
	}
}

// TestRehearseOtherBenches: a relay before a supply set by hand, and no scope.
func TestRehearseOtherBenches(t *testing.T) {
	t.Parallel()
	const unit = "[unit]\nname = \"flow meter 7\"\nclock = \"4 MHz\"\nmax_volts = \"12 V\"\nmax_amps = \"1 A\"\n"
	const expect = "[expect]\nstart_within = \"30 ms\"\namplitude_min = \"1 V\"\n"
	script := `local r = soak { volts = { 9 }, cycles = 5, rest = "20 s" }[1]
assert(r.cycles == 5 and r.failures == 0, r.sentence)
`
	for name, text := range map[string]string{
		"relay": unit + expect + "[supply]\nset_by_hand = \"9 V\"\n[switch]\naddress = \"serial:/dev/no-such-adapter\"\nline = \"DTR\"\n" +
			"[scope]\naddress = \"usbtmc:serial=NONE\"\n[probes.rail]\nchannel = 1\n[probes.clock]\nchannel = 2\n",
		"no scope": unit + expect + "hung_amps = \"80 mA to 90 mA\"\nrunning_amps = \"200 mA to 300 mA\"\n[supply]\naddress = \"serial:/dev/no-such-supply\"\n",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := newFolder(t, script)
			f.write(t, "bench.toml", text)
			r := f.rehearse(t, "night.lua", "--unit", "healthy").Rehearsals[0]
			if r.Cycles != 5 || r.Seconds < 100 || r.Seconds > 105 {
				t.Errorf("%+v", r)
			}
			if name == "relay" {
				f.write(t, "other.lua", "cycle { volts = 9 }\ncycle { volts = 8.4 }\n")
				f.wantRefused(t, exitFailed, []string{"rehearse", "other.lua"}, "other.lua:2: ", "8.4 V", "9 V")
			}
		})
	}
}

// TestRehearseOwnCycle: a script that switches by itself gives the unit power, too.
func TestRehearseOwnCycle(t *testing.T) {
	t.Parallel()
	f := newFolder(t, `for i = 1, 2 do
  supply.set(3.0 + i / 10)
  supply.on()
  wait("90 s")
  supply.off()
  wait("5 min")
end
`)
	f.write(t, "bench.toml", fmt.Sprintf(realBench, "7.3728 MHz", "3.9 V", "65 ms", "192.0.2.17:5025"))
	r := f.rehearse(t, "night.lua", "--unit", "healthy").Rehearsals[0]
	// The scope's line is slow, and its time is taken at the first reading: 90 s and some seconds each.
	if r.Cycles != 2 || r.HighestVolts != 3.2 || r.EnergisedSeconds < 180 || r.EnergisedSeconds > 200 || r.Seconds < 780 || r.Seconds > 800 || len(r.Conditions) != 0 {
		t.Errorf("%+v", r)
	}
	if r = f.rehearse(t, "night.lua", "--unit", "healthy", "--cycles", "1").Rehearsals[0]; r.State != runner.RehearsalStillGoing || r.Cycles != 1 {
		t.Errorf("%+v", r)
	}
}

// TestRehearseJSON: what is not known is null, and lists are lists.
func TestRehearseJSON(t *testing.T) {
	t.Parallel()
	f := newFolder(t, "wait(\"1 h\")\n")
	var answer map[string]any
	if err := json.Unmarshal([]byte(f.must(t, "rehearse", "night.lua", "--json", "--unit", "healthy")), &answer); err != nil {
		t.Fatal(err)
	}
	r := answer["rehearsals"].([]any)[0].(map[string]any)
	for _, key := range []string{"events", "rules", "conditions"} {
		if list, ok := r[key].([]any); !ok || len(list) != 0 {
			t.Errorf("%s is %v, want an empty list", key, r[key])
		}
	}
	if took := answer["instrument_time"].(map[string]any); took["on_seconds"] != nil || r["accepted"] != nil || r["seconds"] != 3600.0 {
		t.Errorf("%v", answer)
	}
}
