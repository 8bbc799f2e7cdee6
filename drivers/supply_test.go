package drivers_test

import (
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"ringup/drivers"
	"ringup/drivers/dialect"
	"ringup/drivers/internal/fake"
	"ringup/drivers/link"
)

// quickDialects is a folder of the built-in dialects with time-outs that a test
// can wait for.
func quickDialects(t *testing.T) string {
	t.Helper()
	files, err := filepath.Glob("dialect/files/*.toml")
	if err != nil || len(files) == 0 {
		t.Fatalf("no dialect files: %v", err)
	}
	dir := t.TempDir()
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		quick := string(text)
		if !strings.Contains(quick, "time_out") {
			quick = strings.Replace(quick, "[session]\n", "[session]\ntime_out = \"250 ms\"\n", 1)
		}
		if err := os.WriteFile(filepath.Join(dir, filepath.Base(name)), []byte(quick), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// eachLink runs a test over every kind of link.
func eachLink(t *testing.T, test func(t *testing.T, transport string)) {
	for _, transport := range fake.Transports() {
		t.Run(transport, func(t *testing.T) { test(t, transport) })
	}
}

// bench is an opened supply with the instrument behind it.
type bench struct {
	drivers.Supply
	fake  *fake.Instrument
	state *fake.SupplyState
	wire  *fake.Wire
	seen  *exchanges
}

// exchanges gathers what Observe was told.
type exchanges struct {
	mu  sync.Mutex
	all []drivers.Exchange
}

func (e *exchanges) add(x drivers.Exchange) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.all = append(e.all, x)
}

func (e *exchanges) kinds() []string {
	e.mu.Lock()
	defer e.mu.Unlock()
	var kinds []string
	for _, x := range e.all {
		if x.Kind != "" && !slices.Contains(kinds, x.Kind) {
			kinds = append(kinds, x.Kind)
		}
	}
	return kinds
}

func openSupply(t *testing.T, transport string) *bench {
	t.Helper()
	b := &bench{seen: &exchanges{}}
	b.fake, b.state = fake.NewSupply("SUP-1")
	b.wire = fake.Serve(t, b.fake, transport)
	var err error
	b.Supply, err = drivers.OpenSupply(t.Context(), drivers.Options{
		Role: "supply", Address: b.wire.Address, Dialect: "auto", DialectDir: quickDialects(t), Observe: b.seen.add,
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

// look reads the fake supply's state.
func (b *bench) look() (s fake.SupplyState) {
	b.fake.Do(func() { s = *b.state })
	return s
}

// dropReply has the next message that holds text go unanswered.
func (b *bench) dropReply(text string) {
	dropped := false
	b.fake.SetFault(func(message string, reply []byte) []byte {
		if !dropped && strings.Contains(message, text) {
			dropped = true
			return nil
		}
		return reply
	})
}

func TestSupply(t *testing.T) {
	eachLink(t, func(t *testing.T, transport string) {
		b := openSupply(t, transport)
		ctx := t.Context()
		if got := b.Identity(); got != (drivers.Identity{Maker: "ringup", Model: "simulated supply", Serial: "SUP-1", Firmware: "1"}) {
			t.Errorf("identity %+v", got)
		}
		if err := b.Limit(ctx, 3.9, 0.15); err != nil {
			t.Fatal(err)
		}
		if s := b.look(); s.Amps != 0.15 || math.Abs(s.Protection-3.9*1.05) > 1e-3 {
			t.Errorf("limits programmed: %+v, want 0.15 A and 5 %% above 3.9 V", s)
		}
		if err := b.SetVolts(ctx, 3.3); err != nil {
			t.Fatal(err)
		}
		if err := b.On(ctx); err != nil {
			t.Fatal(err)
		}
		if on, err := b.Output(ctx); err != nil || !on {
			t.Errorf("Output = %v, %v", on, err)
		}
		if r, err := b.Read(ctx); err != nil || r.Volts != 3.3 || r.Amps != 4.2e-3 {
			t.Errorf("Read = %+v, %v", r, err)
		}
		if err := b.Off(ctx); err != nil {
			t.Fatal(err)
		}
		if s := b.look(); s.On || s.Volts != 3.3 {
			t.Errorf("left as %+v", s)
		}
		if n := b.fake.Count("OUTPut OFF"); n != 1 {
			t.Errorf("off was sent %d times though it read back at once", n)
		}
		for _, unit := range b.fake.Log() {
			if strings.HasPrefix(unit, "*RST") {
				t.Error("the supply was reset")
			}
		}
		b.seen.mu.Lock()
		defer b.seen.mu.Unlock()
		for _, x := range b.seen.all {
			if x.Role != "supply" || x.Command == "" || x.Err != nil || x.Kind != "" || x.Elapsed <= 0 {
				t.Errorf("exchange %+v", x)
			}
		}
	})
}

func TestReadingNotMeasured(t *testing.T) {
	b := openSupply(t, "tcp")
	b.fake.Do(func() {
		b.fake.Commands["MEASure:VOLTage?"] = func(string) string { return "+9.91E+37" } // SCPI-99: not a number
		b.fake.Commands["MEASure:CURRent?"] = func(string) string { return "+9.9E+37" }  // what some instruments say instead
	})
	if r, err := b.Read(t.Context()); err != nil || !math.IsNaN(r.Volts) || !math.IsNaN(r.Amps) {
		t.Errorf("Read = %+v, %v, want not measured", r, err)
	}
}

func TestSetVoltsIsReadBack(t *testing.T) {
	b := openSupply(t, "tcp")
	b.fake.Do(func() { b.fake.Commands["SOURce:VOLTage?"] = func(string) string { return "+1.200000E+01" } })
	err := b.SetVolts(t.Context(), 3.3)
	var mismatch *dialect.Mismatch
	if !errors.As(err, &mismatch) || mismatch.Read != 12 || drivers.KindOf(err) != "refused" {
		t.Errorf("SetVolts = %v, want a mismatch", err)
	}
	if n := b.fake.Count("SOURce:VOLTage 3.3000"); n != 1 {
		t.Errorf("the voltage was written %d times, want once", n)
	}
}

// TestOnIsSentOnce loses the answer to on in several ways: it must never be
// sent again, and the caller must learn that the state is not known.
func TestOnIsSentOnce(t *testing.T) {
	eachLink(t, func(t *testing.T, transport string) {
		for _, c := range []struct {
			name  string
			fault fake.Fault
		}{
			{"no answer", func(string, []byte) []byte { return nil }},
			{"half an answer", func(string, []byte) []byte { return []byte("1") }},
			{"a garbled answer", func(string, []byte) []byte { return []byte("\xfe1\n") }},
			{"another answer", func(string, []byte) []byte { return []byte("+3.300000E+00\n") }},
		} {
			t.Run(c.name, func(t *testing.T) {
				b := openSupply(t, transport)
				if err := b.SetVolts(t.Context(), 3.3); err != nil {
					t.Fatal(err)
				}
				b.fake.SetFault(func(message string, reply []byte) []byte {
					if strings.Contains(message, "OUTPut ON") {
						return c.fault(message, reply)
					}
					return reply
				})
				err := b.On(t.Context())
				var failed *drivers.InstrumentError
				if !errors.Is(err, drivers.ErrStateUnknown) || !errors.As(err, &failed) || failed.Role != "supply" || failed.Elapsed <= 0 {
					t.Fatalf("On = %v, want the state to be unknown", err)
				}
				if on, err := b.Output(t.Context()); err != nil || !on {
					t.Errorf("Output afterwards = %v, %v; the supply is on", on, err)
				}
				if err := b.Off(t.Context()); err != nil {
					t.Error(err)
				}
				if n := b.fake.Count("OUTPut ON"); n != 1 {
					t.Errorf("on was sent %d times", n)
				}
			})
		}
	})
}

func TestOnRefused(t *testing.T) {
	b := openSupply(t, "tcp")
	b.fake.Do(func() { b.fake.Commands["OUTPut"] = func(string) string { return "" } }) // trips at once
	err := b.On(t.Context())
	var mismatch *dialect.Mismatch
	if !errors.As(err, &mismatch) || errors.Is(err, drivers.ErrStateUnknown) {
		t.Errorf("On = %v; the state is known: off", err)
	}
	if n := b.fake.Count("OUTPut ON"); n != 1 {
		t.Errorf("on was sent %d times", n)
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if err := b.On(ended); err == nil || errors.Is(err, drivers.ErrStateUnknown) {
		t.Errorf("On with an ended context = %v; nothing was sent, so nothing is unknown", err)
	}
	if n := b.fake.Count("OUTPut ON"); n != 1 {
		t.Errorf("on was sent %d times", n)
	}
}

// TestLateAnswer: the volts that came too late must not be read as amps.
func TestLateAnswer(t *testing.T) {
	eachLink(t, func(t *testing.T, transport string) {
		b := openSupply(t, transport)
		if err := b.SetVolts(t.Context(), 3.3); err != nil {
			t.Fatal(err)
		}
		var kept []byte
		b.fake.SetFault(func(message string, reply []byte) []byte {
			if message == "MEASure:VOLTage?" && kept == nil {
				kept = append([]byte{}, reply...)
				return nil
			}
			out := append(slices.Clone(kept), reply...)
			if len(kept) > 0 {
				kept = []byte{}
			}
			return out
		})
		if _, err := b.Read(t.Context()); !errors.Is(err, link.ErrTimeout) {
			t.Fatalf("Read = %v, want a time-out", err)
		}
		if r, err := b.Read(t.Context()); err != nil || r.Volts != 3.3 || r.Amps != 4.2e-3 {
			t.Errorf("Read afterwards = %+v, %v", r, err)
		}
		if got := b.seen.kinds(); !slices.Equal(got, []string{"timeout"}) {
			t.Errorf("kinds observed: %q", got)
		}
	})
}

func TestClosed(t *testing.T) {
	b := openSupply(t, "tcp")
	if err := errors.Join(b.Close(), b.Close()); err != nil {
		t.Fatal(err)
	}
	var not *drivers.NotConfirmedOff
	if err := b.Off(t.Context()); !errors.As(err, &not) {
		t.Errorf("Off of a closed supply = %v", err)
	}
	for name, err := range map[string]error{"On": b.On(t.Context()), "SetVolts": b.SetVolts(t.Context(), 1), "Reopen": b.Reopen(t.Context())} {
		if !errors.Is(err, link.ErrClosed) {
			t.Errorf("%s of a closed supply = %v", name, err)
		}
	}
}

func TestChannel(t *testing.T) {
	f, _ := fake.NewSupply("SUP-1")
	channel := "1"
	f.Commands["INSTrument:NSELect"] = func(argument string) string { channel = argument; return "" }
	f.Commands["INSTrument:NSELect?"] = func(string) string { return channel }
	wire := fake.Serve(t, f, "tcp")
	s, err := drivers.OpenSupply(t.Context(), drivers.Options{Address: wire.Address, Dialect: "scpi99-supply", Channel: 2})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if n := f.Count("INSTrument:NSELect 2"); n != 1 {
		t.Errorf("channel 2 was chosen %d times", n)
	}
	if s, err := drivers.OpenSupply(t.Context(), drivers.Options{Address: wire.Address, Dialect: "simulated-supply", Channel: 2}); err == nil {
		s.Close()
		t.Error("channel 2 of a dialect with one was accepted")
	}
}

// TestGenericSupply speaks plain SCPI-99 to a supply without protection
// commands.
func TestGenericSupply(t *testing.T) {
	f, state := fake.NewSupply("17")
	f.Identity = "ACME,PSU-3,17,1.02"
	delete(f.Commands, "SOURce:VOLTage:PROTection")
	delete(f.Commands, "SOURce:CURRent:PROTection:STATe")
	wire := fake.Serve(t, f, "tcp")
	s, err := drivers.OpenSupply(t.Context(), drivers.Options{Address: wire.Address})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	ctx := t.Context()
	if err := errors.Join(s.Limit(ctx, 3.9, 0.15), s.SetVolts(ctx, 3.3), s.On(ctx)); err != nil {
		t.Fatal(err)
	}
	if u := drivers.Unprotected(s); len(u) != 2 {
		t.Errorf("it does not know %q, want both protections", u)
	}
	f.Do(func() {
		if !state.On || state.Volts != 3.3 || state.Amps != 0.15 {
			t.Errorf("the supply is %+v", *state)
		}
	})
	if err := s.Off(ctx); err != nil {
		t.Error(err)
	}
}

func TestOpenFails(t *testing.T) {
	f, _ := fake.NewSupply("SUP-1")
	wire := fake.Serve(t, f, "tcp")
	open := func(address, dialect string) error {
		s, err := drivers.OpenSupply(t.Context(), drivers.Options{Role: "supply", Address: address, Dialect: dialect})
		if err == nil {
			s.Close()
		}
		return err
	}
	for name, c := range map[string]struct{ address, dialect, want string }{
		"address":            {"GPIB::1::INSTR", "auto", "allowed are"},
		"nothing there":      {"tcp:127.0.0.1:1", "auto", "supply at tcp:127.0.0.1:1"},
		"dialect":            {wire.Address, "no-such", "scpi99-supply, simulated-supply"},
		"a scope's dialect":  {wire.Address, "simulated-scope", "no supply dialect"},
		"folder of dialects": {wire.Address, "", ""},
	} {
		if name == "folder of dialects" {
			if _, err := drivers.OpenSupply(t.Context(), drivers.Options{Address: c.address, DialectDir: "no-such-folder"}); err == nil {
				t.Errorf("%s: accepted", name)
			}
			continue
		}
		if err := open(c.address, c.dialect); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}
