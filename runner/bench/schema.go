package bench

import (
	"fmt"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/pelletier/go-toml/v2/unstable"
)

// A setting is one key a bench file may have. set stores the value or says what was found instead.
type setting struct {
	key      string
	required bool // whenever its table is there at all, or the table itself is required
	allowed  string
	set      func(b *Bench, e entry) error
}

// settings lists every key there is. The order is that of the design's example.
var settings = []setting{
	text("unit.name", true, func(b *Bench) *string { return &b.Unit.Name }),
	quantity("unit.clock", true, frequency, 1e3, 200e6, func(b *Bench) *float64 { return &b.Unit.ClockHertz }),
	quantity("unit.max_volts", true, voltage, 0.1, 60, func(b *Bench) *float64 { return &b.Unit.MaxVolts }),
	quantity("unit.max_amps", true, current, 1e-6, 20, func(b *Bench) *float64 { return &b.Unit.MaxAmps }),

	text("supply.address", false, func(b *Bench) *string { return &b.Supply.Address }),
	text("supply.dialect", false, func(b *Bench) *string { return &b.Supply.Dialect }),
	whole("supply.channel", false, 1, 16, func(b *Bench) *int { return &b.Supply.Channel }),

	quantity("supply.set_by_hand", false, voltage, 0.1, 60, func(b *Bench) *float64 { return &b.SetByHandVolts }),

	text("switch.address", true, func(b *Bench) *string { return &b.Switch.Address }),
	choice("switch.line", func(b *Bench) *string { return &b.Switch.Line }, "DTR", "RTS"),
	boolean("switch.inverted", func(b *Bench) *bool { return &b.Switch.Inverted }),
	text("switch.dialect", false, func(b *Bench) *string { return &b.Switch.Dialect }),
	whole("switch.channel", false, 1, 9999, func(b *Bench) *int { return &b.Switch.Channel }),

	text("scope.address", true, func(b *Bench) *string { return &b.Scope.Address }),
	text("scope.dialect", false, func(b *Bench) *string { return &b.Scope.Dialect }),

	text("thermometer.address", true, func(b *Bench) *string { return &b.Thermometer.Address }),
	text("thermometer.dialect", false, func(b *Bench) *string { return &b.Thermometer.Dialect }),

	whole("probes.rail.channel", true, 1, 16, func(b *Bench) *int { return &b.Rail.Channel }),
	number("probes.rail.attenuation", 0.1, 1000, func(b *Bench) *float64 { return &b.Rail.Attenuation }),
	whole("probes.clock.channel", true, 1, 16, func(b *Bench) *int { return &b.Clock.Channel }),
	number("probes.clock.attenuation", 0.1, 1000, func(b *Bench) *float64 { return &b.Clock.Attenuation }),
	quantity("probes.clock.capacitance", false, capacitance, 0, 1e-9, func(b *Bench) *float64 { return &b.Clock.Farads }),
	quantity("probes.clock.resistance", false, resistance, 1e3, 1e12, func(b *Bench) *float64 { return &b.Clock.Ohms }),
	choice("probes.clock.loads", func(b *Bench) *string { return &b.Clock.Loads }, CrystalInput, CrystalOutput, Buffered, NearField),
	whole("probes.lamp.channel", true, 1, 16, func(b *Bench) *int { return &b.Lamp.Channel }),
	number("probes.lamp.attenuation", 0.1, 1000, func(b *Bench) *float64 { return &b.Lamp.Attenuation }),

	quantity("expect.start_within", true, duration, 1e-6, 3600, func(b *Bench) *float64 { return &b.Expect.StartWithinSeconds }),
	{key: "expect.amplitude_min", required: true, allowed: `a voltage or a percentage of the set volts, like "0.8 V" or "25 %", above 0 and up to 60 V or 200 %`, set: setAmplitude},
	quantity("expect.frequency_within", false, fraction, 1e-6, 0.5, func(b *Bench) *float64 { return &b.Expect.FrequencyWithin }),
	boolean("expect.frequency_from_alias", func(b *Bench) *bool { return &b.Expect.UseAlias }),
	quantity("expect.lamp", false, frequency, 0.01, 50, func(b *Bench) *float64 { return &b.Expect.LampHertz }),
	spread("expect.off_amps", func(b *Bench) *[2]float64 { return &b.Expect.OffAmps }),
	spread("expect.hung_amps", func(b *Bench) *[2]float64 { return &b.Expect.HungAmps }),
	spread("expect.running_amps", func(b *Bench) *[2]float64 { return &b.Expect.RunningAmps }),
	quantity("expect.rail_threshold", false, fraction, 0.1, 0.9, func(b *Bench) *float64 { return &b.Expect.RailFraction }),
	quantity("expect.residual_max", false, voltage, 1e-3, 5, func(b *Bench) *float64 { return &b.Expect.ResidualMaxVolts }),

	whole("run.hold_after_unread", false, 1, 1000, func(b *Bench) *int { return &b.HoldAfterUnread }),

	text("simulation.unit", false, func(b *Bench) *string { return &b.Simulation.Unit }),
	{key: "simulation.seed", allowed: "a whole number from 0", set: setSeed},
	{key: "simulation.start", allowed: "a date and time with its offset, like 2026-01-14T18:30:00+01:00", set: setStart},
	quantity("simulation.ambient_mean", false, temperature, -60, 90, func(b *Bench) *float64 { return &b.Simulation.Mean }),
	quantity("simulation.ambient_swing", false, temperature, 0, 40, func(b *Bench) *float64 { return &b.Simulation.Swing }),
	{key: "simulation.coldest_at", allowed: `a time after midnight with its unit, like "6 h", up to 24 h`, set: setColdest},
}

// requiredTables must be in every bench file; what a scope needs besides stands in together.go.
var requiredTables = []string{"unit", "supply", "expect"}

func text(key string, required bool, field func(*Bench) *string) setting {
	return setting{key, required, "a text in quotes that is not empty", func(b *Bench, e entry) error {
		if e.kind != unstable.String || strings.TrimSpace(e.text) == "" {
			return found(e)
		}
		if strings.ContainsFunc(e.text, unicode.IsControl) { // it stands in tables, and on terminals
			return fmt.Errorf("%q, which has control characters", e.text)
		}
		*field(b) = e.text
		return nil
	}}
}

func choice(key string, field func(*Bench) *string, among ...string) setting {
	quoted := make([]string, len(among))
	for i, a := range among {
		quoted[i] = strconv.Quote(a)
	}
	return setting{key, false, "one of " + strings.Join(quoted, ", "), func(b *Bench, e entry) error {
		if e.kind != unstable.String || !slices.Contains(among, e.text) {
			return found(e)
		}
		*field(b) = e.text
		return nil
	}}
}

func quantity(key string, required bool, d dimension, low, high float64, field func(*Bench) *float64) setting {
	return setting{key, required, d.allowed(low, high), func(b *Bench, e entry) error {
		if e.kind == unstable.Integer || e.kind == unstable.Float {
			return fmt.Errorf("the bare number %s, whose unit would be a guess", e.text)
		}
		if e.kind != unstable.String {
			return found(e)
		}
		v, err := d.parse(e.text)
		if err != nil {
			return err
		}
		if v < low || v > high {
			return fmt.Errorf("%q, which is out of range", e.text)
		}
		*field(b) = v
		return nil
	}}
}

// spread is a current from and to, like "2.5 mA to 3.7 mA".
func spread(key string, field func(*Bench) *[2]float64) setting {
	return setting{key, false, `two currents with their units, like "2.5 mA to 3.7 mA", the smaller one first`, func(b *Bench, e entry) error {
		if e.kind != unstable.String {
			return found(e)
		}
		from, to, ok := strings.Cut(e.text, " to ")
		if !ok {
			return found(e)
		}
		low, err := current.parse(from)
		if err != nil {
			return err
		}
		high, err := current.parse(to)
		if err != nil {
			return err
		}
		if !(low >= 0 && high > low) {
			return fmt.Errorf("%q, whose second current must be above the first", e.text)
		}
		*field(b) = [2]float64{low, high}
		return nil
	}}
}

func number(key string, low, high float64, field func(*Bench) *float64) setting {
	return setting{key, false, fmt.Sprintf("a number from %g to %g", low, high), func(b *Bench, e entry) error {
		v, err := strconv.ParseFloat(strings.ReplaceAll(e.text, "_", ""), 64) // TOML's 1_000
		if e.kind != unstable.Integer && e.kind != unstable.Float || err != nil || !(v >= low && v <= high) {
			return found(e)
		}
		*field(b) = v
		return nil
	}}
}

func whole(key string, required bool, low, high int, field func(*Bench) *int) setting {
	return setting{key, required, fmt.Sprintf("a whole number from %d to %d", low, high), func(b *Bench, e entry) error {
		v, err := strconv.ParseInt(e.text, 0, 64) // as TOML has it: 0x10, 1_000
		if e.kind != unstable.Integer || err != nil || v < int64(low) || v > int64(high) {
			return found(e)
		}
		*field(b) = int(v)
		return nil
	}}
}

func boolean(key string, field func(*Bench) *bool) setting {
	return setting{key, false, "true or false", func(b *Bench, e entry) error {
		if e.kind != unstable.Bool {
			return found(e)
		}
		*field(b) = e.text == "true"
		return nil
	}}
}

func setAmplitude(b *Bench, e entry) error {
	if e.kind == unstable.Integer || e.kind == unstable.Float {
		return fmt.Errorf("the bare number %s, whose unit would be a guess", e.text)
	}
	if e.kind != unstable.String {
		return found(e)
	}
	if f, err := fraction.parse(e.text); err == nil {
		if f <= 0 || f > 2 {
			return fmt.Errorf("%q, which is out of range", e.text)
		}
		b.Expect.AmplitudeMinFraction = f
		return nil
	}
	v, err := voltage.parse(e.text)
	if err == nil && (v <= 0 || v > 60) {
		err = fmt.Errorf("%q, which is out of range", e.text)
	}
	b.Expect.AmplitudeMinVolts = v
	return err
}

func setSeed(b *Bench, e entry) (err error) {
	if e.kind != unstable.Integer {
		return found(e)
	}
	if b.Simulation.Seed, err = strconv.ParseUint(strings.TrimPrefix(e.text, "+"), 0, 64); err != nil {
		return found(e)
	}
	return nil
}

func setStart(b *Bench, e entry) (err error) {
	if e.kind != unstable.DateTime && e.kind != unstable.String {
		return found(e)
	}
	if b.Simulation.Start, err = time.Parse(time.RFC3339, e.text); err != nil {
		return found(e)
	}
	b.Simulation.Start = b.Simulation.Start.In(offsetZone(b.Simulation.Start))
	return nil
}

// offsetZone is the zone database's own name for a time's offset, so that the logbook can find it again. Only
// whole hours have one; other offsets become UTC.
func offsetZone(t time.Time) *time.Location {
	_, east := t.Zone()
	if zone, err := time.LoadLocation(fmt.Sprintf("Etc/GMT%+d", -east/3600)); err == nil && east%3600 == 0 {
		return zone
	}
	return time.UTC
}

func setColdest(b *Bench, e entry) error {
	if e.kind != unstable.String {
		return found(e)
	}
	seconds, err := duration.parse(e.text)
	if err == nil && (seconds < 0 || seconds > 86400) {
		err = fmt.Errorf("%q, which is out of range", e.text)
	}
	b.Simulation.ColdestAt = time.Duration(seconds * float64(time.Second))
	return err
}

// found describes a value as it stands in the file.
func found(e entry) error {
	switch e.kind {
	case unstable.String:
		return fmt.Errorf("%q", e.text)
	case unstable.Array:
		return fmt.Errorf("a list")
	default:
		return fmt.Errorf("%s", e.text)
	}
}

// checker gathers everything that is wrong with one file.
type checker struct {
	bench    *Bench
	name     string
	tables   map[string]Position
	problems Errors
}

func (c *checker) add(p Position, key, found, allowed string) {
	c.problems = append(c.problems, Problem{p, key, found, allowed})
}

func (c *checker) read(entries []entry) {
	for _, e := range entries {
		at := Position{c.name, e.line, e.column}
		i := slices.IndexFunc(settings, func(s setting) bool { return s.key == e.key })
		if i < 0 {
			c.add(Position{c.name, e.keyLine, e.keyColumn}, e.key, "an unknown key", siblings(e.key))
			continue
		}
		c.bench.where[e.key] = at
		if err := settings[i].set(c.bench, e); err != nil {
			c.add(at, e.key, err.Error(), settings[i].allowed)
		}
	}
	for table, at := range c.tables {
		if !known(table) {
			c.add(at, table, "an unknown table", tableNames())
		}
	}
}

func (c *checker) missing() {
	end := Position{c.name, strings.Count(c.bench.Text, "\n") + 1, 1}
	for _, table := range requiredTables {
		if _, ok := c.tables[table]; !ok {
			c.add(end, table, "no such table", "["+table+"] is needed in every bench file")
		}
	}
	for _, s := range settings {
		if _, ok := c.bench.where[s.key]; ok || !s.required {
			continue
		}
		table := s.key[:strings.LastIndex(s.key, ".")]
		if at, ok := c.tables[table]; ok {
			c.add(at, s.key, "nothing", s.allowed)
		}
	}
}

func (c *checker) sorted() *Errors {
	sort.SliceStable(c.problems, func(i, j int) bool {
		a, b := c.problems[i], c.problems[j]
		return a.Line < b.Line || a.Line == b.Line && a.Column < b.Column
	})
	return &c.problems
}

// siblings lists the keys that could have been meant: those of the same table.
func siblings(key string) string {
	table := key
	if i := strings.LastIndex(key, "."); i >= 0 {
		table = key[:i]
	}
	var names []string
	for _, s := range settings {
		if rest, ok := strings.CutPrefix(s.key, table+"."); ok && !strings.Contains(rest, ".") {
			names = append(names, rest)
		}
	}
	if len(names) == 0 {
		return tableNames()
	}
	return strings.Join(names, ", ") + " in [" + table + "]"
}

// known says whether any key lives in the table or below it.
func known(table string) bool {
	return slices.ContainsFunc(settings, func(s setting) bool { return strings.HasPrefix(s.key, table+".") })
}

func tableNames() string {
	var names []string
	for _, s := range settings {
		table := "[" + s.key[:strings.LastIndex(s.key, ".")] + "]"
		if !slices.Contains(names, table) {
			names = append(names, table)
		}
	}
	return "the tables " + strings.Join(names, " ")
}
