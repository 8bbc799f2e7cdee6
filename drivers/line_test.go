package drivers

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"ringup/drivers/link"
)

// fakePort is a serial adapter's two lines, as a test sees them.
type fakePort struct {
	told   []string
	unplug bool
	shut   bool
}

func (p *fakePort) set(line string, on bool) error {
	if p.unplug {
		return errors.New("input/output error")
	}
	p.told = append(p.told, line+map[bool]string{true: "+", false: "-"}[on])
	return nil
}

func (p *fakePort) SetDTR(on bool) error { return p.set("DTR", on) }
func (p *fakePort) SetRTS(on bool) error { return p.set("RTS", on) }
func (p *fakePort) Close() error         { p.shut = true; return nil }

// onFake opens a line relay on fake ports, each opening a new one.
func onFake(t *testing.T, o RelayOptions) (*lineRelay, *[]*fakePort) {
	t.Helper()
	o.Address, o.Role, o.SetVolts = "serial:/dev/serial/by-id/usb-adapter-if00?baud=9600", "switch", 3.6
	address, err := lineAddress(o)
	if err != nil {
		t.Fatal(err)
	}
	var ports []*fakePort
	r := &lineRelay{byHand: byHand{o.SetVolts}, options: o, address: address, open: func(string) (lines, error) {
		if n := len(ports); n > 0 && ports[n-1].unplug && !ports[n-1].shut {
			t.Error("the old port is still open")
		}
		ports = append(ports, &fakePort{})
		return ports[len(ports)-1], nil
	}}
	if err := r.connect(); err != nil {
		t.Fatal(err)
	}
	return r, &ports
}

func TestLineRelay(t *testing.T) {
	for name, c := range map[string]struct {
		o    RelayOptions
		told string // opening, on, off, off
	}{
		"DTR":          {RelayOptions{Line: "DTR"}, "DTR- DTR+ DTR- DTR-"},
		"RTS":          {RelayOptions{Line: "RTS"}, "RTS- RTS+ RTS- RTS-"},
		"DTR inverted": {RelayOptions{Line: "DTR", Inverted: true}, "DTR+ DTR- DTR+ DTR+"},
	} {
		t.Run(name, func(t *testing.T) {
			r, ports := onFake(t, c.o)
			ctx := t.Context()
			var s Supply = Guard(r, 3.9, 0.15)
			if ReadsBack(s) {
				t.Error("a line claims to read its relay back")
			}
			if err := s.On(ctx); err == nil {
				t.Error("on without a voltage set")
			}
			var other *SetByHandError
			if err := s.SetVolts(ctx, 3.3); !errors.As(err, &other) || other.Asked != 3.3 || other.Set != 3.6 {
				t.Errorf("another voltage than the one set by hand: %v", err)
			}
			if err := errors.Join(s.SetVolts(ctx, 3.6), s.On(ctx)); err != nil {
				t.Fatal(err)
			}
			if on, err := s.Output(ctx); err != nil || !on {
				t.Errorf("on, and Output says %t, %v", on, err)
			}
			ended, cancel := context.WithCancel(ctx)
			cancel()
			if err := errors.Join(s.Off(ended), s.Off(ctx)); err != nil {
				t.Error(err)
			}
			if err := s.On(ended); err == nil {
				t.Error("switched on under a cancelled context")
			}
			if got := strings.Join((*ports)[0].told, " "); got != c.told {
				t.Errorf("the lines were told %q, want %q", got, c.told)
			}
			if h := s.(Historian).History(); len(h) != 4 || !h[0].Sent {
				t.Errorf("it remembers %+v", h)
			}
			if err := s.Close(); err != nil || !(*ports)[0].shut {
				t.Errorf("Close = %v, the port is shut: %t", err, (*ports)[0].shut)
			}
			var not *NotConfirmedOff
			if err := s.Off(ctx); !errors.As(err, &not) {
				t.Errorf("Off after Close = %v", err)
			}
		})
	}
}

// TestLineUnplugged: on is not tried again, off opens the adapter anew.
func TestLineUnplugged(t *testing.T) {
	r, ports := onFake(t, RelayOptions{Line: "DTR"})
	(*ports)[0].unplug = true
	if err := r.On(t.Context()); !errors.Is(err, ErrStateUnknown) || KindOf(err) != "gone" {
		t.Errorf("On of an adapter that is gone = %v", err)
	}
	if len(*ports) != 1 || !(*ports)[0].shut {
		t.Errorf("after On the adapter was opened %d times, shut %t", len(*ports), (*ports)[0].shut)
	}
	if err := r.Off(t.Context()); err != nil {
		t.Fatal(err)
	}
	if len(*ports) != 2 || !slices.Equal((*ports)[1].told, []string{"DTR-"}) {
		t.Errorf("off: %d openings, told %q", len(*ports), (*ports)[len(*ports)-1].told)
	}
	if err := r.Reopen(t.Context()); err != nil || len(*ports) != 3 || !(*ports)[1].shut {
		t.Errorf("Reopen = %v after %d openings", err, len(*ports))
	}
}

// TestLineAddress: the port must not give the unit a pulse when it is opened.
func TestLineAddress(t *testing.T) {
	for _, c := range []struct {
		o    RelayOptions
		want string // of the address, or of the error
	}{
		{RelayOptions{Options: Options{Address: "serial:/dev/ttyUSB0"}, Line: "DTR"}, "serial:/dev/ttyUSB0?baud=9600&dtr=off"},
		{RelayOptions{Options: Options{Address: "serial:/dev/ttyUSB0?baud=1200"}, Line: "RTS"}, "serial:/dev/ttyUSB0?baud=1200&rts=off"},
		{RelayOptions{Options: Options{Address: "serial:/dev/ttyUSB0"}, Line: "DTR", Inverted: true}, "serial:/dev/ttyUSB0?baud=9600"},
		{RelayOptions{Options: Options{Address: "tcp:192.0.2.17:5025"}, Line: "DTR"}, `address "tcp:192.0.2.17:5025": a relay on the line DTR needs a serial adapter`},
		{RelayOptions{Options: Options{Address: "serial:/dev/ttyUSB0"}, Line: "CTS"}, `line "CTS"; allowed: DTR, RTS`},
	} {
		got, err := lineAddress(c.o)
		if err != nil {
			got = err.Error()
		}
		if !strings.HasPrefix(got, c.want) {
			t.Errorf("%+v: %q, want %q", c.o, got, c.want)
		}
		if err == nil {
			if _, err := link.Parse(got); err != nil {
				t.Errorf("%q: %v", got, err)
			}
		}
	}
}
