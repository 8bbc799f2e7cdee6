package benchcheck_test

import (
	"errors"
	"testing"

	"ringup/runner"
	"ringup/runner/benchcheck"
	"ringup/runner/simbench"
)

func TestStillPasses(t *testing.T) {
	tr := newTrial(t, nil)
	tr.still()
	for _, of := range []string{
		"supply", "supply errors", "supply off", "supply limits", "supply range", "supply read-back", "supply round trip",
		"scope", "scope errors", "rail probe", "clock probe", "lamp probe", "scope round trip",
		"thermometer", "thermometer errors", "ambient", "thermometer round trip",
	} {
		tr.want(of, benchcheck.Pass)
	}
	tr.want("supply range", benchcheck.Pass, "3.900 V")
	tr.want("ambient", benchcheck.Pass, "20.0 °C")
	tr.wantOff()
}

func TestStillFinds(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*simbench.Options)
		edits  []string
		fault  func(*simbench.Bench)
		of     string
		says   []string
	}{
		"an error of an earlier day": {
			fault: func(b *simbench.Bench) { b.Faults().QueueError(simbench.Scope, -240, "Hardware error;fan") },
			of:    "scope errors", says: []string{"held 1", "-240", "check again"},
		},
		"a limit beyond the supply": {
			edits: []string{`"3.9 V"`, `"25 V"`}, // the simulated supply goes to 20 V
			of:    "supply range", says: []string{"bench.toml:4:13", "-222"},
		},
		"a current beyond the supply": {
			edits: []string{`"150 mA"`, `"3 A"`}, // it goes to 2 A
			of:    "supply limits", says: []string{"bench.toml:5:13", "-222"},
		},
		"a channel that the scope has not": {
			edits: []string{"channel = 3", "channel = 4"},
			of:    "lamp probe", says: []string{"bench.toml:25:11", "channel 4", "-114"},
		},
		"a dialect that is none": {
			edits: []string{`"sim:scope"`, `"sim:scope"` + "\ndialect = \"nonesuch\""},
			of:    "scope", says: []string{"bench.toml:12:11", "nonesuch", "simulated-scope"},
		},
		"a rail probe that is not on the rail": {
			edits: []string{"channel     = 1\n", "channel     = 2\n", "channel     = 2\n", "channel     = 1\n"},
			of:    "rail probe", says: []string{"channel 2", "with the supply off"}, // it is on the compensation terminal
		},
		"a thermometer without a sensor": {
			fault: func(b *simbench.Bench) {
				for range 4 { // identity and error queue, and again when it is opened for use
					b.Faults().DelayReply(simbench.Thermometer, 0)
				}
				for range 2 { // a reading is asked for twice
					b.Faults().ReplaceReply(simbench.Thermometer, "850.0")
				}
			},
			of: "ambient", says: []string{"850.0", "sensor"},
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			tr := newTrial(t, c.change, c.edits...)
			if c.fault != nil {
				c.fault(tr.sim)
			}
			if err := tr.checker.Still(t.Context()); err != nil {
				t.Fatal(err)
			}
			tr.want(c.of, benchcheck.Wrong, c.says...)
			tr.wantOff()
		})
	}
}

// What an instrument did not understand of an earlier program, or of *IDN? at another baud rate, is nobody's to mend.
func TestStillNotesMisunderstandings(t *testing.T) {
	t.Parallel()
	tr := newTrial(t, nil)
	tr.sim.Faults().QueueError(simbench.Scope, -101, "Invalid character;byte 0x98")
	tr.sim.Faults().QueueError(simbench.Scope, -410, "Query INTERRUPTED")
	tr.still()
	tr.want("scope errors", benchcheck.Note, "held 2", "-101", "emptied")
	if n := tr.checker.Wrong(); n != 0 {
		t.Errorf("%d things to put right, want none", n)
	}
}

// A unit that was switched off this moment is waited for.
func TestStillWaitsForDischarge(t *testing.T) {
	tr := newTrial(t, func(o *simbench.Options) { o.NoUnit, o.OffSince, o.OffVolts = false, o.Clock.Now(), 3.6 })
	waited := 0
	tr.sleeping = func() { waited++ }
	tr.still()
	tr.want("supply read-back", benchcheck.Pass, "off: 0.")
	if waited < 20 {
		t.Errorf("the checker waited %d times: the unit had discharged already", waited)
	}
}

// A supply that does not obey ends the check with the error that a person must act on.
func TestSupplyDoesNotObey(t *testing.T) {
	t.Parallel() // it tries for a while
	tr := newTrial(t, nil)
	tr.still()
	tr.sim.Faults().StickOutput(true)
	var notOff *runner.NotOffError
	if err := tr.checker.Energise(t.Context()); !errors.As(err, &notOff) {
		t.Errorf("error %v does not say that the supply may be on", err)
	}
	if on, _ := tr.sim.SupplyOutput(); !on {
		t.Error("the supply is off: nothing has been tested")
	}
}

// One that obeys at last is off, and still something to put right.
func TestSupplyObeysAtLast(t *testing.T) {
	t.Parallel() // it tries for a while
	tr := newTrial(t, nil)
	tr.still()
	tr.sim.Faults().IgnoreOff(5)
	if err := tr.checker.Energise(t.Context()); err != nil {
		t.Errorf("error %v, although the supply is read back as off", err)
	}
	tr.want("supply off", benchcheck.Wrong, "is off now", "sent 5 times", "reads back as 1")
	tr.wantOff()
}
