package drivers_test

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"ringup/drivers"
	"ringup/drivers/internal/fake"
	"ringup/drivers/link"
	"ringup/drivers/scpi"
)

type scopeBench struct {
	drivers.Scope
	fake  *fake.Instrument
	state *fake.ScopeState
	wire  *fake.Wire
}

func openScope(t *testing.T, transport string) *scopeBench {
	t.Helper()
	b := &scopeBench{}
	b.fake, b.state = fake.NewScope("OSC-1")
	b.wire = fake.Serve(t, b.fake, transport)
	var err error
	b.Scope, err = drivers.OpenScope(t.Context(), drivers.Options{Address: b.wire.Address, DialectDir: quickDialects(t)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

// since returns what was sent after n units.
func (b *scopeBench) since(n int) []string { return b.fake.Log()[n:] }

var envelope = drivers.RecordSetup{
	Channels: []drivers.ChannelSetup{
		{Number: 1, Attenuation: 10, LowVolts: -0.5, HighVolts: 4.5},
		{Number: 2, Attenuation: 10, LowVolts: -1, HighVolts: 4, ACCoupled: true},
	},
	StartSeconds: -1e-3, WindowSeconds: 80e-3, Points: 2000, Peak: true,
	Trigger: &drivers.TriggerSetup{Channel: 1, LevelVolts: 1.2},
}

func TestArm(t *testing.T) {
	eachLink(t, func(t *testing.T, transport string) {
		b := openScope(t, transport)
		n := len(b.fake.Log())
		if err := b.Arm(t.Context(), envelope); err != nil {
			t.Fatal(err)
		}
		if got, want := b.since(n), []string{
			"INPut1:ATTenuation 10.0000", "INPut1:COUPling DC", "SENSe:VOLTage1:RANGe 5.000000", "SENSe:VOLTage1:OFFSet 2.000000",
			"INPut2:ATTenuation 10.0000", "INPut2:COUPling AC", "SENSe:VOLTage2:RANGe 5.000000", "SENSe:VOLTage2:OFFSet 1.500000",
			"SENSe:DETector PEAK",
			"SENSe:SWEep:TIME 8.000000000E-02", "SENSe:SWEep:POINts 2000", "SENSe:SWEep:OFFSet:TIME -1.000000000E-03",
			"TRIGger:SOURce CH1", "TRIGger:LEVel 1.200000", "TRIGger:SLOPe POSitive",
			"INITiate", "SYSTem:ERRor?",
			"INPut1:ATTenuation?", "SENSe:VOLTage1:RANGe?", "SENSe:VOLTage1:OFFSet?",
			"INPut2:ATTenuation?", "SENSe:VOLTage2:RANGe?", "SENSe:VOLTage2:OFFSet?",
			"SENSe:SWEep:TIME?", "SENSe:SWEep:POINts?", "SENSe:SWEep:OFFSet:TIME?", "TRIGger:LEVel?",
			"STATus:OPERation:CONDition?",
		}; !slices.Equal(got, want) {
			t.Errorf("sent\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
		}

		n = len(b.fake.Log())
		steady := envelope
		steady.Channels = envelope.Channels[:1]
		steady.Trigger = nil
		if err := b.Arm(t.Context(), steady); err != nil {
			t.Fatal(err)
		}
		if got, want := b.since(n), []string{"TRIGger:SOURce IMMediate", "INITiate", "SYSTem:ERRor?"}; !slices.Equal(got, want) {
			t.Errorf("only the trigger changed, sent %q, want %q", got, want)
		}

		n = len(b.fake.Log())
		if err := b.Reopen(t.Context()); err != nil {
			t.Fatal(err)
		}
		if err := b.Arm(t.Context(), steady); err != nil {
			t.Fatal(err)
		}
		if got := b.since(n); !slices.Contains(got, "SENSe:DETector PEAK") || !slices.Contains(got, "INPut1:ATTenuation 10.0000") {
			t.Errorf("after Reopen all settings must be sent anew, sent %q", got)
		}
	})
}

// TestArmWaits: power must not come before the scope says it waits for it.
func TestArmWaits(t *testing.T) {
	b := openScope(t, "tcp")
	b.fake.Do(func() { b.state.Condition = []string{"8", "8", "32"} })
	if err := b.Arm(t.Context(), envelope); err != nil {
		t.Fatal(err)
	}
	if n := b.fake.Count("STATus:OPERation:CONDition?"); n != 3 {
		t.Errorf("the state was asked %d times, want until it said waiting", n)
	}
	if done, err := b.Done(t.Context()); err != nil || done {
		t.Errorf("Done while waiting = %v, %v", done, err)
	}
	b.fake.Do(func() { b.state.Condition = []string{"0"} })
	if done, err := b.Done(t.Context()); err != nil || !done {
		t.Errorf("Done = %v, %v", done, err)
	}
	// Idle right after arming: it triggered on something else.
	if err := b.Arm(t.Context(), envelope); err == nil || !strings.Contains(err.Error(), "before the edge") {
		t.Errorf("Arm with an early trigger = %v", err)
	}
	if n := b.fake.Count("ABORt"); n != 1 {
		t.Errorf("stopped %d times, want once", n)
	}
	b.fake.Do(func() { b.state.Condition = []string{"8"} })
	ended, cancel := context.WithCancel(t.Context())
	b.fake.SetFault(func(message string, reply []byte) []byte {
		if strings.Contains(message, "CONDition?") {
			cancel()
		}
		return reply
	})
	if err := b.Arm(ended, envelope); !errors.Is(err, context.Canceled) {
		t.Errorf("Arm with a context that ends = %v", err)
	}
}

func TestArmRefused(t *testing.T) {
	b := openScope(t, "tcp")
	b.fake.Do(func() { delete(b.fake.Commands, "SENSe:DETector") })
	err := b.Arm(t.Context(), envelope)
	var refused *scpi.Refused
	if !errors.As(err, &refused) || !strings.Contains(err.Error(), "Undefined header") {
		t.Fatalf("Arm = %v, want the instrument's refusal", err)
	}
	if n := b.fake.Count("ABORt"); n != 1 {
		t.Errorf("an acquisition with wrong settings was stopped %d times, want once", n)
	}
	n := len(b.fake.Log())
	if err := b.Arm(t.Context(), envelope); err == nil {
		t.Error("the second Arm forgot the settings that were refused")
	}
	if got := b.since(n); !slices.Contains(got, "INPut1:ATTenuation 10.0000") {
		t.Errorf("after a refusal all settings must be sent anew, sent %q", got)
	}
}

func TestArmChecksItsSetup(t *testing.T) {
	b := openScope(t, "tcp")
	n := len(b.fake.Log())
	for name, change := range map[string]func(*drivers.RecordSetup){
		"no channel":       func(s *drivers.RecordSetup) { s.Channels = nil },
		"channel 0":        func(s *drivers.RecordSetup) { s.Channels[0].Number = 0 },
		"window reversed":  func(s *drivers.RecordSetup) { s.Channels[0].HighVolts = -1 },
		"no attenuation":   func(s *drivers.RecordSetup) { s.Channels[0].Attenuation = 0 },
		"no points":        func(s *drivers.RecordSetup) { s.Points = 0 },
		"no window":        func(s *drivers.RecordSetup) { s.WindowSeconds = 0 },
		"level not a volt": func(s *drivers.RecordSetup) { s.Trigger = &drivers.TriggerSetup{Channel: 1, LevelVolts: math.NaN()} },
		"start not a time": func(s *drivers.RecordSetup) { s.StartSeconds = math.Inf(-1) },
	} {
		setup := envelope
		setup.Channels = slices.Clone(envelope.Channels)
		change(&setup)
		if err := b.Arm(t.Context(), setup); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	if got := b.since(n); len(got) != 0 {
		t.Errorf("%q was sent", got)
	}
}

func TestFetch(t *testing.T) {
	eachLink(t, func(t *testing.T, transport string) {
		b := openScope(t, transport)
		// volts = (code - 128) * 0.02 + 1.5; codes 0 and 255 are the ends.
		b.fake.Do(func() {
			b.state.Preamble = "3,-1E-3,8E-5,0.02,128,1.5,0,255,1,1"
			b.state.Data = "\x80\x81\x00\xff\n#"
		})
		w, err := b.Fetch(t.Context(), 2)
		if err != nil {
			t.Fatal(err)
		}
		near := func(a, b float64) bool { return math.Abs(a-b) < 1e-12 }
		if w.Channel != 2 || w.StartSeconds != -1e-3 || w.StepSeconds != 8e-5 || w.Codes != 256 || !near(w.LowVolts, -1.06) || !near(w.HighVolts, 4.04) {
			t.Errorf("frame: %+v", w)
		}
		// 0x0a = 10 and 0x23 = 35: a newline within the data is data.
		for i, want := range []struct{ low, high float64 }{{1.5, 1.52}, {-1.06, 4.04}, {-0.86, -0.36}} {
			if !near(w.Min[i], want.low) || !near(w.Max[i], want.high) {
				t.Errorf("point %d is %g to %g, want %g to %g", i, w.Min[i], w.Max[i], want.low, want.high)
			}
		}

		b.fake.Do(func() {
			b.state.Preamble = "3,0,1E-9,-0.02,128,1.5,0,255,0,1" // inverted: the highest code is the lowest voltage
			b.state.Data = "\x80\x81\xff"
		})
		if w, err = b.Fetch(t.Context(), 1); err != nil {
			t.Fatal(err)
		}
		if len(w.Min) != 3 || &w.Min[0] != &w.Max[0] || !near(w.Min[2], -1.04) || !near(w.LowVolts, -1.04) || !near(w.HighVolts, 4.06) {
			t.Errorf("plain samples: %+v", w)
		}
	})
}

func TestFetchRefuses(t *testing.T) {
	b := openScope(t, "tcp")
	const right = "3,-1E-3,8E-5,0.02,128,1.5,0,255,0,1"
	for name, c := range map[string]struct {
		preamble, data string
		kind           error
	}{
		"no record":        {"0,0,0,0,0,0,0,255,0,0", "", drivers.ErrNoRecord},
		"short block":      {right, "ab", scpi.ErrGarbled},
		"long block":       {right, "abcd", scpi.ErrGarbled},
		"peak halves":      {"3,-1E-3,8E-5,0.02,128,1.5,0,255,1,1", "abc", scpi.ErrGarbled},
		"no points":        {"0,-1E-3,8E-5,0.02,128,1.5,0,255,0,1", "", scpi.ErrGarbled},
		"half a point":     {"2.5,-1E-3,8E-5,0.02,128,1.5,0,255,0,1", "abc", scpi.ErrGarbled},
		"no step":          {"3,-1E-3,0,0.02,128,1.5,0,255,0,1", "abc", scpi.ErrGarbled},
		"no scale":         {"3,-1E-3,8E-5,0,128,1.5,0,255,0,1", "abc", scpi.ErrGarbled},
		"scale not given":  {"3,-1E-3,8E-5,9.91E37,128,1.5,0,255,0,1", "abc", scpi.ErrGarbled},
		"codes reversed":   {"3,-1E-3,8E-5,0.02,128,1.5,255,0,0,1", "abc", scpi.ErrGarbled},
		"codes too many":   {"3,-1E-3,8E-5,0.02,128,1.5,0,256,0,1", "abc", scpi.ErrGarbled},
		"unknown detector": {"3,-1E-3,8E-5,0.02,128,1.5,0,255,2,1", "abc", scpi.ErrGarbled},
		"a value missing":  {"3,-1E-3,8E-5,0.02,128,1.5,0,255,0", "abc", scpi.ErrGarbled},
	} {
		b.fake.Do(func() { b.state.Preamble, b.state.Data = c.preamble, c.data })
		w, err := b.Fetch(t.Context(), 1)
		var failed *drivers.InstrumentError
		if !errors.Is(err, c.kind) || !errors.As(err, &failed) || w.Min != nil {
			t.Errorf("%s: %+v, %v, want %v", name, w, err, c.kind)
		}
	}
	b.fake.Do(func() { b.state.Preamble, b.state.Data = right, "abc" })
	if _, err := b.Fetch(t.Context(), 1); err != nil {
		t.Errorf("a right record after all that: %v", err)
	}
}

// TestScopeLosesStep: after a failed exchange the scope may have lost settings.
func TestScopeLosesStep(t *testing.T) {
	eachLink(t, func(t *testing.T, transport string) {
		b := openScope(t, transport)
		if err := b.Arm(t.Context(), envelope); err != nil {
			t.Fatal(err)
		}
		b.fake.SetFault(func(string, []byte) []byte { return nil })
		if _, err := b.Done(t.Context()); !errors.Is(err, link.ErrTimeout) {
			t.Fatalf("Done = %v, want a time-out", err)
		}
		b.fake.SetFault(nil)
		n := len(b.fake.Log())
		if err := b.Arm(t.Context(), envelope); err != nil {
			t.Fatal(err)
		}
		if got := b.since(n); !slices.Contains(got, "SENSe:DETector PEAK") {
			t.Errorf("sent %q, want all settings anew", got)
		}
		if err := b.Stop(t.Context()); err != nil || b.fake.Count("ABORt") != 1 {
			t.Errorf("Stop: %v, sent %d times", err, b.fake.Count("ABORt"))
		}
	})
}

// TestReopenStopsAtLast: a scope that is open again but could not be stopped is
// opened and stopped once more.
func TestReopenStopsAtLast(t *testing.T) {
	b := openScope(t, "tcp")
	stopped := 0
	b.fake.SetFault(func(message string, reply []byte) []byte {
		if !strings.Contains(message, "ABORt") {
			return reply
		}
		if stopped++; stopped == 1 {
			return nil
		}
		return reply
	})
	if err := b.Reopen(t.Context()); err != nil || stopped != 2 {
		t.Errorf("Reopen = %v, the scope was stopped %d times", err, stopped)
	}
}

func TestThermometer(t *testing.T) {
	eachLink(t, func(t *testing.T, transport string) {
		f := fake.NewThermometer("THM-1")
		wire := fake.Serve(t, f, transport)
		th, err := drivers.OpenThermometer(t.Context(), drivers.Options{Address: wire.Address, DialectDir: quickDialects(t)})
		if err != nil {
			t.Fatal(err)
		}
		defer th.Close()
		if got, err := th.Celsius(t.Context()); err != nil || got != 4.25 {
			t.Errorf("Celsius = %v, %v, want 4.25", got, err)
		}
		if got := th.Identity().Serial; got != "THM-1" {
			t.Errorf("serial number %q", got)
		}
		f.Do(func() { f.Commands["MEASure:TEMPerature?"] = func(string) string { return "9.91E37" } })
		if got, err := th.Celsius(t.Context()); err != nil || !math.IsNaN(got) {
			t.Errorf("sensor open: Celsius = %v, %v, want not measured", got, err)
		}
		for _, reply := range []string{"-300", "2731.5", "warm"} {
			f.Do(func() { f.Commands["MEASure:TEMPerature?"] = func(string) string { return reply } })
			if got, err := th.Celsius(t.Context()); !errors.Is(err, scpi.ErrGarbled) {
				t.Errorf("%q: Celsius = %v, %v, want it refused", reply, got, err)
			}
		}
	})
}
