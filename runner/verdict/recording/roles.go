package recording

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"ringup/runner/verdict"
)

// Roles name the channels to be judged, by name or by number of column. An empty
// name is found out; [None] says that there is no such channel.
type Roles struct{ Rail, Clock, Steady, Lamp string }

// None in [Roles] is for a channel that was not recorded.
const None = "none"

// Asked is why a channel was taken that [Roles] names.
const Asked = "as asked"

// Choice says which channel was taken for what, and why.
type Choice struct{ Role, Channel, Why string }

// The words by which channels are told, as whole words of their names or as
// their beginning.
var roleWords = map[string][]string{
	"rail":   {"rail", "vdd", "vcc", "supply", "vbat", "3v3", "power", "vcell", "vin"},
	"clock":  {"clock", "clk", "osc", "oscillator", "xtal", "xout", "xin", "crystal"},
	"steady": {"steady"},
	"lamp":   {"lamp", "led", "status"},
}

// named reports whether a name is one of a role.
func isNamed(name, role string) bool {
	words := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return strings.ContainsRune(" _-.:/()", r) })
	for _, w := range words {
		if slices.Contains(roleWords[role], w) {
			return true
		}
	}
	return false
}

// Evidence turns a file's channels into the evidence of one cycle. Times stay
// those of the file, unless the trigger (time 0) is outside it.
func (f *File) Evidence(r Roles) (verdict.Evidence, []Choice, error) {
	e := verdict.Evidence{SupplyVolts: math.NaN(), SupplyAmps: math.NaN()}
	asked := map[string]string{"rail": r.Rail, "clock": r.Clock, "steady": r.Steady, "lamp": r.Lamp}
	taken := map[string]*Channel{}
	var choices []Choice
	take := func(role string, c *Channel, why string) {
		taken[role] = c
		choices = append(choices, Choice{role, c.Name, why})
	}
	free := func() []*Channel {
		var all []*Channel
		for i := range f.Channels {
			c := &f.Channels[i]
			used := slices.ContainsFunc(choices, func(x Choice) bool { return x.Channel == c.Name })
			if !used {
				all = append(all, c)
			}
		}
		return all
	}
	order := []string{"rail", "clock", "steady", "lamp"}
	for _, role := range order {
		if name := asked[role]; name != "" && name != None {
			c, err := f.channel(name)
			if err != nil {
				return e, nil, err
			}
			take(role, c, Asked)
		}
	}
	for _, role := range order {
		if asked[role] != "" {
			continue
		}
		for _, c := range free() {
			if isNamed(c.Name, role) {
				take(role, c, "by its name")
				break
			}
		}
	}
	if taken["clock"] == nil && asked["clock"] != None && !f.tables {
		if err := f.guess(asked, taken, free, take); err != nil {
			return e, nil, err
		}
	}
	f.shift(taken)
	if c := taken["rail"]; c != nil {
		e.Rail, e.RailRecord = c.Peaks, c.Record
	} else {
		e.NoRail = asked["rail"] == None || !f.tables || !f.saysVolts()
	}
	if c := taken["clock"]; c != nil {
		e.Clock, e.ClockRecord = c.Peaks, c.Record
	}
	if c := taken["steady"]; c != nil {
		e.Steady, e.SteadyRecord = c.Peaks, c.Record
	}
	if c := taken["lamp"]; c != nil {
		const bins = 2000
		e.Lamp = c.Trace(bins)
	}
	return e, choices, nil
}

// saysVolts reports whether the file names a set voltage, and so had a rail to judge.
func (f *File) saysVolts() bool {
	var x verdict.Expect
	s, _, err := f.Expect(&x)
	return err == nil && s.SetVolts > 0
}

// channel finds a channel by name, or by number of column.
func (f *File) channel(name string) (*Channel, error) {
	for i := range f.Channels {
		if strings.EqualFold(f.Channels[i].Name, name) {
			return &f.Channels[i], nil
		}
	}
	if n, err := strconv.Atoi(name); err == nil {
		for i := range f.Channels {
			if f.Channels[i].Column == n {
				return &f.Channels[i], nil
			}
		}
	}
	return nil, &Error{File: f.Name, Found: fmt.Sprintf("no channel %q", name), Expected: "one of " + f.list()}
}

func (f *File) list() string {
	var names []string
	for _, c := range f.Channels {
		names = append(names, strconv.Quote(c.Name))
	}
	return strings.Join(names, ", ")
}

// looks is what a channel does, for telling a rail from a clock.
type looks struct {
	c      *Channel
	spread float64 // V, median peak-to-peak within a thousandth of the record's second half
	before float64 // V, lowest middle of such a part in the first half
	after  float64 // V, middle of the last tenth
}

func look(c *Channel) looks {
	l := looks{c: c}
	const bins = 1000
	if c.Len() == 0 {
		return l
	}
	t := c.Trace(bins)
	var mid, spread []float64
	per := max(1, len(t.Min)/bins)
	for i := 0; i+per <= len(t.Min); i += per {
		low, high := slices.Min(t.Min[i:i+per]), slices.Max(t.Max[i:i+per])
		mid, spread = append(mid, low/2+high/2), append(spread, high-low)
	}
	n := len(mid)
	l.spread = middle(spread[n/2:])
	l.before, l.after = slices.Min(mid[:n/2+1]), middle(mid[n-max(1, n/10):])
	return l
}

func middle(v []float64) float64 {
	v = slices.Clone(v)
	slices.Sort(v)
	return v[len(v)/2]
}

// rises reports whether a channel steps up and then stays, as a rail does.
func (l looks) rises() bool {
	return l.after-l.before > 0.5 && l.after-l.before > 3*l.spread
}

// guess tells rail and clock by what they do, where names say nothing.
func (f *File) guess(asked map[string]string, taken map[string]*Channel, free func() []*Channel, take func(string, *Channel, string)) error {
	var rest []looks
	for _, c := range free() {
		rest = append(rest, look(c))
	}
	if len(rest) > 1 && taken["rail"] == nil && asked["rail"] == "" {
		best := -1
		for i, l := range rest {
			// A clock's bias rises, too, but to half of the rail.
			if l.rises() && (best < 0 || l.after > 1.1*rest[best].after) {
				best = i
			}
		}
		if best >= 0 {
			take("rail", rest[best].c, fmt.Sprintf("it rises from %.2g V to %.3g V and stays there", rest[best].before, rest[best].after))
			rest = slices.Delete(rest, best, best+1)
		}
	}
	switch len(rest) {
	case 0:
		return &Error{File: f.Name, Found: "no channel left for the clock among " + orNone(f.list()), Expected: "a column named clock, or its name with --clock-channel"}
	case 1:
		why := "the only other channel"
		if len(f.Channels) == 1 {
			why = "the only channel"
		}
		take("clock", rest[0].c, why)
		return nil
	}
	slices.SortStableFunc(rest, func(a, b looks) int {
		switch {
		case a.spread > b.spread:
			return -1
		case a.spread < b.spread:
			return 1
		}
		return 0
	})
	if rest[0].spread > 3*rest[1].spread {
		take("clock", rest[0].c, fmt.Sprintf("it moves fastest, by %.2g V", rest[0].spread))
		return nil
	}
	return &Error{File: f.Name, Found: "more than one channel that may be the clock: " + f.list(), Expected: "its name with --clock-channel, and that of the rail with --rail"}
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}

// shift moves time 0 to the begin of a file that does not hold its trigger.
func (f *File) shift(taken map[string]*Channel) {
	first := taken["rail"]
	if first == nil {
		first = taken["clock"]
	}
	if first == nil || first.Len() == 0 {
		return
	}
	from, to := first.span()
	if from <= 0 && to >= 0 {
		if from == 0 && taken["rail"] == nil {
			f.warn("the record begins at its trigger: what came before is not known")
		}
		return
	}
	f.warn("the record runs from %s to %s and does not hold its trigger (0 s); times are counted from its begin", seconds(from), seconds(to))
	for i := range f.Channels {
		f.Channels[i].Record.StartSeconds -= from
		f.Channels[i].Peaks.StartSeconds -= from
	}
}
