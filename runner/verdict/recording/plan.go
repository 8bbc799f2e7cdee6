package recording

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// timing is what the header tells of the time axis.
type timing struct {
	interval float64 // s; 0: not said
	start    float64 // s
	started  bool    // start is known
	source   string  // which key said so
}

// timing reads interval and start from the notes; given is what the caller says instead.
func (y *layout) timing(file string, notes Notes, given float64) (timing, error) {
	var t timing
	fail := func(n *Note, err error, expected string) error {
		return &Error{file, n.Line, n.Column, fmt.Sprintf("%s %v", n.Key, err), expected}
	}
	units := func(n *Note, table map[string]float64) (float64, error) {
		unit := n.unit
		if unit == "" && len(n.values) > 1 {
			unit = n.values[1]
		}
		if _, ok := table[strings.ToLower(unit)]; !ok {
			unit = ""
		}
		text := n.Value
		if _, ok := whole([]byte(text), y.decimal); ok {
			text += " " + unit
		}
		return quantity(text, y.decimal, table, true)
	}
	if given > 0 {
		t.interval, t.source = given, "the interval given"
	} else if n := notes.find(intervalKeys); n != nil {
		v, err := units(n, timeUnits)
		if err == nil && !(v > 0) {
			err = fmt.Errorf("%q", n.Value)
		}
		if err != nil {
			return t, fail(n, err, `a time above 0, like "1e-6" in seconds or "1 us"`)
		}
		t.interval, t.source = v, n.Key
	} else if n := notes.find(rateKeys); n != nil {
		v, err := units(n, rateUnits)
		if err == nil && !(v > 0 && 1/v > 0) {
			err = fmt.Errorf("%q", n.Value)
		}
		if err != nil {
			return t, fail(n, err, `a rate above 0, like "1e6" in samples a second or "1 MS/s"`)
		}
		t.interval, t.source = 1/v, n.Key
	}
	if n := notes.find(startKeys); n != nil {
		if v, err := units(n, timeUnits); err == nil && !math.IsInf(v, 0) {
			t.start, t.started = v, true
		}
	} else if n := notes.find(triggerKeys); n != nil && t.interval > 0 {
		if v, ok := whole([]byte(n.Value), y.decimal); ok && v.value >= 0 && (len(n.values) < 2 || strings.HasPrefix(strings.ToLower(n.values[1]), "sample") || strings.HasPrefix(strings.ToLower(n.values[1]), "point") || n.values[1] == "") {
			t.start, t.started = -v.value*t.interval, true
		}
	}
	return t, nil
}

// plan settles what every column of a layout is.
func (y *layout) plan(file string, notes Notes, given float64) (*plan, timing, error) {
	names, units := y.names()
	t, err := y.timing(file, notes, given)
	if err != nil {
		return nil, t, err
	}
	p := &plan{}
	count := y.fields
	body := y.body
	if len(body) == 0 && names != nil { // names without rows
		count = len(names.cells)
		for i := range names.cells {
			if names.cells[i].text != "" {
				body = append(body, i)
			}
		}
	}
	p.fields = make([]field, count)
	fault := func(c int, found, expected string) error {
		if names == nil {
			return &Error{file, max(1, y.first), 1, found, expected}
		}
		at := len(names.text)
		if c < len(names.cells) {
			at = names.cells[c].at
		}
		return &Error{file, names.number, column(names.text, at), found, expected}
	}
	var sources []string
	if n := notes.find(sourceKeys); names == nil && n != nil {
		sources = n.values
	}
	samples := y.sample(count)
	// startColumn: header columns beyond the body may hold start and increment.
	if names != nil && units != nil {
		y.startAndIncrement(names, units, &t)
	}
	var timeUnit, voltUnit string
	if n := notes.find(timeKeys); n != nil {
		timeUnit = n.Value
	}
	if n := notes.find(voltageKeys); n != nil {
		voltUnit = n.Value
	}
	anyTime := false
	infos := make([]named, count)
	for k, c := range body {
		f := &p.fields[c]
		if names != nil && c < len(names.cells) {
			f.name = names.cells[c].text
		}
		if f.name == "" && len(sources) > 0 {
			if i := k - (len(body) - len(sources)); i >= 0 && i < len(sources) {
				f.name = sources[i]
			}
		}
		n := readName(f.name)
		if units != nil && c < len(units.cells) && units.cells[c].text != "" {
			n.unitFrom(strings.Trim(units.cells[c].text, "()[]"))
			if strings.EqualFold(units.cells[c].text, "sequence") {
				n.index, n.time = true, false
			}
		}
		infos[c] = n
		anyTime = anyTime || n.time && !n.index
	}
	if !anyTime {
		if err := y.timeByContent(p, infos, body, samples, &t, file); err != nil {
			return nil, t, err
		}
	}
	var g *group
	for _, c := range body {
		f, n := &p.fields[c], infos[c]
		f.factor, f.part = n.factor, n.part
		switch {
		case n.index && !n.time:
			f.kind = index
		case n.time:
			f.kind = instant
			if !n.unit {
				if factor, isTime, _ := unitOf(timeUnit); isTime {
					f.factor = factor
				}
			}
			g = &group{time: f, axis: newAxis(samples[c], f.factor, t.interval)}
			if !(g.axis.step > 0) && len(samples[c]) > 1 {
				return nil, t, &Error{file, y.first, 1, "times that do not rise", "a time column that rises by even steps"}
			}
			f.group = g
			p.groups = append(p.groups, g)
		case n.other != "":
			f.kind = skipped
			p.warn("column %d (%s) is in %s, not in volts: left out", c+1, f.name, n.other)
		default:
			f.kind = voltage
			if !n.unit {
				if factor, _, volts := unitOf(voltUnit); volts {
					f.factor = factor
				}
			}
			if g == nil {
				g = &group{axis: &axis{factor: 1, step: t.interval, first: t.start}}
				p.groups = append(p.groups, g)
			}
			f.group = g
			if f.name == "" {
				f.name = fmt.Sprintf("column %d", c+1)
			}
		}
	}
	if err := p.join(fault); err != nil {
		return nil, t, err
	}
	channels := 0
	for _, g := range p.groups {
		channels += len(g.channels)
		if g.axis.paired {
			g.pair(p, samples, y)
		}
	}
	if channels == 0 {
		return nil, t, fault(0, "no column of voltages", "a time column and a column for each channel")
	}
	return p, t, nil
}

// startAndIncrement reads columns named start and increment, whose values stand
// on the row of units.
func (y *layout) startAndIncrement(names, units *headerLine, t *timing) {
	for c, name := range names.cells {
		if c >= len(units.cells) {
			break
		}
		n, ok := whole([]byte(units.cells[c].text), y.decimal)
		if !ok {
			continue
		}
		switch plainKey(name.text) {
		case "start":
			t.start, t.started = n.value, true
		case "increment":
			if n.value > 0 && t.interval == 0 {
				t.interval, t.source = n.value, name.text
			}
		}
	}
}

// timeByContent settles what gives the time if no column is named so: the
// header's interval, or a first column that rises by even steps.
func (y *layout) timeByContent(p *plan, infos []named, body []int, samples [][]number, t *timing, file string) error {
	if len(body) == 0 {
		return nil
	}
	first := body[0]
	rises := y.rises(samples[first])
	if t.interval > 0 {
		switch v := samples[first]; {
		case len(body) < 2 || !rises || p.fields[first].name != "" && !infos[first].index:
		case counts(v) && !(math.Abs(t.interval-1) < 0.01):
			infos[first].index = true // sample numbers
		case math.Abs((v[len(v)-1].value-v[0].value)/float64(len(v)-1)/t.interval-1) < 0.01:
			infos[first].time = true // in seconds, as the header's interval confirms
		}
		return nil
	}
	channel := slices.ContainsFunc([]string{"rail", "clock", "lamp"}, func(role string) bool { return isNamed(p.fields[first].name, role) })
	if len(body) > 1 && rises && !infos[first].index && !channel {
		infos[first].time = true
		p.warn("no column is named as time; column %d rises evenly and is taken for it, in seconds", first+1)
		return nil
	}
	var names []string
	for _, c := range body {
		if name := p.fields[c].name; name != "" {
			names = append(names, fmt.Sprintf("%q", name))
		}
	}
	found := "no time column and no sample interval"
	if len(names) > 0 {
		found += " (columns: " + strings.Join(names, ", ") + ")"
	}
	return &Error{file, y.first, 1, found, `a column named "time", a header line like "Sample Interval,1e-6", or the interval given with --interval 1us`}
}

// rises reports whether numbers rise all the way by much the same step.
func (y *layout) rises(v []number) bool {
	if len(v) < 3 {
		return len(v) == 2 && v[1].value > v[0].value
	}
	mean := (v[len(v)-1].value - v[0].value) / float64(len(v)-1)
	for i := range v[1:] {
		if d := v[i+1].value - v[i].value; !(d >= 0) || d > 2.5*mean {
			return false
		}
	}
	return mean > 0
}

// counts reports whether numbers are whole and rise by one.
func counts(v []number) bool {
	for i := range v[1:] {
		if v[i+1].value-v[i].value != 1 {
			return false
		}
	}
	return true
}

// sample reads the first rows, column by column.
func (y *layout) sample(fields int) [][]number {
	columns := make([][]number, fields)
	for _, row := range y.rows {
		for c, cell := range split(row, y.separator) {
			if c >= len(columns) {
				break
			}
			if n, ok := whole([]byte(cell.text), y.decimal); ok && n.value == n.value {
				columns[c] = append(columns[c], n)
			}
		}
	}
	return columns
}

// pair makes peak-detect channels of a group whose times all stand on two rows,
// if every two rows are in the same order; times of too few digits look the same.
func (g *group) pair(p *plan, samples [][]number, y *layout) {
	for _, c := range g.channels {
		v := samples[c.column-1]
		rising, falling := 0, 0
		for i := 0; i+1 < len(v); i += 2 {
			if v[i].value < v[i+1].value {
				rising++
			} else if v[i].value > v[i+1].value {
				falling++
			}
		}
		if c.low != c.high || rising > 0 && falling > 0 {
			*g.axis = *newAxis(samples[g.timeColumn(p)], g.axis.factor, g.axis.step/2)
			g.axis.paired = false
			return
		}
	}
	for _, c := range g.channels {
		c.paired = true
	}
}

func (g *group) timeColumn(p *plan) int {
	for i := range p.fields {
		if &p.fields[i] == g.time {
			return i
		}
	}
	return 0
}
