package bench

import (
	"fmt"
	"strconv"
	"strings"
)

// together checks what only shows when several keys are read side by side.
func (c *checker) together() {
	c.channels()
	c.powering()
	c.simulated()
}

// channels gives every probe a scope channel of its own.
func (c *checker) channels() {
	used := map[int]string{}
	for _, probe := range []string{"probes.rail", "probes.clock", "probes.lamp"} {
		key := probe + ".channel"
		at, ok := c.bench.where[key]
		if !ok {
			continue
		}
		channel := map[string]func() int{
			"probes.rail": func() int { return c.bench.Rail.Channel }, "probes.clock": func() int { return c.bench.Clock.Channel },
			"probes.lamp": func() int { return c.bench.Lamp.Channel },
		}[probe]()
		if other, taken := used[channel]; taken && channel != 0 {
			c.add(at, key, fmt.Sprintf("channel %d, which %s has already", channel, other), "a scope channel of its own for every probe")
		}
		used[channel] = probe
	}
}

// powering checks that one thing, and one only, switches the unit's supply.
func (c *checker) powering() {
	b := c.bench
	at := func(key string) (Position, bool) { p, ok := b.where[key]; return p, ok }
	need := func(key, allowed string) {
		if _, ok := at(key); ok {
			return
		}
		if table, ok := c.tables["supply"]; ok {
			c.add(table, key, "nothing", allowed)
		}
	}
	refuse := func(allowed string, keys ...string) {
		for _, key := range keys {
			if p, ok := at(key); ok {
				c.add(p, key, "this key", allowed)
			}
		}
	}
	if b.Switch == nil {
		need("supply.address", "a text in quotes that is not empty; a supply without remote control needs a relay in its lead, described in [switch]")
		refuse("only with [switch]: a remote-controlled supply is set by the script", "supply.set_by_hand")
		return
	}
	need("supply.set_by_hand", "the voltage to which the supply is set by hand, like \"3.6 V\", since the relay of [switch] only switches it")
	refuse("nothing here: with [switch] the supply has no remote control; leave this out, or leave [switch] out", "supply.address", "supply.dialect", "supply.channel")
	if b.Switch.Line != "" {
		refuse("not together with switch.line: a line of an adapter has neither", "switch.dialect", "switch.channel")
		if p, ok := at("switch.address"); ok && b.Switch.Simulated() {
			c.add(p, "switch.address", strconv.Quote(b.Switch.Address), "a serial adapter with switch.line; the simulated relay has no lines")
		}
	} else {
		refuse("only with switch.line", "switch.inverted")
	}
	if p, ok := at("supply.set_by_hand"); ok && b.Unit.MaxVolts > 0 && b.SetByHandVolts > b.Unit.MaxVolts {
		c.add(p, "supply.set_by_hand", voltage.format(b.SetByHandVolts), "at most unit.max_volts, "+voltage.format(b.Unit.MaxVolts))
	}
}

// simulated checks that a bench is simulated or real, and its simulated instruments are in their places.
func (c *checker) simulated() {
	instruments := []Instrument{c.bench.Supply, c.bench.Scope}
	keys := []string{"supply.address", "scope.address"}
	if c.bench.Switch != nil {
		instruments[0], keys[0] = c.bench.Switch.Instrument, "switch.address"
	}
	if c.bench.Thermometer != nil {
		instruments, keys = append(instruments, *c.bench.Thermometer), append(keys, "thermometer.address")
	}
	for i, instrument := range instruments {
		at, ok := c.bench.where[keys[i]]
		if !ok || instrument.Address == "" {
			continue
		}
		if role := strings.TrimSuffix(keys[i], ".address"); instrument.Simulated() && instrument.Address != "sim:"+role {
			c.add(at, keys[i], strconv.Quote(instrument.Address), `"sim:`+role+`", the simulated bench's own`)
		}
		if instrument.Simulated() != c.bench.Simulated() {
			c.add(at, keys[i], strconv.Quote(instrument.Address), "simulated instruments only with each other: all sim:… or none")
		}
	}
}
