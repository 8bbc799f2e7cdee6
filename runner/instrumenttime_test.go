package runner_test

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

// TestInstrumentTime: what earlier runs on the same instruments tell of the time that a cycle takes besides what is asked
// for. Rest and watch window are 10 s and 80 ms, and 40 s; the numbers are made up.
func TestInstrumentTime(t *testing.T) {
	real := strings.NewReplacer("sim:supply", "serial:/dev/ttyUSB0", "sim:scope", "usbtmc:/dev/usbtmc0", "sim:thermometer", "tcp:192.0.2.17:5025").Replace(benchText)
	other := strings.Replace(real, "ttyUSB0", "ttyUSB7", 1)
	edited := strings.Replace(real, "0231", "0232", 1) // another unit on the same bench
	book, err := logbook.Open(filepath.Join(t.TempDir(), "logbook.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	add := func(text string, simulated bool, rest float64, overruns ...float64) {
		t.Helper()
		id, err := book.Begin(logbook.Run{Script: "night.lua", Bench: "bench.toml", BenchText: text, Zone: "UTC", State: "running", Started: nightBegins, Simulated: simulated})
		if err != nil {
			t.Fatal(err)
		}
		off := nightBegins
		for i, overrun := range overruns {
			on := off.Add(time.Duration((rest + overrun) * 1e9))
			if overrun < 0 { // a person was asked before this cycle: another step lies between
				on = off.Add(time.Hour)
			}
			off = on.Add(1080 * time.Millisecond) // a second more than the watch window
			ordinal := i + 1
			for _, before := range overruns[:i+1] {
				if before < 0 {
					ordinal++
				}
			}
			c := logbook.Cycle{Run: id, Ordinal: ordinal, Number: i + 1, SetVolts: 3.3, RestSeconds: rest, WatchSeconds: 0.08,
				Begun: on, PoweredOn: on, PoweredOff: off, Ended: off, Judgement: verdict.Judgement{Verdict: verdict.Started}}
			step := logbook.Step{Run: id, Ordinal: ordinal, Call: "cycle", Arguments: json.RawMessage("{}"), Begun: on, Ended: off, Result: json.RawMessage("{}")}
			if err := book.BeginStep(step); err != nil {
				t.Fatal(err)
			}
			if err := book.EndStep(step, &c, nil, nil); err != nil {
				t.Fatal(err)
			}
		}
	}
	b, err := bench.Parse("bench.toml", []byte(real))
	if err != nil {
		t.Fatal(err)
	}
	known := func() runner.InstrumentTime {
		t.Helper()
		took, err := runner.InstrumentTimeOf(book, b)
		if err != nil {
			t.Fatal(err)
		}
		return took
	}
	add(other, false, 10, 9, 9, 9, 9, 9, 9, 9)
	add(real, true, 10, 0, 0, 0, 0, 0, 0, 0)
	add(real, false, 10, 9, 2, 2.5) // too few
	if took := known(); took.Cycles != 0 || took.On != 0 || took.OffAfter(time.Minute) != 0 {
		t.Errorf("nothing is known, and it says %+v", took)
	}
	add(edited, false, 10, 9, 2, 2, 3, -1, 3, 2.5, 2.5)      // the first comes from rest
	add(real, false, 40, 9, 0.5, 0.5, 0.5, 0.5, 0.5, 0.7, 4) // the unit is discharged by then
	took := known()
	if took.Cycles != 2+6+7 || took.On != time.Second {
		t.Errorf("%+v, want 15 cycles and 1 s on", took)
	}
	for rest, want := range map[time.Duration]time.Duration{
		0: 2500 * time.Millisecond, 10 * time.Second: 2500 * time.Millisecond, 24 * time.Second: 2500 * time.Millisecond,
		26 * time.Second: 500 * time.Millisecond, 40 * time.Second: 500 * time.Millisecond, time.Hour: 500 * time.Millisecond,
	} {
		if got := took.OffAfter(rest); got != want {
			t.Errorf("after a rest of %s it takes %s, want %s", rest, got, want)
		}
	}
}
