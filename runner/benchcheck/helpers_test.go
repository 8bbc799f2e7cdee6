package benchcheck_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/benchcheck"
	"ringup/runner/simbench"
)

const file = `[unit]
name      = "river-level logger"
clock     = "7.3728 MHz"
max_volts = "3.9 V"
max_amps  = "150 mA"

[supply]
address = "sim:supply"

[scope]
address = "sim:scope"

[thermometer]
address = "sim:thermometer"

[probes.rail]
channel     = 1
attenuation = 10

[probes.clock]
channel     = 2
attenuation = 10

[probes.lamp]
channel = 3

[expect]
start_within  = "68 ms"
amplitude_min = "6 %"
`

// trial is a check of a simulated bench whose other end the test holds.
type trial struct {
	t        *testing.T
	sim      *simbench.Bench
	checker  *benchcheck.Checker
	findings []benchcheck.Finding
	sleeping func() // called whenever the checker waits
}

// clock tells a trial when the checker waits.
type clock struct {
	*runner.VirtualClock
	trial *trial
}

func (c clock) Sleep(ctx context.Context, d time.Duration) error {
	if c.trial.sleeping != nil {
		c.trial.sleeping()
	}
	return c.VirtualClock.Sleep(ctx, d)
}

// newTrial makes a bench without a unit, its clock probe on the compensation terminal. change, where given, adapts it;
// edits are pairs of texts to be replaced in the bench file.
func newTrial(t *testing.T, change func(*simbench.Options), edits ...string) *trial {
	t.Helper()
	b, err := bench.Parse("bench.toml", []byte(strings.NewReplacer(edits...).Replace(file)))
	if err != nil {
		t.Fatal(err)
	}
	virtual := runner.NewVirtualClock(time.Date(2026, 1, 14, 18, 30, 0, 0, time.UTC), 0)
	o := simbench.Options{
		Unit: "healthy", Seed: 1, Clock: virtual, LampProbe: true, NoUnit: true, OnCompensation: []int{simbench.ClockChannel},
		ClockProbe: simbench.Probe{Node: simbench.NodeB, Farads: 12e-12, Ohms: 10e6, Attenuation: 10},
		Climate:    simbench.Climate{MeanCelsius: 20, Still: true},
	}
	if change != nil {
		change(&o)
	}
	tr := &trial{t: t}
	if tr.sim, err = simbench.New(o); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { tr.sim.Close() })
	at, err := tr.sim.Serve(simbench.TCP)
	if err != nil {
		t.Fatal(err)
	}
	tr.checker, err = benchcheck.New(b, benchcheck.Options{
		Addresses: map[string]string{"sim:supply": at.Supply, "sim:scope": at.Scope, "sim:thermometer": at.Thermometer, "sim:switch": at.Switch},
		Clock:     clock{virtual, tr}, Tell: func(f benchcheck.Finding) { tr.findings = append(tr.findings, f) },
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = tr.checker.Close() // a link that is gone says so again
	})
	return tr
}

// still must find nothing wrong.
func (tr *trial) still() {
	tr.t.Helper()
	if err := tr.checker.Still(tr.t.Context()); err != nil {
		tr.t.Fatal(err)
	}
	if tr.checker.Wrong() > 0 {
		tr.t.Fatalf("wrong before anything was done to it: %v", tr.findings)
	}
}

// want checks that there is a finding about something, with a result and all of the parts.
func (tr *trial) want(of string, result benchcheck.Result, parts ...string) {
	tr.t.Helper()
	for _, f := range tr.findings {
		if f.Of != of || f.Result != result {
			continue
		}
		said := true
		for _, p := range parts {
			said = said && strings.Contains(f.String(), p)
		}
		if said {
			return
		}
	}
	tr.t.Errorf("no finding %q is %q and says %q; there are:\n%s", of, result, parts, tr)
}

func (tr *trial) String() string {
	var lines []string
	for _, f := range tr.findings {
		lines = append(lines, f.String())
	}
	return strings.Join(lines, "\n")
}

func (tr *trial) wantOff() {
	tr.t.Helper()
	if on, v := tr.sim.SupplyOutput(); on {
		tr.t.Errorf("THE SUPPLY IS ON at %.2f V", v)
	}
}

// skip is a person who leaves every probe out.
func skip(context.Context, string) (benchcheck.Reply, error) { return benchcheck.Skip, nil }
