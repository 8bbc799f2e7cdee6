package bench

import (
	"strings"
	"testing"
)

const bare = `[unit]
name      = "river-level logger 0231"
clock     = "7.3728 MHz"
max_volts = "3.9 V"
max_amps  = "150 mA"
[supply]
address = "sim:supply"
[expect]
start_within  = "65 ms"
amplitude_min = "0.8 V"
lamp          = "1 Hz"
frequency_from_alias = true
hung_amps     = "5.5 mA to 7 mA"
running_amps  = "2500 uA to 3.7 mA"
`

func TestWithoutScope(t *testing.T) {
	b, err := Parse("bench.toml", []byte(bare))
	if err != nil {
		t.Fatal(err)
	}
	if b.HasScope() || b.Expect.RunningAmps != [2]float64{2.5e-3, 3.7e-3} || b.Expect.HungAmps != [2]float64{5.5e-3, 7e-3} ||
		b.Expect.OffAmps != [2]float64{} || b.Expect.LampHertz != 1 || !b.Expect.UseAlias {
		t.Errorf("%+v", b.Expect)
	}
	for _, c := range []struct{ from, to, want string }{
		{`hung_amps     = "5.5 mA to 7 mA"` + "\n", "", `scope: found no such table; allowed: [scope] with its probes; or, to judge by the supply current alone, expect.running_amps and expect.hung_amps`},
		{"[expect]", "[probes.lamp]\nchannel = 1\n[expect]", `bench.toml:8:2: probes.lamp: found this table; allowed: nothing here without [scope]`},
		{`address = "sim:supply"`, "set_by_hand = \"3.6 V\"\n[switch]\naddress = \"sim:switch\"", `bench.toml:8:2: switch: found a relay and no scope`},
		{`"5.5 mA to 7 mA"`, `"7 mA"`, `expect.hung_amps: found "7 mA"; allowed: two currents with their units, like "2.5 mA to 3.7 mA"`},
		{`"5.5 mA to 7 mA"`, `"7 mA to 5.5 mA"`, `whose second current must be above the first`},
		{`"5.5 mA to 7 mA"`, `"5.5 to 7 mA"`, `expect.hung_amps: found "5.5" without a unit`},
		{`"5.5 mA to 7 mA"`, `7`, `expect.hung_amps: found 7`},
	} {
		text := strings.Replace(bare, c.from, c.to, 1)
		if _, err := Parse("bench.toml", []byte(text)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s:\ngot  %v\nwant %s", c.to, err, c.want)
		}
	}
}
