package recording

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
)

// mostVolts is beyond what any probe bears. Scopes write 9.9E37 for no value.
const mostVolts = 1e6

// rows reads the rows of a plan.
type rows struct {
	*plan
	from               *lines
	separator, decimal byte
	count              int64
}

// read reads all rows up to the end, or up to a remark that stop wants.
func (r *rows) read(stop func(line []byte) bool) error {
	for {
		line, err := r.from.next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if blank(line) {
			continue
		}
		if line[0] == '#' {
			if stop != nil && stop(line) {
				return nil
			}
			continue
		}
		if err := r.row(line); err != nil {
			if r.from.torn && r.count > 0 {
				r.warn("the file ends within row %d, which is left out", r.count+1)
				return nil
			}
			return err
		}
		r.count++
	}
}

func blank(line []byte) bool {
	for _, c := range line {
		if c != ' ' && c != '\t' {
			return false
		}
	}
	return true
}

// row reads the cells of a line, then hands them on.
func (r *rows) row(line []byte) error {
	i, n := 0, len(line)
	skip := func() {
		for i < n && (line[i] == ' ' || line[i] == '\t' && r.separator != '\t') {
			i++
		}
	}
	c := 0
	for {
		skip()
		if c >= len(r.fields) {
			for k := i; k < n; k++ {
				if line[k] != r.separator && line[k] != ' ' && line[k] != '\t' {
					return r.from.fault(line, k, fmt.Sprintf("a cell beyond the %d of the rows before", len(r.fields)), r.wanted())
				}
			}
			break
		}
		f := &r.fields[c]
		f.have, f.at = false, i
		quoted := i < n && line[i] == '"'
		if quoted {
			i++
		}
		if f.kind == skipped {
			for i < n && (line[i] != r.separator || quoted) {
				if line[i] == '"' {
					quoted = false
				}
				i++
			}
		} else {
			length := 0
			f.value, length = parse(line[i:], r.decimal)
			f.have = length > 0
			i += length
			if quoted && i < n && line[i] == '"' {
				i++
			}
			begin := i
			skip()
			if i < n && line[i] != r.separator && !(r.separator == ' ' && i > begin) {
				return r.notNumber(line, c)
			}
		}
		c++
		if i >= n {
			break
		}
		if r.separator != ' ' {
			i++
		}
	}
	if c < len(r.fields) {
		missing := false
		for k := c; k < len(r.fields); k++ {
			r.fields[k].have = false
			missing = missing || r.fields[k].kind != skipped
		}
		if missing {
			return r.from.fault(line, n, fmt.Sprintf("the end of the line after %d of %d cells", c, len(r.fields)), r.wanted())
		}
	}
	for _, g := range r.groups {
		if err := g.row(r, line); err != nil {
			return err
		}
	}
	return nil
}

// notNumber says what stands in column c instead of a number.
func (r *rows) notNumber(line []byte, c int) error {
	at := r.fields[c].at
	end := at
	for end < len(line) && line[end] != r.separator {
		end++
	}
	what := "a number for " + r.fields[c].title()
	if r.fields[c].kind == voltage {
		what += ", or an empty cell where no sample was taken"
	}
	return r.from.fault(line, at, shown(line[at:end]), what)
}

func (f *field) title() string {
	if f.name != "" {
		return f.name
	}
	return "the time"
}

// wanted lists the cells of a row.
func (r *rows) wanted() string {
	var names []string
	for i := range r.fields {
		if r.fields[i].kind != skipped {
			names = append(names, r.fields[i].title())
		}
	}
	return fmt.Sprintf("%d cells a row, with %s", len(r.fields), strings.Join(names, ", "))
}

// row takes a row's cells of one group.
func (g *group) row(r *rows, line []byte) error {
	have := false
	for _, c := range g.channels {
		for _, f := range [...]*field{c.low, c.high} {
			if f.have {
				have = true
				if v := f.value.value * f.factor; !(v > -mostVolts && v < mostVolts) {
					return r.from.fault(line, f.at, fmt.Sprintf("%v, which is no voltage", f.value.value), "a voltage for "+f.title()+", or an empty cell where no sample was taken")
				}
			}
		}
	}
	missing := 0
	if g.time != nil {
		if !g.time.have {
			if have || len(r.groups) == 1 {
				return r.from.fault(line, g.time.at, "no time", "a number for "+g.time.title()+" on each row")
			}
			g.ended = true
			return nil
		}
		if g.ended {
			return r.from.fault(line, g.time.at, "a time after rows without one", "no more of "+g.time.title()+" once its column has ended")
		}
		var found, expected string
		if missing, found, expected = g.axis.add(g.time.value); found != "" {
			return r.from.fault(line, g.time.at, found, expected)
		}
	} else {
		g.axis.count++
		g.axis.last = g.axis.first + float64(g.axis.count-1)*g.axis.step
	}
	if g.axis.count > mostSamples {
		return r.from.fault(line, 0, fmt.Sprintf("more than %d samples", mostSamples), "a shorter record, or a coarser one")
	}
	for _, c := range g.channels {
		if err := c.row(r, line, missing); err != nil {
			return err
		}
	}
	return nil
}

func (c *channel) row(r *rows, line []byte, missing int) error {
	switch {
	case c.paired:
		if missing > 0 {
			c.peaks.skip(missing)
		}
		v := c.low.value.value * c.low.factor
		if !c.low.have {
			v = math.NaN()
		}
		if !c.waiting {
			c.pending, c.waiting = v, true
			return nil
		}
		c.waiting = false
		if math.IsNaN(v) || math.IsNaN(c.pending) {
			c.peaks.skip(1)
		} else {
			c.peaks.add(c.pending, v)
		}
	case c.low != c.high:
		if missing > 0 {
			c.peaks.skip(missing)
		}
		if c.low.have != c.high.have {
			lone := c.low
			if c.low.have {
				lone = c.high
			}
			return r.from.fault(line, lone.at, "an empty cell", fmt.Sprintf("both %s and %s, or neither", c.low.title(), c.high.title()))
		}
		if !c.low.have {
			c.peaks.skip(1)
			return nil
		}
		low, high := c.low.value.value*c.low.factor, c.high.value.value*c.high.factor
		if low > high {
			return r.from.fault(line, c.low.at, fmt.Sprintf("a lowest voltage of %g V above the highest of %g V", low, high), "the lowest voltage first, or columns named min and max the other way round")
		}
		c.peaks.add(low, high)
	default:
		if missing > 0 {
			c.store.skip(missing)
		}
		if !c.low.have {
			c.store.skip(1)
			return nil
		}
		c.store.add(c.low.value.value * c.low.factor)
	}
	return nil
}
