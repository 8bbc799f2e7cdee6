package logbook

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"ringup/runner/verdict"
)

// column is one value of a cycle under the name it has in the book and in every
// export. At points into the cycle, so the same list serves to store, to read
// back and to export.
type column struct {
	name string
	at   any
}

// columns lists all of a cycle but its run, in the order of the exports.
func (c *Cycle) columns() []column {
	return []column{
		{"number", &c.Number},
		{"ordinal", &c.Ordinal},
		{"treatment", &c.Treatment},
		{"set_volts", &c.SetVolts},
		{"rest_seconds", &c.RestSeconds},
		{"watch_seconds", &c.WatchSeconds},
		{"begun", &c.Begun},
		{"powered_on", &c.PoweredOn},
		{"powered_off", &c.PoweredOff},
		{"ended", &c.Ended},
		{"verdict", &c.Verdict},
		{"reason", &c.Reason},
		{"disagree", &c.Disagree},
		{"warnings", &c.Warnings},
		{"start_seconds", &c.StartSeconds},
		{"censored", &c.Censored},
		{"frequency_hertz", &c.FrequencyHertz},
		{"amplitude_volts", &c.AmplitudeVolts},
		{"growth_seconds", &c.GrowthSeconds},
		{"rail_rise_seconds", &c.RailRiseSeconds},
		{"rail_volts", &c.RailVolts},
		{"dropout_seconds", &c.DropoutSeconds},
		{"lamp", &c.Lamp},
		{"lamp_hertz", &c.LampHertz},
		{"supply_volts", &c.SupplyVolts},
		{"supply_amps", &c.SupplyAmps},
		{"ambient_celsius", &c.AmbientCelsius},
		{"factors", &c.Factors},
		{"phases", &c.Phases},
	}
}

// stored is the column's name in the book, where times are nanoseconds.
func (c column) stored() string {
	if _, ok := c.at.(*time.Time); ok {
		return c.name + "_ns"
	}
	return c.name
}

// value is what the book stores for the column.
func (c column) value() any {
	switch v := c.at.(type) {
	case *float64:
		return number(*v)
	case *time.Time:
		return nanoseconds(*v)
	case *int:
		return *v
	case *bool:
		return *v
	case *string:
		return *v
	case *verdict.Verdict:
		return string(*v)
	case *verdict.Lamp:
		return string(*v)
	case *[]string:
		return jsonArray(*v)
	case *map[string]string:
		return jsonObject(*v)
	case *map[string]float64:
		measured := map[string]float64{}
		for name, x := range *v {
			if number(x) != nil {
				measured[name] = x
			}
		}
		return jsonObject(measured)
	}
	panic(fmt.Sprintf("column %s has no storage for %T", c.name, c.at))
}

// Scan takes the column's value from the book.
func (c column) Scan(src any) error {
	var ok bool
	switch v := c.at.(type) {
	case *float64:
		*v, ok = math.NaN(), src == nil
		switch n := src.(type) {
		case float64:
			*v, ok = n, true
		case int64: // the engine may hand out a whole number so
			*v, ok = float64(n), true
		}
	case *time.Time:
		*v, ok = time.Time{}, src == nil
		if ns, is := src.(int64); is {
			*v, ok = time.Unix(0, ns).UTC(), true
		}
	case *int:
		n, is := src.(int64)
		*v, ok = int(n), is
	case *bool:
		n, is := src.(int64)
		*v, ok = n != 0, is
	case *string:
		*v, ok = src.(string)
	case *verdict.Verdict:
		text, is := src.(string)
		*v, ok = verdict.Verdict(text), is
	case *verdict.Lamp:
		text, is := src.(string)
		*v, ok = verdict.Lamp(text), is
	case *[]string:
		text, is := src.(string)
		if is && text != "[]" { // an empty list is none
			return json.Unmarshal([]byte(text), v)
		}
		*v, ok = nil, is
	case *map[string]string, *map[string]float64:
		text, is := src.(string)
		if is {
			return json.Unmarshal([]byte(text), v)
		}
	}
	if !ok {
		return fmt.Errorf("column %s of a cycle holds %v (%T)", c.name, src, src)
	}
	return nil
}

// text is the column as a CSV field.
func (c column) text() string {
	switch v := c.at.(type) {
	case *float64:
		if number(*v) == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'g', -1, 64)
	case *time.Time:
		if v.IsZero() {
			return ""
		}
		return v.UTC().Format(time.RFC3339Nano)
	case *[]string:
		return strings.Join(*v, "; ")
	case **string:
		if *v == nil {
			return ""
		}
		return **v
	}
	return fmt.Sprint(c.value())
}

// json is the column as JSON.
func (c column) json() ([]byte, error) {
	switch v := c.at.(type) {
	case *float64:
		return json.Marshal(pointer(*v))
	case *time.Time:
		if v.IsZero() {
			return []byte("null"), nil
		}
		return json.Marshal(v.UTC())
	case *[]string, *map[string]string, *map[string]float64:
		return []byte(c.value().(string)), nil
	}
	return json.Marshal(c.value())
}

// jsonArray words a list as a JSON array, never as null.
func jsonArray(list []string) string {
	if len(list) == 0 {
		return "[]"
	}
	text, err := json.Marshal(list) // a list of strings always has JSON
	if err != nil {
		panic(err)
	}
	return string(text)
}

// jsonObject words a map as a JSON object, never as null.
func jsonObject[V any](m map[string]V) string {
	if len(m) == 0 {
		return "{}"
	}
	// Maps of strings, and of numbers that are finite, always have JSON.
	text, err := json.Marshal(m)
	if err != nil {
		panic(err)
	}
	return string(text)
}

// derived is what follows from the verdict and is not stored.
func derived(c *Cycle) []column {
	return []column{{"counted", new(c.Verdict.Counted())}, {"failed", new(c.Verdict.Failed())}}
}

// MarshalJSON gives the keys of the CSV export and the run, with null for what
// was not measured and for a switching that did not happen.
func (c Cycle) MarshalJSON() ([]byte, error) {
	columns := append([]column{{"run", new(int(c.Run))}}, c.columns()...)
	columns = append(columns, derived(&c)...)
	var out bytes.Buffer
	for i, column := range columns {
		value, err := column.json()
		if err != nil {
			return nil, fmt.Errorf("cycle %d: %s: %w", c.Number, column.name, err)
		}
		separator := ','
		if i == 0 {
			separator = '{'
		}
		fmt.Fprintf(&out, "%c%q:%s", separator, column.name, value)
	}
	out.WriteByte('}')
	return out.Bytes(), nil
}
