package bench

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

const good = `[unit]
name      = "river-level logger 0231"
clock     = "7.3728 MHz"
max_volts = "3.9 V"
max_amps  = "150 mA"

[supply]
address = "sim:supply"

[scope]
address = "sim:scope"

[probes.rail]
channel     = 1
attenuation = 10

[probes.clock]
channel     = 2
attenuation = 10
capacitance = "12 pF"
loads       = "crystal input"

[expect]
start_within = "65 ms"
amplitude_min = "0.8 V"
`

func TestParse(t *testing.T) {
	b, err := Parse("bench.toml", []byte(good))
	if err != nil {
		t.Fatal(err)
	}
	if b.Unit.ClockHertz != 7.3728e6 || b.Unit.MaxVolts != 3.9 || b.Unit.MaxAmps != 0.15 || b.Clock.Farads != 12e-12 {
		t.Errorf("read %+v, %+v", b.Unit, b.Clock)
	}
	if b.Expect.StartWithinSeconds != 0.065 || b.Expect.AmplitudeMin(2.4) != 0.8 || b.Expect.RailFraction != 0.5 {
		t.Errorf("read %+v", b.Expect)
	}
	if b.Thermometer != nil || b.Lamp != nil {
		t.Error("made up an instrument that is not in the file")
	}
	if got := b.Where("unit.clock"); got != "bench.toml:3:13" {
		t.Errorf("unit.clock is at %s", got)
	}
}

// One mistake at a time: where it is, which key, what was found, what is allowed.
func TestMistakes(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"unknown key", `max_amps  = "150 mA"`, "max_amps  = \"150 mA\"\nmax_watts = \"2 W\"", "bench.toml:6:1: unit.max_watts: found an unknown key; allowed: name, clock, max_volts, max_amps in [unit]"},
		{"bare number", `"3.9 V"`, `3.9`, `bench.toml:4:13: unit.max_volts: found the bare number 3.9, whose unit would be a guess; allowed: a voltage with its unit, like "3.6 V", from 0.1 V to 60 V`},
		{"wrong unit", `"3.9 V"`, `"3.9 A"`, `bench.toml:4:13: unit.max_volts: found "3.9 A", whose unit "A" is none of mV, V, kV; allowed: a voltage with its unit, like "3.6 V", from 0.1 V to 60 V`},
		{"no unit", `"3.9 V"`, `"3.9"`, `found "3.9" without a unit`},
		{"out of range", `"3.9 V"`, `"390 V"`, `found "390 V", which is out of range`},
		{"no number", `"3.9 V"`, `"lots"`, `found "lots", which is no number with a unit`},
		{"wrong type", `channel     = 2`, `channel = "two"`, `probes.clock.channel: found "two"; allowed: a whole number from 1 to 16`},
		{"same channel", `channel     = 2`, `channel = 1`, `bench.toml:18:11: probes.clock.channel: found channel 1, which probes.rail has already; allowed: a scope channel of its own for every probe`},
		{"missing probe", "[probes.rail]\nchannel     = 1\nattenuation = 10\n", "", "probes.rail: found no such table; allowed: [probes.rail] is needed in every bench file"},
		{"missing key", `name      = "river-level logger 0231"` + "\n", "", "bench.toml:1:2: unit.name: found nothing; allowed: a text in quotes"},
		{"unknown table", "[scope]", "[oscilloscope]", "bench.toml:10:2: oscilloscope: found an unknown table; allowed: the tables [unit] [supply] [switch] [scope]"},
		{"loads", `"crystal input"`, `"the crystal"`, `probes.clock.loads: found "the crystal"; allowed: one of "crystal input", "crystal output", "buffered", "near field"`},
		{"mixed", `"sim:scope"`, `"tcp:192.0.2.17:5025"`, `scope.address: found "tcp:192.0.2.17:5025"; allowed: simulated instruments only with each other`},
		{"sim name", `"sim:scope"`, `"sim:supply"`, `scope.address: found "sim:supply"; allowed: "sim:scope"`},
		{"not toml", `[scope]`, `[scope`, "bench.toml:10:7: found what is not TOML (expected ']' to close table name); allowed: TOML 1.0"},
		{"twice", `max_amps  = "150 mA"`, "max_amps = \"150 mA\"\nmax_amps = \"1 A\"", "bench.toml:6:"},
		{"amplitude", `"0.8 V"`, `0.8`, `expect.amplitude_min: found the bare number 0.8`},
		{"amplitude of nothing", `"0.8 V"`, `"0 %"`, `bench.toml:25:17: expect.amplitude_min: found "0 %", which is out of range; allowed: a voltage or a percentage of the set volts, like "0.8 V" or "25 %", above 0 and up to 60 V or 200 %`},
		{"negative", `"3.9 V"`, `"-3.9 V"`, `bench.toml:4:13: unit.max_volts: found "-3.9 V", which is out of range`},
		{"zero", `"3.9 V"`, `"0 V"`, `bench.toml:4:13: unit.max_volts: found "0 V", which is out of range`},
		{"infinite", `"3.9 V"`, `"inf V"`, `bench.toml:4:13: unit.max_volts: found "inf V", which is no number with a unit`},
		{"infinite and bare", `"3.9 V"`, `inf`, `bench.toml:4:13: unit.max_volts: found the bare number inf, whose unit would be a guess`},
		{"too large", `"3.9 V"`, `"1e400 V"`, `bench.toml:4:13: unit.max_volts: found "1e400 V", which is out of range`},
		{"unit in capitals", `"7.3728 MHz"`, `"7.3728 MHZ"`, `bench.toml:3:13: unit.clock: found "7.3728 MHZ", whose unit "MHZ" is none of Hz, kHz, MHz; allowed: a frequency with its unit, like "7.3728 MHz", from 1 kHz to 200 MHz`},
		{"comma", `"3.9 V"`, `"3,9 V"`, `bench.toml:4:13: unit.max_volts: found "3,9 V", which has a comma where a point is wanted`},
		{"not a number", `attenuation = 10`, `attenuation = nan`, `bench.toml:15:15: probes.rail.attenuation: found nan; allowed: a number from 0.1 to 1000`},
		{"list", `channel     = 2`, `channel = [2]`, `bench.toml:18:1: probes.clock.channel: found a list; allowed: a whole number from 1 to 16`},
		{"date", `"3.9 V"`, `2026-01-14`, `bench.toml:4:13: unit.max_volts: found 2026-01-14; allowed: a voltage`},
		{"same table", `[scope]`, "[unit]\n[scope]", "bench.toml:10:2: found what is not TOML (table unit already exists); allowed: TOML 1.0"},
		{"list of tables", `[unit]`, "[[unit]]\nmax_volts = \"40 V\"\n[[unit]]", "bench.toml:1:3: unit: found [[unit]], a list of tables; allowed: [unit], once\nbench.toml:3:3: unit: found [[unit]]"},
		{"dot in a key", `[unit]`, "\"unit.max_amps\" = \"20 A\"\n[unit]", `bench.toml:1:1: "unit.max_amps": found an unknown key; allowed: the tables [unit] [supply]`},
		{"control character", `logger 0231`, `logger\u001b[2J`, `bench.toml:2:13: unit.name: found "river-level logger\x1b[2J", which has control characters`},
		{"no character", `3.9 V`, "3.9\x00 V", "bench.toml:4:17: found what is not TOML (basic strings cannot have control characters)"},
		{"another encoding", `river`, "r\xe9ver", "bench.toml:2:15: found what is not TOML (invalid UTF-8 character"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := strings.Replace(good, c.old, c.new, 1)
			if text == good {
				t.Fatal("the mistake was not made")
			}
			_, err := Parse("bench.toml", []byte(text))
			var list *Errors
			if !errors.As(err, &list) {
				t.Fatalf("got %v, want a list of problems", err)
			}
			if !strings.Contains(err.Error(), c.want) {
				t.Errorf("got\n%s\nwant\n%s", err, c.want)
			}
		})
	}
}

// A file as other editors write it, and one that is none.
func TestEncodings(t *testing.T) {
	wrong := strings.Replace(good, `"3.9 V"`, `3.9`, 1)
	for _, c := range []struct{ name, text, want string }{
		{"mark of UTF-8", "\ufeff" + good, ""},
		{"mark of UTF-8 and a mistake", "\ufeff" + wrong, "bench.toml:4:13: unit.max_volts: found the bare number"},
		{"carriage returns", strings.ReplaceAll(good, "\n", "\r\n"), ""},
		{"carriage returns and a mistake", strings.ReplaceAll(wrong, "\n", "\r\n"), "bench.toml:4:13: unit.max_volts: found the bare number"},
		{"UTF-16", "\xff\xfe[\x00u\x00", "bench.toml:1:1: found a file in UTF-16; allowed: UTF-8"},
		{"nothing", "", "bench.toml:1:1: unit: found no such table; allowed: [unit] is needed in every bench file"},
		{"huge", "# " + strings.Repeat("x", mostText), "bench.toml:1:1: found more than 1 MiB; allowed: a few dozen lines of TOML"},
		{"long value", strings.Replace(good, "3.9 V", strings.Repeat("9", 5000)+" V", 1), `99 V", which is out of range`},
	} {
		_, err := Parse("bench.toml", []byte(c.text))
		switch {
		case c.want == "" && err != nil, c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%s: %v; want %q", c.name, err, c.want)
		case err != nil && len(err.Error()) > 2000:
			t.Errorf("%s: an error of %d bytes", c.name, len(err.Error()))
		}
	}
}

// A path that never ends must not fill the memory.
func TestLoadIsBounded(t *testing.T) {
	const endless = "/dev/zero"
	if _, err := os.Stat(endless); err != nil {
		t.Skip("no " + endless)
	}
	if _, err := Load(endless); err == nil || !strings.Contains(err.Error(), "more than 1 MiB") {
		t.Errorf("%v", err)
	}
}

// relay is good with a relay in the lead of a supply without remote control.
var relay = strings.Replace(good, "[supply]\naddress = \"sim:supply\"\n", "[supply]\nset_by_hand = \"3.6 V\"\n\n[switch]\naddress = \"sim:switch\"\nchannel = 2\n", 1)

func TestRelay(t *testing.T) {
	b, err := Parse("bench.toml", []byte(relay))
	if err != nil {
		t.Fatal(err)
	}
	if b.Switch == nil || b.Switch.Address != "sim:switch" || b.Switch.Channel != 2 || b.SetByHandVolts != 3.6 || !b.Simulated() || b.HoldAfterUnread != 5 {
		t.Errorf("read %+v, set by hand to %g V", b.Switch, b.SetByHandVolts)
	}
	line := strings.NewReplacer(`"sim:switch"`, `"serial:/dev/ttyUSB0"`, "channel = 2\n", "line = \"RTS\"\ninverted = true\n", `"sim:scope"`, `"usbtmc:/dev/usbtmc0"`).Replace(relay)
	line += "[run]\nhold_after_unread = 3\n"
	if b, err = Parse("bench.toml", []byte(line)); err != nil {
		t.Fatal(err)
	}
	if b.Switch.Line != "RTS" || !b.Switch.Inverted || b.Simulated() || b.HoldAfterUnread != 3 {
		t.Errorf("read %+v, hold after %d", b.Switch, b.HoldAfterUnread)
	}
}

func TestRelayMistakes(t *testing.T) {
	for _, c := range []struct{ name, text, old, new, want string }{
		{"both", relay, `set_by_hand`, "address = \"sim:supply\"\nset_by_hand", `bench.toml:8:11: supply.address: found this key; allowed: nothing here: with [switch] the supply has no remote control`},
		{"neither", good, `address = "sim:supply"`, "", `bench.toml:7:2: supply.address: found nothing; allowed: a text in quotes that is not empty; a supply without remote control needs a relay in its lead, described in [switch]`},
		{"by hand without a relay", good, `address = "sim:supply"`, "address = \"sim:supply\"\nset_by_hand = \"3.6 V\"", `bench.toml:9:15: supply.set_by_hand: found this key; allowed: only with [switch]`},
		{"no voltage", relay, `set_by_hand = "3.6 V"`, "", `bench.toml:7:2: supply.set_by_hand: found nothing; allowed: the voltage to which the supply is set by hand`},
		{"above the limit", relay, `"3.6 V"`, `"4.1 V"`, `bench.toml:8:15: supply.set_by_hand: found 4.1 V; allowed: at most unit.max_volts, 3.9 V`},
		{"line and channel", relay, `channel = 2`, "channel = 2\nline = \"DTR\"", `bench.toml:12:11: switch.channel: found this key; allowed: not together with switch.line`},
		{"line of the simulated relay", relay, "channel = 2\n", "line = \"DTR\"\n", `switch.address: found "sim:switch"; allowed: a serial adapter with switch.line`},
		{"inverted without a line", relay, `channel = 2`, "inverted = true", `bench.toml:12:12: switch.inverted: found this key; allowed: only with switch.line`},
		{"inverted", relay, `channel = 2`, `inverted = "yes"`, `switch.inverted: found "yes"; allowed: true or false`},
		{"unknown line", relay, `channel = 2`, `line = "CTS"`, `switch.line: found "CTS"; allowed: one of "DTR", "RTS"`},
		{"mixed", relay, `"sim:switch"`, `"tcp:192.0.2.17:5025"`, `scope.address: found "sim:scope"; allowed: simulated instruments only with each other`},
		{"unread", good, "[expect]", "[run]\nhold_after_unread = 0\n[expect]", `run.hold_after_unread: found 0; allowed: a whole number from 1 to 1000`},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := strings.Replace(c.text, c.old, c.new, 1)
			if text == c.text {
				t.Fatal("the mistake was not made")
			}
			_, err := Parse("bench.toml", []byte(text))
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got\n%v\nwant\n%s", err, c.want)
			}
		})
	}
}

// TestOnePlace: two instruments at one address, however that is written.
func TestOnePlace(t *testing.T) {
	port := filepath.Join(t.TempDir(), "port")
	if err := errors.Join(os.WriteFile(port, nil, 0o600), os.Symlink("port", port+"-by-id")); err != nil {
		t.Fatal(err)
	}
	bench := func(supply, scope string) error {
		_, err := Parse("bench.toml", []byte(strings.NewReplacer("sim:supply", supply, "sim:scope", scope).Replace(good)))
		return err
	}
	for _, c := range [][2]string{
		{"tcp:192.0.2.17:5025", "TCPIP::192.0.2.17::5025::SOCKET"},
		{"tcp:[2001:DB8::17]:5025", "tcp:[2001:db8::17]:5025"},
		{"usbtmc:/dev/usbtmc7", "usbtmc:/dev/usbtmc7"},
		{"serial:" + port + "?baud=9600", "serial:" + port + "-by-id?baud=115200"},
	} {
		if err := bench(c[0], c[1]); err == nil || !strings.Contains(err.Error(), "scope.address: found "+strconv.Quote(c[1])+", where the supply is already") || !strings.HasPrefix(err.Error(), "bench.toml:") {
			t.Errorf("%s and %s: %v", c[0], c[1], err)
		}
	}
	if err := bench("tcp:192.0.2.17:5025", "tcp:192.0.2.17:5026"); err != nil {
		t.Errorf("two ports of one host: %v", err)
	}
}

func TestAllMistakesAtOnce(t *testing.T) {
	text := strings.NewReplacer(`"3.9 V"`, `3.9`, `"65 ms"`, `"65 m"`, `channel     = 2`, `chanel = 2`).Replace(good)
	_, err := Parse("bench.toml", []byte(text))
	var list *Errors
	if !errors.As(err, &list) {
		t.Fatal(err)
	}
	if len(*list) != 4 { // the misspelt channel is both unknown and missing
		t.Errorf("found %d problems:\n%s", len(*list), err)
	}
	for i := 1; i < len(*list); i++ {
		if (*list)[i].Line < (*list)[i-1].Line {
			t.Errorf("problems are not in the order of the file:\n%s", err)
		}
	}
}

func TestDottedAndInlineTables(t *testing.T) {
	text := strings.Replace(good, "[probes.rail]\nchannel     = 1\nattenuation = 10\n", "", 1)
	text = "thermometer.address = \"sim:thermometer\"\nprobes.lamp = { channel = 3 }\nprobes.rail = { channel = 1, attenuation = 10 }\n" +
		strings.Replace(text, "[probes.clock]\nchannel     = 2\nattenuation = 10\ncapacitance = \"12 pF\"\nloads       = \"crystal input\"\n", "", 1)
	text = "probes.clock.channel = 2\n" + text
	b, err := Parse("bench.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	if b.Thermometer == nil || b.Thermometer.Address != "sim:thermometer" || b.Lamp == nil || b.Lamp.Channel != 3 || b.Rail.Attenuation != 10 || b.Clock.Channel != 2 {
		t.Errorf("read %+v %+v %+v", b.Thermometer, b.Lamp, b.Rail)
	}
}

// Whole numbers as TOML has them.
func TestNumbers(t *testing.T) {
	text := strings.NewReplacer("channel     = 2", "channel = 0x2", "attenuation = 10", "attenuation = 1_0").Replace(good) + "[simulation]\nseed = 1_000\n"
	b, err := Parse("bench.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	if b.Clock.Channel != 2 || b.Clock.Attenuation != 10 || b.Simulation.Seed != 1000 {
		t.Errorf("read channel %d, attenuation %g, seed %d", b.Clock.Channel, b.Clock.Attenuation, b.Simulation.Seed)
	}
}

func TestQuantities(t *testing.T) {
	for _, c := range []struct {
		d    dimension
		text string
		want float64
	}{
		{duration, "65 ms", 0.065}, {duration, "65ms", 0.065}, {duration, "12 µs", 12e-6}, {duration, "8 h", 28800}, {duration, "1.5 min", 90},
		{frequency, "7.3728 MHz", 7372800}, {frequency, "32.768 kHz", 32768}, {capacitance, "12 pF", 12e-12}, {resistance, "10 MΩ", 1e7},
		{temperature, "-4 °C", -4}, {fraction, "1 %", 0.01}, {voltage, "+3.6e0 V", 3.6}, {current, "150mA", 0.15},
		// As typeset: no-break spaces, the minus sign, the Greek letter for micro, the sign for ohm.
		{voltage, "3.6\u00a0V", 3.6}, {voltage, "3.6\u202fV", 3.6}, {temperature, "\u22124 °C", -4}, {current, "150 \u03bcA", 150e-6}, {resistance, "10 M\u2126", 1e7},
	} {
		got, err := c.d.parse(c.text)
		if err != nil || got != c.want {
			t.Errorf("%q is %v (%v), want %v", c.text, got, err, c.want)
		}
	}
	for _, text := range []string{"", "V", "1,5 V", "1e999 V", "NaN V", "3.6 v", "3.6 V V", "3 . 6 V"} {
		if got, err := voltage.parse(text); err == nil {
			t.Errorf("%q was read as %v", text, got)
		}
	}
	if v, _ := voltage.parse("0.1 V"); math.Abs(v-0.1) > 0 {
		t.Errorf("0.1 V is %v", v)
	}
}

func FuzzParse(f *testing.F) {
	f.Add(good)
	f.Add("a.b = {c = [1, 2], d = 1979-05-27}\n[[x]]\ny=1")
	f.Fuzz(func(t *testing.T, text string) {
		b, err := Parse("bench.toml", []byte(text))
		if (b == nil) == (err == nil) {
			t.Errorf("bench %v and error %v", b, err)
		}
	})
}
