package benchcheck_test

import (
	"context"
	"errors"
	"math"
	"regexp"
	"strconv"
	"testing"

	"ringup/runner/benchcheck"
	"ringup/runner/simbench"
)

func TestEnergisePasses(t *testing.T) {
	tr := newTrial(t, nil)
	tr.still()
	if err := tr.checker.Energise(t.Context()); err != nil {
		t.Fatal(err)
	}
	// The supply ramps evenly at 10 V/ms, and of a ramp 10 to 90 % are 0.8 of its length (IEEE 181).
	tr.want("supply at 1.56 V", benchcheck.Pass, "read back 1.56", "rail probe 1.5", "triggered at 0.78 V")
	tr.want("supply at 2.73 V", benchcheck.Pass, "read back 2.73", "rail probe 2.7", "triggered at 1.36 V")
	tr.want("supply at 3.90 V", benchcheck.Pass, "read back 3.90", "rail probe 3.", "triggered at 1.95 V")
	rises := regexp.MustCompile(`rise ([\d.]+) µs`).FindAllStringSubmatch(tr.String(), -1)
	if len(rises) != 3 {
		t.Fatalf("%d rises in\n%s", len(rises), tr)
	}
	for i, volts := range []float64{1.56, 2.73, 3.9} {
		micros, err := strconv.ParseFloat(rises[i][1], 64)
		if want := 0.8 * volts / 10e3 * 1e6; err != nil || math.Abs(micros/want-1) > 0.04 {
			t.Errorf("at %g V the rise is %g µs (%v), want %.0f", volts, micros, err, want)
		}
	}
	tr.want("supply off", benchcheck.Pass, "read back as off")
	tr.wantOff()
	if err := tr.checker.Compensation(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	tr.want("clock probe trim", benchcheck.Pass, "1000 Hz", "3.00 V")
	tr.want("rail probe trim", benchcheck.Note, "not measured")
	if tr.checker.Wrong() > 0 {
		t.Errorf("wrong on a sound bench:\n%s", tr)
	}
}

func TestEnergiseFinds(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*simbench.Options)
		edits  []string
		fault  func(*simbench.Bench)
		of     string
		says   []string
	}{
		"the rail probe at another attenuation": {
			edits: []string{"channel     = 1\nattenuation = 10", "channel     = 1\nattenuation = 9.5\n"},
			of:    "supply at 3.90 V", says: []string{"rail probe 3.7"},
		},
		"the rail probe's switch at 1:1": {
			edits: []string{"channel     = 1\nattenuation = 10", "channel     = 1\nattenuation = 20\n"},
			of:    "supply at 1.56 V", says: []string{"bench.toml:18:15", "at least", "attenuation is less than 20"},
		},
		"a broken lead": {
			fault: func(b *simbench.Bench) { b.Faults().OpenLead(true) },
			of:    "supply at 1.56 V", says: []string{"bench.toml:17:15", "did not trigger", "clip the rail probe"},
		},
		"the rail probe at 1:1 in the file, a 10:1 one in fact": {
			edits: []string{"channel     = 1\nattenuation = 10", "channel     = 1\nattenuation = 1\n"},
			of:    "supply at 1.56 V", says: []string{"did not trigger", "attenuation"},
		},
		"the rail probe at 6:1 in the file": {
			edits: []string{"channel     = 1\nattenuation = 10", "channel     = 1\nattenuation = 6.5\n"},
			of:    "supply at 1.56 V", says: []string{"rail probe 1.0", "attenuation is about 10 and not 6.5"},
		},
		"a trigger that is missed": {
			fault: func(b *simbench.Bench) { b.Faults().MissTrigger() },
			of:    "supply at 1.56 V", says: []string{"did not trigger"},
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			tr := newTrial(t, c.change, c.edits...)
			tr.still()
			if c.fault != nil {
				c.fault(tr.sim)
			}
			if err := tr.checker.Energise(t.Context()); err != nil {
				t.Fatal(err)
			}
			tr.want(c.of, benchcheck.Wrong, c.says...)
			tr.wantOff()
		})
	}
}

// A unit on the leads is seen by its current, at a voltage below the most; the supply is off then.
func TestEnergiseWithAUnit(t *testing.T) {
	tr := newTrial(t, func(o *simbench.Options) { o.NoUnit = false })
	tr.still()
	err := tr.checker.Energise(t.Context())
	var connected *benchcheck.UnitConnectedError
	if !errors.As(err, &connected) || connected.Volts > 2.8 {
		t.Errorf("error %v does not say that a unit is connected, or too late", err)
	}
	tr.want("no unit", benchcheck.Wrong, "mA", "disconnect the unit")
	tr.wantOff()
}

// However it ends, the supply is off: the context ends, or the scope's link goes, while the output is on.
func TestEnergiseIsCutShort(t *testing.T) {
	whenOn := func(tr *trial, do func()) (done *bool) {
		done = new(bool)
		tr.sleeping = func() {
			if on, _ := tr.sim.SupplyOutput(); on && !*done {
				*done = true
				do()
			}
		}
		return done
	}

	ctx, cancel := context.WithCancel(t.Context())
	tr := newTrial(t, nil)
	tr.still()
	wasOn := whenOn(tr, cancel)
	if err := tr.checker.Energise(ctx); !errors.Is(err, context.Canceled) || !*wasOn {
		t.Errorf("error %v, output was on: %v", err, *wasOn)
	}
	tr.wantOff()

	tr = newTrial(t, nil)
	tr.still()
	wasOn = whenOn(tr, func() {
		if err := tr.sim.Faults().Hangup(simbench.Scope); err != nil {
			t.Error(err)
		}
	})
	if err := tr.checker.Energise(t.Context()); err != nil {
		t.Errorf("error %v; a scope that is gone is a finding", err)
	}
	tr.want("supply at 1.56 V", benchcheck.Wrong, "scope")
	tr.wantOff()
	if !*wasOn {
		t.Error("the output was never on: nothing has been tested")
	}
}

func TestCompensation(t *testing.T) {
	for _, c := range []struct {
		trim float64
		want benchcheck.Result
		says string
	}{
		{1, benchcheck.Pass, "flat within"},
		{1.01, benchcheck.Pass, "flat within 1.0 %"},
		{1.12, benchcheck.Wrong, "over-compensated: fast signals read 12 % too large"},
		{0.85, benchcheck.Wrong, "under-compensated: fast signals read 15 % too small"},
	} {
		tr := newTrial(t, func(o *simbench.Options) { o.ClockProbe.Trim = c.trim })
		tr.still()
		if err := tr.checker.Compensation(t.Context(), nil); err != nil {
			t.Fatal(err)
		}
		tr.want("clock probe trim", c.want, "1000 Hz", c.says)
	}

	// A person clips one probe after the other; one that is left where it was is wrong then, and one that is skipped is not.
	tr := newTrial(t, func(o *simbench.Options) { o.OnCompensation = nil })
	tr.still()
	clip := func(_ context.Context, text string) (benchcheck.Reply, error) {
		return benchcheck.Done, tr.sim.Hand().Clip(simbench.RailChannel, simbench.ToCompensation)
	}
	if err := tr.checker.Compensation(t.Context(), clip); err != nil {
		t.Fatal(err)
	}
	tr.want("rail probe trim", benchcheck.Pass, "1000 Hz")
	tr.want("clock probe trim", benchcheck.Wrong, "channel 2", "no square wave")
	if err := tr.checker.Compensation(t.Context(), skip); err != nil {
		t.Fatal(err)
	}
	tr.want("clock probe trim", benchcheck.Note, "skipped")

	// An attenuation that is wrong by ten shows in the size of the signal.
	tr = newTrial(t, nil, "channel     = 2\nattenuation = 10", "channel     = 2\nattenuation = 100\n")
	tr.still()
	if err := tr.checker.Compensation(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	tr.want("clock probe trim", benchcheck.Wrong, "bench.toml:22:15", "V square wave", "attenuation 100 is doubtful")

	// Neither has a pick-up coil a trimmer.
	tr = newTrial(t, func(o *simbench.Options) {
		o.OnCompensation, o.ClockProbe = nil, simbench.Probe{Node: simbench.NodeNearField, Attenuation: 20}
	}, "channel     = 2\n", "channel     = 2\nloads = \"near field\"\n", "channel     = 1\nattenuation = 10", "channel     = 1\nattenuation = 1\n")
	tr.still()
	if err := tr.checker.Compensation(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	tr.want("probe trim", benchcheck.Note, "no probe of this bench")
}

// byHand turns the bench file's supply into one that is set by hand and switched by a relay.
var byHand = []string{"[supply]\naddress = \"sim:supply\"", "[supply]\nset_by_hand = \"3.6 V\"\n\n[switch]\naddress = \"sim:switch\""}

func TestRelayInsteadOfSupply(t *testing.T) {
	tr := newTrial(t, func(o *simbench.Options) { o.SetByHandVolts = 3.6 }, byHand...)
	tr.still()
	tr.want("switch", benchcheck.Pass, "SWI-1")
	tr.want("supply off", benchcheck.Pass, "relay reads back as open")
	tr.want("supply limits", benchcheck.Note, "current limit by hand to 150 mA")
	if err := tr.checker.Energise(t.Context()); err != nil {
		t.Fatal(err)
	}
	tr.want("supply at 3.60 V", benchcheck.Pass, "set by hand, rail probe 3.", "rise", "triggered at 1.80 V")
	if tr.checker.Wrong() > 0 {
		t.Errorf("wrong on a sound bench:\n%s", tr)
	}
	tr.wantOff()

	// Only the rail probe tells that the knob stands elsewhere.
	for _, volts := range []float64{3.3, 5} {
		tr = newTrial(t, func(o *simbench.Options) { o.SetByHandVolts = volts }, byHand...)
		tr.still()
		if err := tr.checker.Energise(t.Context()); err != nil {
			t.Fatal(err)
		}
		tr.want("supply at 3.60 V", benchcheck.Wrong, "bench.toml:8:15", "see what the supply is set to")
		tr.wantOff()
	}
}
