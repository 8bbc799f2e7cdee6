//go:build linux

package usbguest_test

import (
	"encoding/json"
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"ringup/drivers/link/internal/usbguest"
	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/logbook"
	"ringup/runner/simbench"
)

// soakBench is a bench whose probe leaves the crystal alone.
const soakBench = `
[unit]
name      = "river-level logger 0231"
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
attenuation = 20
loads       = "near field"
[expect]
start_within  = "68 ms"
amplitude_min = "6 %"
`

// TestInsideSoak is a whole soak with the simulated bench's scope behind
// USB-TMC: it must be, number for number, the soak with the scope on a socket.
func TestInsideSoak(t *testing.T) {
	usbguest.Inside(t)
	plain, behind := soak(t, false), soak(t, true)
	if len(behind) != 2 {
		t.Fatalf("the logbook has %d cycles, want 2", len(behind))
	}
	for _, c := range behind {
		if c.Verdict != "started" {
			t.Errorf("cycle %d: %s (%s), want a healthy unit to start", c.Ordinal, c.Verdict, c.Reason)
		}
	}
	if diff := cmp.Diff(plain, behind, cmpopts.EquateNaNs()); diff != "" {
		t.Errorf("with the scope behind USB-TMC the soak is another (- socket, + USB-TMC):\n%s", diff)
	}
}

// soak power-cycles a healthy unit at two voltages and returns the logbook's cycles.
func soak(t *testing.T, usb bool) []logbook.Cycle {
	t.Helper()
	begins := time.Date(2026, 1, 14, 18, 30, 0, 0, time.UTC)
	offSince := begins.Add(-time.Minute)
	b, err := bench.Parse("bench.toml", []byte(soakBench))
	must(t, err)
	clock := runner.NewVirtualClock(begins, 0)
	sim, err := simbench.New(simbench.Options{
		Unit: "healthy", Seed: 7, Clock: clock, OffSince: offSince,
		Climate:    simbench.Climate{MeanCelsius: 20, Still: true},
		ClockProbe: simbench.Probe{Node: simbench.NodeNearField, Attenuation: b.Clock.Attenuation},
	})
	must(t, err)
	wires, err := sim.Serve("tcp")
	must(t, err)
	scope := wires.Scope
	var handle *usbguest.Handle
	if usb {
		handle = usbguest.Connect(t).Plug(usbguest.Spec{SerialNumber: "OSC-7", Bridge: strings.TrimPrefix(wires.Scope, "tcp:")})
		scope = "usbtmc:serial=OSC-7"
	}
	rig, err := runner.OpenRig(t.Context(), b, map[string]string{
		"sim:supply": wires.Supply, "sim:scope": scope, "sim:thermometer": wires.Thermometer,
	}, "", nil)
	must(t, err)
	book, err := logbook.Open(filepath.Join(t.TempDir(), "logbook.db"))
	must(t, err)
	defer func() {
		if err := errors.Join(book.Close(), rig.Close(), sim.Close()); err != nil {
			t.Error(err)
		}
		if handle != nil {
			handle.Unplug() // its serial number is the next one's, too
		}
	}()
	session, err := runner.Open(rig, book, nil, runner.Options{
		Program: runner.Program{Name: "test"}, Clock: clock, OffSince: offSince, Zone: time.UTC, Seed: 7,
	})
	must(t, err)
	arguments, err := json.Marshal(map[string]any{"volts": []float64{3.6, 3.0}, "cycles": 1, "rest": 3, "watch": 0.08})
	must(t, err)
	_, err = session.Call(t.Context(), "soak", arguments, 1)
	must(t, err)
	if on, volts := sim.SupplyOutput(); on {
		t.Errorf("the supply is on at %g V after the soak", volts)
	}
	var all []logbook.Cycle
	must(t, book.EachCycle(session.Run().ID, func(c logbook.Cycle) error {
		all = append(all, c)
		return nil
	}))
	return all
}
