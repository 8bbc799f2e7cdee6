package recording

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// kind is what a column holds.
type kind uint8

const (
	skipped kind = iota
	instant
	index
	voltage
)

// part is which voltage a column of a peak-detect channel holds.
type part uint8

const (
	sampled part = iota
	lowest
	highest
)

// named is what the name of a column tells.
type named struct {
	stem   string // without unit, min and max
	part   part
	time   bool // names a time
	index  bool // names a count of rows
	factor float64
	unit   bool   // a unit of time or voltage was found
	other  string // a unit that is neither
}

var (
	timeNames  = []string{"time", "t", "second", "seconds", "x", "x axis", "xaxis", "time axis", "timebase", "timestamp"}
	indexNames = []string{"index", "sample", "samples", "sequence", "point", "points", "n", "no", "no.", "nr", "#", "i", "sample no"}
	lowNames   = []string{"minimum", "min", "lowest", "low", "lower"}
	highNames  = []string{"maximum", "max", "highest", "high", "upper"}
)

// readName reads the name of a column.
func readName(name string) named {
	n := named{factor: 1}
	stem := strings.TrimSpace(name)
	if unit := inBrackets(stem); unit != "" {
		n.unitFrom(unit)
		if n.unit || n.other != "" {
			stem = strings.TrimSpace(stem[:strings.LastIndexAny(stem, "([")])
		}
	} else if i := strings.LastIndexAny(stem, "_ "); i > 0 {
		if factor, time, volts := unitOf(stem[i+1:]); time || volts {
			n.factor, n.unit, n.time = factor, true, time
			stem = strings.TrimRight(strings.TrimSuffix(stem[:i], " in"), " ,:_") // "Channel 1 in V", "Channel 1, V"
		}
	}
	n.stem = stem
	plain := strings.Join(strings.Fields(strings.NewReplacer("_", " ", "-", " ", ".", " ").Replace(strings.ToLower(stem))), " ")
	n.time = n.time || slices.Contains(timeNames, plain)
	n.index = slices.Contains(indexNames, strings.TrimSpace(strings.ToLower(stem)))
	for part, words := range map[part][]string{lowest: lowNames, highest: highNames} {
		for _, w := range words {
			if rest, ok := strings.CutSuffix(plain, " "+w); ok {
				n.stem, n.part = stem[:len(rest)], part
				return n
			}
			if _, ok := strings.CutPrefix(plain, w+" "); ok {
				n.stem, n.part = strings.TrimSpace(strings.TrimLeft(stem[len(w):], " _-.")), part
				return n
			}
			if plain == w {
				n.stem, n.part = "", part
				return n
			}
		}
	}
	return n
}

func (n *named) unitFrom(text string) {
	factor, time, volts := unitOf(text)
	switch lower := strings.ToLower(text); {
	case time || volts:
		n.factor, n.unit, n.time = factor, true, n.time || time
	case ampUnits[lower] != 0, lower == "db", lower == "w", lower == "hz", lower == "°c", lower == "degc", lower == "ohm", lower == "vv", lower == "u":
		n.other = text
	}
}

// field is one column of the rows.
type field struct {
	kind    kind
	part    part
	name    string // as written
	factor  float64
	group   *group
	channel *channel

	// of the row read last
	have  bool
	value number
	at    int
}

// group are the columns of one time base.
type group struct {
	axis     *axis
	time     *field // nil: steps of the header's interval
	channels []*channel
	ended    bool
}

// channel is one channel while it is read: one column, or two of extremes.
type channel struct {
	name      string
	column    int
	low, high *field // the same one of a plain channel
	paired    bool   // two rows of each time
	pending   float64
	waiting   bool
	store     store
	peaks     peaks
}

func (c *channel) isPeaks() bool { return c.paired || c.low != c.high }

// plan tells what each column is.
type plan struct {
	fields   []field
	groups   []*group
	warnings []string
}

func (p *plan) warn(format string, args ...any) {
	p.warnings = append(p.warnings, fmt.Sprintf(format, args...))
}

// join makes channels of the columns of voltages: those of the same stem in one
// group that hold a minimum and a maximum become one.
func (p *plan) join(fault func(c int, found, expected string) error) error {
	half := map[*group]map[string]*channel{}
	for i := range p.fields {
		f := &p.fields[i]
		if f.kind != voltage {
			continue
		}
		stem := readName(f.name).stem
		if f.part != sampled {
			key := strings.ToLower(stem)
			if half[f.group] == nil {
				half[f.group] = map[string]*channel{}
			}
			c := half[f.group][key]
			if c == nil {
				if stem == "" {
					stem = "signal"
				}
				c = &channel{name: stem, column: i + 1}
				half[f.group][key] = c
				f.group.channels = append(f.group.channels, c)
			}
			if f.part == lowest && c.low != nil || f.part == highest && c.high != nil {
				return fault(i, fmt.Sprintf("a second column named %q", f.name), "a name of its own for every column")
			}
			f.channel = c
			if f.part == lowest {
				c.low = f
			} else {
				c.high = f
			}
			continue
		}
		c := &channel{name: stem, column: i + 1, low: f, high: f}
		f.channel = c
		f.group.channels = append(f.group.channels, c)
	}
	seen := map[string]*channel{}
	for _, g := range p.groups {
		for _, c := range g.channels {
			if c.low == nil || c.high == nil { // a name like "lamp low" that has no counterpart
				c.low, c.high = cmp.Or(c.low, c.high), cmp.Or(c.high, c.low)
				c.name = c.low.name
			}
			key := strings.ToLower(c.name)
			if before := seen[key]; before != nil {
				return fault(c.column-1, fmt.Sprintf("the name %q on columns %d and %d", c.name, before.column, c.column), "a name of its own for every channel")
			}
			seen[key] = c
		}
	}
	return nil
}
