package recording

import (
	"slices"
	"strings"
)

// Note is a key of a file's header with its value.
type Note struct {
	Key, Value   string
	Line, Column int // of the key

	values []string // all cells after the key
	unit   string   // in brackets after the key
	remark bool     // written "# key: value"
}

// Notes are the keys of a file's header, in its order.
type Notes []Note

// Get returns the value of a "# key: value" line, "" if there is none.
func (n Notes) Get(key string) string {
	for _, note := range n {
		if note.remark && note.Key == key {
			return note.Value
		}
	}
	return ""
}

// find returns the first note of one of the keys, in the order of the keys.
func (n Notes) find(keys []string) *Note {
	for _, key := range keys {
		for i := range n {
			if plainKey(n[i].Key) == key {
				return &n[i]
			}
		}
	}
	return nil
}

// The keys that header lines use for the same thing, in the form of plainKey.
var (
	intervalKeys = []string{"sample interval", "sampling interval", "increment", "x increment", "xincrement", "xincr", "x incr", "delta t", "dt", "delta time",
		"time step", "timestep", "step", "sample period", "sampling period", "time increment", "time per sample", "horizontal interval", "time interval", "interval", "delta x", "tstep"}
	rateKeys  = []string{"sample rate", "sampling rate", "samplerate", "sample frequency", "sampling frequency", "samples per second", "rate", "fs"}
	startKeys = []string{"start", "start time", "x origin", "xorigin", "x zero", "xzero", "first sample", "time of first sample", "t0", "horizontal start", "begin",
		"first point", "start seconds"}
	triggerKeys = []string{"trigger point", "trigger position", "trigger sample", "trigger index", "pretrigger samples", "pre trigger samples"}
	sourceKeys  = []string{"source", "sources", "channel", "channels", "trace", "label", "labels", "name", "names"}
	voltageKeys = []string{"vertical units", "vertical unit", "y units", "y unit", "yunit", "vunit"}
	timeKeys    = []string{"horizontal units", "horizontal unit", "x units", "x unit", "xunit", "hunit", "time unit"}
	allKeys     = slices.Concat(intervalKeys, rateKeys, startKeys, triggerKeys, sourceKeys[:5], voltageKeys, timeKeys)
)

// plainKey is a key in lower case, without brackets and with single blanks.
func plainKey(key string) string {
	if i := strings.IndexAny(key, "(["); i > 0 {
		key = key[:i]
	}
	key = strings.NewReplacer("_", " ", "-", " ", ":", " ").Replace(strings.ToLower(key))
	return strings.Join(strings.Fields(key), " ")
}

// inBrackets is what a name holds in brackets, "" if nothing.
func inBrackets(name string) string {
	from := strings.LastIndexAny(name, "([")
	to := strings.LastIndexAny(name, ")]")
	if from < 0 || to <= from {
		return ""
	}
	return strings.TrimSpace(name[from+1 : to])
}

// notes reads the keys of all header lines.
func (y *layout) notes() Notes {
	var all Notes
	add := func(n Note) {
		n.unit = inBrackets(n.Key)
		all = append(all, n)
	}
	for _, h := range y.header {
		if comment(h.text) {
			body := strings.TrimLeft(text(h.text), "#")
			if key, value, ok := cut(body); ok {
				add(Note{Key: key, Value: value, Line: h.number, Column: 1 + strings.Index(text(h.text), key), values: []string{value}, remark: true})
			}
			continue
		}
		var filled []cell
		for _, c := range h.cells {
			if c.text != "" {
				filled = append(filled, c)
			}
		}
		switch {
		case len(filled) == 0:
		case len(filled) == 1:
			if key, value, ok := cut(filled[0].text); ok {
				add(Note{Key: key, Value: value, Line: h.number, Column: column(h.text, filled[0].at), values: []string{value}})
			}
		default:
			n := Note{Key: strings.TrimRight(filled[0].text, " :="), Value: filled[1].text, Line: h.number, Column: column(h.text, filled[0].at)}
			for _, c := range filled[1:] {
				n.values = append(n.values, c.text)
			}
			add(n)
		}
	}
	return all
}

// cut parts "key: value" or "key=value".
func cut(s string) (key, value string, ok bool) {
	i := strings.IndexAny(s, ":=")
	if i < 0 {
		return "", "", false
	}
	key, value = strings.TrimSpace(s[:i]), strings.TrimSpace(s[i+1:])
	return key, value, key != ""
}

// names finds the row of names and the row of units above the rows.
func (y *layout) names() (names, units *headerLine) {
	for i := len(y.header) - 1; i >= 0; i-- {
		h := &y.header[i]
		if h.beside || comment(h.text) || y.fields > 0 && len(h.cells) > y.fields+1 || strings.HasPrefix(strings.TrimSpace(h.cells[0].text), "%") ||
			y.separator != ';' && strings.HasPrefix(h.cells[0].text, ";") {
			continue
		}
		filled, numbers, unitsOnly := 0, 0, true
		for _, c := range y.columns(h) {
			if c.text == "" {
				continue
			}
			filled++
			if _, ok := whole([]byte(c.text), y.decimal); ok {
				numbers++
			}
			_, time, volts := unitOf(c.text)
			other := strings.ToLower(c.text)
			unitsOnly = unitsOnly && (time || volts || other == "sequence" || other == "a" || other == "amp" || other == "ampere")
		}
		_, _, pair := cut(h.cells[0].text)
		switch {
		case filled == 0 || 2*filled < len(y.body) || numbers > 0 || pair && len(h.cells) == 1:
			if units != nil {
				return nil, units
			}
		case slices.Contains(allKeys, plainKey(h.cells[0].text)) && !y.aboveColumns(h):
			return nil, units
		case unitsOnly && units == nil && filled > 0:
			units = h
		default:
			return h, units
		}
	}
	return nil, units
}

// aboveColumns reports whether a line that begins with a known key is a row of
// names all the same: "Source,CH1,CH2" above rows whose first cell is empty, or a
// column of that name.
func (y *layout) aboveColumns(h *headerLine) bool {
	key := plainKey(h.cells[0].text)
	return len(y.body) > 0 && y.body[0] > 0 && slices.Contains(sourceKeys, key) || len(h.cells) > 2 && key == "step"
}

// columns are the cells of a header line above the columns of numbers; all of
// them if there are no rows.
func (y *layout) columns(h *headerLine) []cell {
	if len(y.body) == 0 {
		return h.cells
	}
	var cells []cell
	for _, c := range y.body {
		if c < len(h.cells) {
			cells = append(cells, h.cells[c])
		} else {
			cells = append(cells, cell{at: len(h.text)})
		}
	}
	return cells
}
