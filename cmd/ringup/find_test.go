package main

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"ringup/drivers/link"
	"ringup/runner/bench"
)

// TestFind goes the way of somebody with a new bench: find, fill in, check.
func TestFind(t *testing.T) {
	t.Parallel()
	eachWire(t, func(t *testing.T, transport string) {
		f := folder(t.TempDir())
		serveBench(t, f, "served.toml", "--transport", transport, "--no-unit")
		find := []string{"find", "-o", "bench.toml"}
		for _, role := range []string{"thermometer", "supply", "scope"} {
			address := f.addressOf(t, "served.toml", role)
			if transport == "tcp" {
				find = append(find, "--lan", strings.TrimPrefix(address, "tcp:"))
			} else {
				find = append(find, "--serial", strings.TrimPrefix(address, "serial:"))
			}
		}
		f.ringup(t, find...).wantSays(t, exitDone, []string{"supply", "SUP-1"}, []string{"scope", "OSC-1"}, []string{"thermometer", "THM-1"}, []string{"bench.toml is written"})

		// Nothing is overwritten, and nothing is guessed.
		before := f.read(t, "bench.toml")
		f.wantRefused(t, exitUsage, find, "bench.toml is there already")
		if f.read(t, "bench.toml") != before {
			t.Error("the bench file was overwritten")
		}
		f.wantRefused(t, exitUsage, []string{"check"}, "unit.name", "unit.clock", "unit.max_volts", "unit.max_amps", "expect.start_within", "expect.amplitude_min")

		f.edit(t, "bench.toml", "bench.toml",
			`name      = ""`, `name = "river-level logger 0231"`, `clock     = ""`, `clock = "7.3728 MHz"`, `max_volts = ""`, `max_volts = "3.9 V"`,
			`max_amps  = ""`, `max_amps = "150 mA"`, `start_within  = ""`, `start_within = "68 ms"`, `amplitude_min = ""`, `amplitude_min = "6 %"`)
		f.must(t, "check")
	})
}

func TestFindTouchesNothingUnasked(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	r := decode[findings](t, f.must(t, "find", "--json"))
	ports, err := link.Ports()
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Instruments) != len(ports) {
		t.Errorf("%d places, this computer has %d ports", len(r.Instruments), len(ports))
	}
	for _, i := range r.Instruments {
		if i.Asked || i.Identity != "" {
			t.Errorf("%s was asked", i.Address)
		}
	}
}

// TestFindWrongBaud finds instruments at a speed that nobody named.
func TestFindWrongBaud(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	serveBench(t, f, "served.toml", "--baud", "4800")
	path, _, _ := strings.Cut(strings.TrimPrefix(f.addressOf(t, "served.toml", "scope"), "serial:"), "?")
	f.ringup(t, "find", "--serial", path).wantSays(t, exitDone,
		[]string{"scope", "serial:" + path + "?baud=4800", "OSC-1", "no readable *IDN? at 9600 baud, but at 4800"})
}

// TestFindSilence asks where nothing readable answers.
func TestFindSilence(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	serveBench(t, f, "served.toml", "--baud", "1200") // none of those tried
	path, _, _ := strings.Cut(strings.TrimPrefix(f.addressOf(t, "served.toml", "supply"), "serial:"), "?")
	o := f.ringup(t, "find", "--serial", path)
	o.wantSays(t, exitFailed, []string{path, "no readable *IDN? at 9600 baud; tried 115200, 57600, 38400, 19200, 4800, 2400 too"})
	if !strings.Contains(o.err, "1 of 1 did not say who they are") {
		t.Errorf("it says %s", o.err)
	}
	closed := freePort(t)
	f.ringup(t, "find", "tcp:"+closed).wantSays(t, exitFailed, []string{closed, "refused"})
}

// TestFindOneInstrumentTwice names one scope by two addresses, and one address twice.
func TestFindOneInstrumentTwice(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	serveBench(t, f, "served.toml", "--transport", "tcp")
	one := f.addressOf(t, "served.toml", "scope")
	two := strings.Replace(one, "127.0.0.1", "localhost", 1)
	f.ringup(t, "find", one, two, "-o", "bench.toml").wantSays(t, exitDone, []string{"scope", two, "the same instrument as at " + one})
	if file := f.read(t, "bench.toml"); !strings.Contains(file, `address = "`+one) || !strings.Contains(file, `# or: address = "`+two) {
		t.Errorf("the proposal does not show both:\n%s", file)
	}
	f.wantRefused(t, exitUsage, []string{"find", one, "--lan", strings.TrimPrefix(one, "tcp:")}, "are one place")
	f.wantRefused(t, exitUsage, []string{"find", "gpib:5"}, "gpib")

	// What was found is said even if the file cannot be written.
	f.ringup(t, "find", one, "-o", "none/bench.toml").wantSays(t, exitUsage, []string{"scope", one, "OSC-1"})
}

// A relay without a supply beside it switches one that is set by hand; the proposal is whole but for what only a person
// knows.
func TestProposeRelay(t *testing.T) {
	text := propose([]*instrument{{Address: "tcp:192.0.2.20:5025", Role: "switch", Identity: "any,relay,1,0"}})
	if strings.Count(text, "[supply]") != 1 || !strings.Contains(text, "set_by_hand = \"\"") || !strings.Contains(text, "[switch]\naddress = \"tcp:192.0.2.20:5025\"") {
		t.Errorf("proposed:\n%s", text)
	}
	_, err := bench.Parse("bench.toml", []byte(text))
	var bad *bench.Errors
	if !errors.As(err, &bad) {
		t.Fatalf("%v, want the list of what is empty", err)
	}
	for _, p := range *bad {
		if !strings.Contains(p.Found, `""`) {
			t.Errorf("the proposal itself is wrong: %s: %s", p.Key, p.Found)
		}
	}
}

// TestRulesWhereTheyHelp: the udev rules are for USB-TMC instruments alone.
func TestRulesWhereTheyHelp(t *testing.T) {
	none := &link.PermissionError{Path: "/dev/ttyUSB0"}
	serial := &instrument{Kind: link.Serial, problem: fmt.Errorf("%w: %w", link.ErrGone, none)}
	if lacksPermission([]*instrument{serial, {Kind: link.USBTMC}}) {
		t.Error("rules are printed for a serial port")
	}
	if !lacksPermission([]*instrument{serial, {Kind: link.USBTMC, problem: &link.PermissionError{Path: "/dev/usbtmc0"}}}) {
		t.Error("no rules are printed for a USB-TMC instrument that may not be opened")
	}
}
