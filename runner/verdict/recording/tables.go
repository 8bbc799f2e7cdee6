package recording

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
)

// mark begins a table.
const mark = "# record:"

// tables reports whether the head of a file is of tables, or of nothing but the
// remarks above them.
func tables(head []byte) bool {
	if bytes.HasPrefix(head, []byte(mark)) || bytes.Contains(head, []byte("\n"+mark)) {
		return true
	}
	for line := range bytes.Lines(head) {
		if len(bytes.TrimSpace(line)) > 0 && !comment(line) {
			return false
		}
	}
	return bytes.Contains(head, []byte("# supply:"))
}

// readTables reads a file of tables.
func readTables(l *lines) (*File, error) {
	f := &File{Name: l.file, tables: true}
	var (
		table *timing
		name  string
		limit = map[string]converter{}
		begun = map[string]bool{}
	)
	// remark reads a line that begins with #.
	remark := func(line []byte) error {
		body := strings.TrimLeft(text(line), "# ")
		key, value, ok := cut(body)
		if !ok {
			return nil
		}
		at := 1 + strings.Index(text(line), key)
		switch key {
		case "record":
			word, rest, _ := strings.Cut(value, " ")
			v, err := settings(rest, "start_seconds", "step_seconds")
			if err == nil && !(v["step_seconds"] > 0) {
				err = errors.New("a table without step_seconds above 0")
			}
			if err == nil && (word != "envelope" && word != "steady" && word != "lamp" || begun[word]) {
				err = fmt.Errorf("the table %q", word)
			}
			if err != nil {
				return &Error{l.file, l.number, at, err.Error(), "# record: envelope start_seconds=-0.0064 step_seconds=0.000108, with each of envelope, steady and lamp at most once"}
			}
			name, table = word, &timing{interval: v["step_seconds"], start: v["start_seconds"]}
			begun[name] = true
			clear(limit)
		case "channel":
			word, rest, _ := strings.Cut(value, " ")
			v, err := settings(rest, "zero_v", "code_v", "codes")
			c := converter{v["zero_v"], v["code_v"], 256}
			if n, ok := v["codes"]; ok {
				c.codes = int(n)
			}
			if err == nil && (!(c.code > 0) || c.codes < 2 || c.codes > 1<<16) {
				err = errors.New("a converter without code_v above 0 or with less than 2 or more than 65536 codes")
			}
			if err != nil {
				return &Error{l.file, l.number, at, err.Error(), "# channel: clock zero_v=-2.56 code_v=0.04"}
			}
			limit[strings.ToLower(word)] = c
		default:
			f.Notes = append(f.Notes, Note{Key: key, Value: value, Line: l.number, Column: at, values: []string{value}, remark: true})
		}
		return nil
	}
	var pending []byte // the remark that ended a table
	total := int64(0)
	for {
		line := pending
		pending = nil
		if line == nil {
			var err error
			if line, err = l.next(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				return nil, err
			}
		}
		switch {
		case blank(line):
		case line[0] == '#':
			if err := remark(line); err != nil {
				return nil, err
			}
		case table == nil:
			return nil, l.fault(line, 0, shown(line), "a line that begins with "+mark+" before the first row")
		default:
			p, err := tablePlan(l, line, name, *table)
			if err != nil {
				return nil, err
			}
			r := rows{plan: p, from: l, separator: ',', decimal: '.'}
			err = r.read(func(line []byte) bool {
				if bytes.HasPrefix(line, []byte(mark)) {
					pending = bytes.Clone(line)
				}
				return pending != nil
			})
			if err != nil {
				return nil, err
			}
			total += r.count
			f.Warnings = append(f.Warnings, p.warnings...)
			converters := limit
			if name != "envelope" { // the channel is named after its table
				converters = map[string]converter{}
				for _, c := range p.groups[0].channels {
					if v, ok := limit[strings.ToLower(c.name)]; ok {
						converters[name] = v
					}
					c.name = name
				}
			}
			f.add(p.groups[0], converters)
			table = nil
		}
	}
	names := slices.Sorted(maps.Keys(begun))
	f.Layout = fmt.Sprintf("tables %s, %d rows", strings.Join(names, ", "), total)
	return f, nil
}

// tablePlan reads the names of a table.
func tablePlan(l *lines, line []byte, table string, t timing) (*plan, error) {
	cells := split(line, ',')
	p := &plan{fields: make([]field, len(cells))}
	g := &group{axis: &axis{factor: 1, step: t.interval, first: t.start}}
	p.groups = []*group{g}
	allowed := map[string][]string{"envelope": {"rail", "clock", "lamp"}, "steady": {"clock"}, "lamp": {"lamp"}}[table]
	for i, c := range cells {
		n := readName(c.text)
		if n.time || !slices.Contains(allowed, n.stem) {
			return nil, l.fault(line, c.at, strconv.Quote(c.text), "the name of a voltage of "+strings.Join(allowed, " or ")+", like "+allowed[0]+"_v, or "+allowed[0]+"_min_v and "+allowed[0]+"_max_v")
		}
		p.fields[i] = field{kind: voltage, part: n.part, name: c.text, factor: n.factor, group: g}
	}
	return p, p.join(func(c int, found, expected string) error { return l.fault(line, cells[c].at, found, expected) })
}

// settings reads "a=1 b=2" of known keys.
func settings(s string, keys ...string) (map[string]float64, error) {
	v := map[string]float64{}
	for word := range strings.FieldsSeq(s) {
		key, value, _ := strings.Cut(word, "=")
		if !slices.Contains(keys, key) {
			return v, fmt.Errorf("%q; known are %s", word, strings.Join(keys, ", "))
		}
		n, ok := whole([]byte(value), '.')
		if !ok {
			return v, fmt.Errorf("%q, which gives no number", word)
		}
		v[key] = n.value
	}
	return v, nil
}
