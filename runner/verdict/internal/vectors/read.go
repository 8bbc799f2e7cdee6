package vectors

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Read reads the text of a [File]. It is strict: a key that it does not know, a
// value that is not a code of its converter or a ragged row is an error, with
// its line.
func Read(r io.Reader) (File, error) {
	p := parser{file: File{Records: Records{SupplyVolts: math.NaN(), SupplyAmps: math.NaN()}}}
	lines := bufio.NewScanner(r)
	for lines.Scan() {
		p.line++
		if err := p.take(lines.Text()); err != nil {
			return File{}, fmt.Errorf("line %d: %w", p.line, err)
		}
	}
	if err := lines.Err(); err != nil {
		return File{}, fmt.Errorf("line %d: %w", p.line+1, err)
	}
	if p.file.Expect.Verdict == "" {
		return File{}, fmt.Errorf("line %d: the file ends without an expect: line that names a verdict", p.line)
	}
	if err := p.finish(); err != nil {
		return File{}, fmt.Errorf("line %d: %w", p.line, err)
	}
	return p.file, nil
}

// parser is a file half read.
type parser struct {
	file     File
	line     int
	record   string // the table being read
	start    float64
	step     float64
	channels []*reading
	cells    int // in a row; 0 before the header row
}

// reading is a channel half read.
type reading struct {
	name  string
	c     Channel
	peaks bool // two columns
}

func (p *parser) take(line string) error {
	rest, remark := strings.CutPrefix(line, "# ")
	switch {
	case line == "":
		return nil
	case remark:
		key, text, ok := strings.Cut(rest, ": ")
		if !ok {
			key, text = strings.TrimSuffix(rest, ":"), ""
		}
		return p.remark(key, text)
	case p.record == "":
		return fmt.Errorf("%q before any record: line", line)
	case p.cells == 0:
		return p.header(line)
	}
	return p.row(line)
}

func (p *parser) remark(key, text string) error {
	switch key {
	case "comment":
		p.file.Comment = text
	case "source":
		p.file.Source = text
	case "expect":
		return pairs(text, p.expect)
	case "supply":
		return pairs(text, p.supply)
	case "limits":
		return pairs(text, p.limit)
	case "record":
		if err := p.finish(); err != nil {
			return err
		}
		name, rest, _ := strings.Cut(text, " ")
		if !slices.Contains([]string{"envelope", "steady", "lamp"}, name) {
			return fmt.Errorf("record %q; it must be envelope, steady or lamp", name)
		}
		p.record = name
		return pairs(rest, func(key, v string) error {
			return quantities(key, v, map[string]*float64{"start_seconds": &p.start, "step_seconds": &p.step})
		})
	case "channel":
		name, rest, _ := strings.Cut(text, " ")
		if p.record == "" || p.cells > 0 {
			return errors.New("channel: stands between record: and the names of the columns")
		}
		c := &reading{name: name, c: Channel{StartSeconds: p.start, StepSeconds: p.step}}
		p.channels = append(p.channels, c)
		return pairs(rest, func(key, v string) error {
			return quantities(key, v, map[string]*float64{"zero_v": &c.c.ZeroVolts, "code_v": &c.c.CodeVolts})
		})
	default:
		return fmt.Errorf("key %q; it must be comment, source, expect, supply, limits, record or channel", key)
	}
	return nil
}

// header takes the names of a table's columns, which must be those of its channels in turn.
func (p *parser) header(line string) error {
	names := strings.Split(line, ",")
	p.cells = len(names)
	for _, r := range p.channels {
		switch {
		case len(names) > 0 && names[0] == r.name+"_v":
			names = names[1:]
		case len(names) > 1 && names[0] == r.name+"_min_v" && names[1] == r.name+"_max_v":
			r.peaks, names = true, names[2:]
		default:
			return fmt.Errorf("columns %q; channel %[2]s must have %[2]s_v, or %[2]s_min_v and %[2]s_max_v, here", line, r.name)
		}
		if !(r.c.StepSeconds > 0) || !(r.c.CodeVolts > 0) {
			return fmt.Errorf("channel %s has a step of %g s and a code of %g V; both must be above 0", r.name, r.c.StepSeconds, r.c.CodeVolts)
		}
	}
	if len(names) > 0 {
		return fmt.Errorf("column %q has no channel: line", names[0])
	}
	return nil
}

func (p *parser) row(line string) error {
	fields := strings.Split(line, ",")
	if len(fields) != p.cells {
		return fmt.Errorf("%d values, the table has %d columns", len(fields), p.cells)
	}
	k := 0
	for _, r := range p.channels {
		low, high := fields[k], fields[k]
		if r.peaks {
			k++
			high = fields[k]
		}
		k++
		if err := r.take(low, high); err != nil {
			return fmt.Errorf("column %d (%s): %w", k, r.name, err)
		}
	}
	return nil
}

// take adds a sample, or a missing one.
func (r *reading) take(low, high string) error {
	c, n := &r.c, len(r.c.Low)
	if low == "" && high == "" {
		if k := len(c.Gaps) - 1; k >= 0 && c.Gaps[k].To == n {
			c.Gaps[k].To++
		} else {
			c.Gaps = append(c.Gaps, Gap{n, n + 1})
		}
		var last, lastHigh uint8
		if n > 0 {
			last, lastHigh = c.Low[n-1], c.High[n-1]
		}
		c.Low, c.High = append(c.Low, last), append(c.High, lastHigh)
		return nil
	}
	codeLow, err := r.code(low)
	if err != nil {
		return err
	}
	codeHigh, err := r.code(high)
	if err != nil {
		return err
	}
	c.Low, c.High = append(c.Low, codeLow), append(c.High, codeHigh)
	return nil
}

func (r *reading) code(text string) (uint8, error) {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return 0, fmt.Errorf("%q is not a number", text)
	}
	code := (v - r.c.ZeroVolts) / r.c.CodeVolts
	whole := math.Round(code)
	if !(math.Abs(code-whole) < 0.01 && whole >= 0 && whole <= 255) {
		return 0, fmt.Errorf("%s V is not one of the 256 codes from %g V in steps of %g V", text, r.c.ZeroVolts, r.c.CodeVolts)
	}
	return uint8(whole), nil
}

// finish puts the channels of the table that ends where they belong.
func (p *parser) finish() error {
	for _, r := range p.channels {
		c := r.c
		if k := len(c.Gaps) - 1; k >= 0 && c.Gaps[k].To == len(c.Low) { // not a gap: the record ended
			c.Low, c.High = c.Low[:c.Gaps[k].From], c.High[:c.Gaps[k].From]
			c.Gaps = c.Gaps[:k:k]
		}
		if !r.peaks {
			c.High = c.Low
		}
		switch place := map[string]*Channel{
			"envelope rail": &p.file.Records.Rail, "envelope clock": &p.file.Records.Clock,
			"steady clock": &p.file.Records.Steady, "lamp lamp": &p.file.Records.Lamp,
		}[p.record+" "+r.name]; {
		case place == nil:
			return fmt.Errorf("the %s record has no channel %q", p.record, r.name)
		case len(place.Low) > 0:
			return fmt.Errorf("the %s of the %s record is there twice", r.name, p.record)
		default:
			*place = c
		}
	}
	p.channels, p.cells, p.start, p.step = nil, 0, 0, 0
	return nil
}
