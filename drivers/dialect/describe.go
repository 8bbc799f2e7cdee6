package dialect

import (
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
)

// Validate reads one dialect file. All mistakes are reported together, each a
// *FileError with line and column.
func Validate(path string) (*Dialect, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return Parse(path, text)
}

// examples are the settings that Describe fills in.
var examples = Settings{
	"channel": 1, "volts": 3.3, "amps": 0.15, "on": 1, "closed": 1,
	"attenuation": 10, "low_volts": -0.4, "high_volts": 4.4, "range_volts": 4.8, "centre_volts": 2, "ac": 0,
	"peak": 1, "start_seconds": -0.002, "window_seconds": 0.08, "points": 4000, "level_volts": 1.65,
	"samples": 1000, "first_sample": 1, "last_sample": 1000, "chunk_samples": 1000,
}

// Example is what one operation would send, with example values filled in.
type Example struct {
	Operation string
	Settings  Settings
	// Messages are the messages in order, as they would go out, without the end
	// of line.
	Messages []string
	// Missing says that the dialect does not have the operation, and that an
	// instrument of this kind can do without it.
	Missing bool
}

// Describe lists every operation of the dialect's kind with the messages that
// it would send, in alphabetical order.
func (d *Dialect) Describe() ([]Example, error) {
	var out []Example
	for _, name := range slices.Sorted(maps.Keys(operations[d.Kind])) {
		e := Example{Operation: name, Settings: Settings{}}
		for _, setting := range operations[d.Kind][name].settings {
			e.Settings[setting] = examples[setting]
		}
		if name == "output_off" {
			e.Settings["on"] = 0
		}
		if name == "open" {
			e.Settings["closed"] = 0
		}
		op, ok := d.ops[name]
		if !ok {
			e.Missing = true
			out = append(out, e)
			continue
		}
		messages, err := d.messages(op, e.Settings)
		if err != nil {
			return nil, fmt.Errorf("dialect %s, operation %s: %w", d.Name, name, err)
		}
		e.Messages = messages
		out = append(out, e)
	}
	return out, nil
}

// messages renders an operation as Run would send it.
func (d *Dialect) messages(op operation, s Settings) ([]string, error) {
	var messages, pending []string
	for _, st := range op.steps {
		text, err := st.message.render(s)
		if err != nil {
			return nil, err
		}
		if st.ask && op.optional && len(pending) > 0 {
			messages, pending = append(messages, d.checked(pending)...), nil
		}
		pending = append(pending, text)
		switch {
		case !st.ask:
		case st.reply == BlockReply || st.reply == ByteReply:
			messages = append(messages, d.compose(pending[:len(pending)-1])...)
			messages = append(messages, text)
			pending = nil
		default:
			messages = append(messages, d.compose(pending)...)
			pending = nil
		}
	}
	if len(pending) > 0 {
		messages = append(messages, d.checked(pending)...)
	}
	return messages, nil
}

// checked is commands as Send would send them, with a look at the error queue.
func (d *Dialect) checked(commands []string) []string {
	if d.session.ErrorQuery != "" {
		commands = append(commands, d.session.ErrorQuery)
	}
	return d.compose(commands)
}

// String is the operation with its messages, as in
//
//	set_volts (volts 3.3): "VOLTage 3.3000", "VOLTage?"
func (e Example) String() string {
	if e.Missing {
		return e.Operation + ": not in this dialect"
	}
	var settings []string
	for _, name := range slices.Sorted(maps.Keys(e.Settings)) {
		settings = append(settings, fmt.Sprintf("%s %g", name, e.Settings[name]))
	}
	var messages []string
	for _, m := range e.Messages {
		messages = append(messages, fmt.Sprintf("%q", m))
	}
	text := e.Operation
	if len(settings) > 0 {
		text += " (" + strings.Join(settings, ", ") + ")"
	}
	return text + ": " + strings.Join(messages, ", ")
}
