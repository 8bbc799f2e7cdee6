package vectors

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// pairs hands every key=value of a line to f.
func pairs(text string, f func(key, value string) error) error {
	for field := range strings.FieldsSeq(text) {
		key, v, ok := strings.Cut(field, "=")
		if !ok {
			return fmt.Errorf("%q is not key=value", field)
		}
		if err := f(key, v); err != nil {
			return err
		}
	}
	return nil
}

// quantities sets the number that key names.
func quantities(key, v string, known map[string]*float64) error {
	to, ok := known[key]
	if !ok {
		return fmt.Errorf("key %q is not known here", key)
	}
	x, err := strconv.ParseFloat(v, 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		return fmt.Errorf("%s=%s is not a number", key, v)
	}
	*to = x
	return nil
}

func (p *parser) expect(key, v string) error {
	e := &p.file.Expect
	switch key {
	case "verdict":
		e.Verdict = v
	case "lamp":
		e.Lamp = v
	case "disagree":
		e.Disagree = v
	case "warning":
		e.Warning = v
	default:
		if !slices.Contains(MeasureNames, key) {
			return fmt.Errorf("expect: key %q; it must be verdict, lamp, disagree, warning or one of %s", key, strings.Join(MeasureNames, ", "))
		}
		if v == "none" {
			e.none(key)
			return nil
		}
		value, within, ok := strings.Cut(v, "±")
		if !ok {
			return fmt.Errorf("%s=%s has no tolerance; write value±tolerance or none", key, v)
		}
		m := Measure{Name: key}
		known := map[string]*float64{"value": &m.Value, "tolerance": &m.Within}
		if err := quantities("value", value, known); err != nil {
			return fmt.Errorf("%s: %w", key, err)
		}
		if err := quantities("tolerance", within, known); err != nil {
			return fmt.Errorf("%s: %w", key, err)
		}
		e.set(m.Name, m.Value, m.Within)
	}
	return nil
}

func (p *parser) supply(key, v string) error {
	return quantities(key, v, map[string]*float64{"set_volts": &p.file.Limits.SetVolts,
		"volts": &p.file.Records.SupplyVolts, "amps": &p.file.Records.SupplyAmps})
}

func (p *parser) limit(key, v string) error {
	l := &p.file.Limits
	bands := map[string]*Amps{"off_amps": &l.OffAmps, "hung_amps": &l.HungAmps, "running_amps": &l.RunningAmps}
	if b := bands[key]; b != nil {
		low, high, _ := strings.Cut(v, "..")
		known := map[string]*float64{"low": &b.Low, "high": &b.High}
		if err := quantities("low", low, known); err != nil {
			return fmt.Errorf("%s: %w", key, err)
		}
		return quantities("high", high, known)
	}
	if key == "use_alias" && v == "yes" {
		l.UseAlias = true
		return nil
	}
	return quantities(key, v, map[string]*float64{"rail_fraction": &l.RailFraction, "clock_hertz": &l.ClockHertz,
		"frequency_within": &l.FrequencyWithin, "amplitude_min_v": &l.AmplitudeMinVolts,
		"start_within_seconds": &l.StartWithinSeconds, "watch_seconds": &l.WatchSeconds, "lamp_hertz": &l.LampHertz})
}
