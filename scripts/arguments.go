package scripts

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"
)

// maxListLength bounds a list of volts.
const maxListLength = 1000

// Check checks given against the call's options and returns the arguments in
// their one recorded form: every quantity in SI as a number, defaults filled in.
// Checking the result again returns it unchanged. Values are float64, string,
// bool, []any and map[string]any, as encoding/json makes them.
func (c Call) Check(given map[string]any) (map[string]any, error) {
	for name := range sorted(given) {
		if !slices.Contains(c.optionNames(), name) {
			return nil, fmt.Errorf("%s has no option %s (found %s = %s); allowed: %s%s",
				c.Name, show(name), name, show(given[name]), c.allowed(), Suggest(name, c.optionNames()))
		}
	}
	arguments := map[string]any{}
	for _, o := range c.Options {
		value, found := given[o.Name]
		switch {
		case found:
			checked, err := o.checkNamed(value)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", c.Name, err)
			}
			arguments[o.Name] = checked
		case o.Required:
			return nil, fmt.Errorf("%s: %s is missing; wanted: %s", c.Name, o.Name, o.wanted())
		case o.Default != nil:
			arguments[o.Name] = o.Default
		}
	}
	return arguments, nil
}

// checkJSON is Check for arguments that arrive as JSON, and returns them as the
// JSON that is recorded: keys sorted, no blanks.
func (c Call) checkJSON(arguments json.RawMessage) (json.RawMessage, error) {
	var given map[string]any
	if err := json.Unmarshal(arguments, &given); err != nil {
		return nil, fmt.Errorf("%s: arguments are not a JSON object: %w", c.Name, err)
	}
	checked, err := c.Check(given)
	if err != nil {
		return nil, err
	}
	return encode(checked)
}

// encode writes JSON with sorted keys and leaves <, > and & readable.
func encode(value any) (json.RawMessage, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(value); err != nil {
		return nil, err
	}
	return bytes.TrimSpace(b.Bytes()), nil
}

func (c Call) optionNames() []string {
	var names []string
	for _, o := range c.Options {
		names = append(names, o.Name)
	}
	slices.Sort(names)
	return names
}

func (c Call) allowed() string {
	if len(c.Options) == 0 {
		return "none"
	}
	return strings.Join(c.optionNames(), ", ")
}

// checkNamed returns value in SI and in range. Its errors begin with the option's name.
func (o Option) checkNamed(value any) (any, error) {
	if given, ok := value.(map[string]any); ok && o.Kind == Table {
		return Call{Name: o.Name, Options: o.Fields}.Check(given)
	}
	checked, err := o.check(value)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", o.Name, err)
	}
	return checked, nil
}

// check returns value in SI and in range. Fields of a table are checkNamed's.
func (o Option) check(value any) (any, error) {
	switch o.Kind {
	case Volts:
		return o.quantity(value, voltUnits, 1e6)
	case Seconds:
		return o.quantity(value, secondUnits, 1e9)
	case Share:
		return o.quantity(value, shareUnits, 1e9)
	case VoltsList:
		return o.list(value)
	case Moment:
		s, ok := value.(string)
		if _, err := time.Parse("15:04", s); !ok || err != nil {
			return nil, o.refuse(value)
		}
		return s, nil
	case Table:
		return nil, o.refuse(value)
	case Count:
		n, ok := value.(float64)
		if !ok || n != math.Trunc(n) || !o.inRange(n) {
			return nil, o.refuse(value)
		}
		return n, nil
	case Choice:
		s, ok := value.(string)
		if !ok || !slices.Contains(o.Choices, s) {
			return nil, fmt.Errorf("%w%s", o.refuse(value), Suggest(s, o.Choices))
		}
		return s, nil
	default:
		s, ok := value.(string)
		if !ok || !o.inRange(float64(len(s))) {
			return nil, o.refuse(value)
		}
		s = strings.ToValidUTF8(s, "\uFFFD")
		if strings.ContainsFunc(s, func(r rune) bool {
			return unicode.IsControl(r) && !(o.Lines && (r == '\n' || r == '\t'))
		}) {
			return nil, o.refuse(value)
		}
		return s, nil
	}
}

func (o Option) quantity(value any, units []unit, perUnit float64) (any, error) {
	var number float64
	switch v := value.(type) {
	case float64:
		number = v
	case string:
		parsed, err := parseQuantity(v, units)
		if err != nil {
			return nil, err
		}
		number = parsed
	default:
		return nil, o.refuse(value)
	}
	if number = round(number, perUnit); !o.inRange(number) {
		return nil, o.refuse(value)
	}
	return number, nil
}

func (o Option) list(value any) (any, error) {
	items, ok := value.([]any)
	if !ok || len(items) == 0 || len(items) > maxListLength {
		return nil, o.refuse(value)
	}
	one := with(o, func(o *Option) { o.Kind = Volts })
	checked := make([]any, len(items))
	for i, item := range items {
		v, err := one.check(item)
		if err != nil {
			return nil, fmt.Errorf("entry %d: %w", i+1, err)
		}
		checked[i] = v
	}
	return checked, nil
}

// inRange is false for NaN.
func (o Option) inRange(v float64) bool { return v >= o.Min && v <= o.Max }

func (o Option) refuse(found any) error {
	return fmt.Errorf("found %s; allowed: %s", show(found), o.wanted())
}

// wanted says in words what the option takes.
func (o Option) wanted() string {
	switch o.Kind {
	case Volts:
		return fmt.Sprintf(`volts from %g to %g, as 3.3, "3.3 V" or "3300 mV"`, o.Min, o.Max)
	case VoltsList:
		return fmt.Sprintf("a list of 1 to %d voltages from %g to %g, as { 3.6, 3.3 }", maxListLength, o.Min, o.Max)
	case Seconds:
		return fmt.Sprintf(`seconds from %g to %g, as 1.5, "1.5 s", "250 ms", "10 min" or "8 h"`, o.Min, o.Max)
	case Share:
		return fmt.Sprintf(`a number from %g to %g, as 0.01 or "1 %%"`, o.Min, o.Max)
	case Moment:
		return `a time of day, as "06:30"`
	case Table:
		var fields []string
		for _, f := range o.Fields {
			fields = append(fields, f.Name)
		}
		return "a table with " + strings.Join(fields, ", ")
	case Count:
		return fmt.Sprintf("a whole number from %g to %.0f", o.Min, o.Max)
	case Choice:
		return strings.Join(o.Choices, ", ")
	default:
		lines := "one line of text"
		if o.Lines {
			lines = "text"
		}
		return fmt.Sprintf("%s of %g to %.0f bytes, without control characters", lines, o.Min, o.Max)
	}
}

// sorted walks a map in the order of its keys.
func sorted[V any](m map[string]V) func(yield func(string, V) bool) {
	return func(yield func(string, V) bool) {
		keys := make([]string, 0, len(m))
		for k := range m {
			keys = append(keys, k)
		}
		slices.Sort(keys)
		for _, k := range keys {
			if !yield(k, m[k]) {
				return
			}
		}
	}
}
