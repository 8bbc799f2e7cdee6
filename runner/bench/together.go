package bench

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"ringup/drivers"
)

// together checks what only shows when several keys are read side by side.
func (c *checker) together() {
	c.scope()
	c.channels()
	c.powering()
	c.places()
	c.simulated()
}

// scope checks that a scope has its probes, and that a bench without one has what it is then judged by.
func (c *checker) scope() {
	end := Position{c.name, strings.Count(c.bench.Text, "\n") + 1, 1}
	if _, ok := c.tables["scope"]; ok {
		for _, table := range []string{"probes.rail", "probes.clock"} {
			if _, ok := c.tables[table]; !ok {
				c.add(end, table, "no such table", "["+table+"] is needed in every bench file with a scope")
			}
		}
		return
	}
	const without = "nothing here without [scope]: leave it out, or describe the scope in [scope]"
	probes := false
	for _, table := range []string{"probes.rail", "probes.clock", "probes.lamp"} {
		if at, ok := c.tables[table]; ok {
			c.add(at, table, "this table", without)
			probes = true
		}
	}
	if probes {
		return
	}
	if at, ok := c.tables["switch"]; ok {
		c.add(at, "switch", "a relay and no scope", "[scope] with its probes, since nothing else tells how the unit fares: a relay reads no current")
		return
	}
	if _, ok := c.bench.where["expect.running_amps"]; ok {
		if _, ok := c.bench.where["expect.hung_amps"]; ok {
			return
		}
	}
	c.add(end, "scope", "no such table", "[scope] with its probes; or, to judge by the supply current alone, expect.running_amps and expect.hung_amps")
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

// places gives every instrument a place of its own. An address that is none is an error where it is opened.
func (c *checker) places() {
	taken := map[string]string{}
	for _, i := range c.addressed() {
		place, err := drivers.Place(i.address)
		if err != nil || i.simulated() {
			continue
		}
		if other, twice := taken[place]; twice {
			c.add(c.bench.where[i.key()], i.key(), fmt.Sprintf("%q, where the %s is already", i.address, other), "an address of its own for every instrument; ringup find lists what is there")
		}
		taken[place] = i.role
	}
}

// addressed is an instrument that has an address.
type addressed struct{ role, address string }

func (a addressed) key() string     { return a.role + ".address" }
func (a addressed) simulated() bool { return strings.HasPrefix(a.address, "sim:") }

func (c *checker) addressed() []addressed {
	b := c.bench
	all := []addressed{{"supply", b.Supply.Address}, {"scope", b.Scope.Address}}
	if b.Switch != nil {
		all = append(all, addressed{"switch", b.Switch.Address})
	}
	if b.Thermometer != nil {
		all = append(all, addressed{"thermometer", b.Thermometer.Address})
	}
	return slices.DeleteFunc(all, func(a addressed) bool { return a.address == "" })
}

// simulated checks that a bench is simulated or real, and its simulated instruments are in their places.
func (c *checker) simulated() {
	for _, i := range c.addressed() {
		at := c.bench.where[i.key()]
		if i.simulated() && i.address != "sim:"+i.role {
			c.add(at, i.key(), strconv.Quote(i.address), `"sim:`+i.role+`", the simulated bench's own`)
		}
		if i.simulated() != c.bench.Simulated() {
			c.add(at, i.key(), strconv.Quote(i.address), "simulated instruments only with each other: all sim:… or none")
		}
	}
}
