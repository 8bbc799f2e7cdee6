package vectors

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// File is one vector: the records with what must come of them. Its text is a
// CSV whose leading remarks describe it:
//
//	# comment: healthy unit at 3.6 V
//	# source: generator, closed form
//	# expect: verdict=started start_seconds=0.0043±0.0001 growth_seconds=none
//	# supply: set_volts=3.6 volts=3.6 amps=0.004
//	# limits: rail_fraction=0.5 clock_hertz=7372800 …
//	# record: envelope start_seconds=-0.0064 step_seconds=0.000108
//	# channel: rail zero_v=-1.28 code_v=0.02
//	# channel: clock zero_v=-2.56 code_v=0.04
//	rail_min_v,rail_max_v,clock_min_v,clock_max_v
//	0.00,0.02,-0.04,0.04
//
// A record line begins a table; there are up to three, envelope, steady and
// lamp. An empty cell is a sample that was never taken.
type File struct {
	Comment string // one sentence
	Source  string // what made it
	Expect  Expect
	Limits  Limits
	Records Records
}

// Expect is what must come of a vector.
type Expect struct {
	Verdict  string
	Lamp     string // dark, lit or blinking; "" is not checked
	Disagree string // yes or no; "" is not checked
	Warning  string // a word that a warning must hold; "" is not checked
	Measures []Measure
}

// Measure is what a measure must come to. A Value that is NaN says that the
// measure must not be there.
type Measure struct {
	Name          string
	Value, Within float64
}

// MeasureNames are the measures that a vector may state, in the order in which
// they are written.
var MeasureNames = []string{"start_seconds", "frequency_hz", "amplitude_v", "growth_seconds", "dropout_seconds",
	"rail_rise_seconds", "rail_v", "rail_sag_v", "lamp_hz"}

// set states a measure, in place of an earlier statement.
func (e *Expect) set(name string, value, within float64) {
	e.unset(name)
	e.Measures = append(e.Measures, Measure{name, value, within})
}

// unset leaves a measure open.
func (e *Expect) unset(name string) {
	for i, m := range e.Measures {
		if m.Name == name {
			e.Measures = append(e.Measures[:i:i], e.Measures[i+1:]...)
			return
		}
	}
}

// none states that measures must not be there.
func (e *Expect) none(names ...string) {
	for _, name := range names {
		e.set(name, math.NaN(), 0)
	}
}

// Bytes is the text of the file.
func (f File) Bytes() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "# comment: %s\n# source: %s\n", f.Comment, f.Source)
	b.WriteString("# expect: verdict=" + f.Expect.Verdict)
	for _, name := range MeasureNames {
		for _, m := range f.Expect.Measures {
			switch {
			case m.Name != name:
			case math.IsNaN(m.Value):
				fmt.Fprintf(&b, " %s=none", name)
			default:
				fmt.Fprintf(&b, " %s=%s±%s", name, number(m.Value), strconv.FormatFloat(m.Within, 'g', 3, 64))
			}
		}
	}
	word(&b, "lamp", f.Expect.Lamp)
	word(&b, "disagree", f.Expect.Disagree)
	word(&b, "warning", f.Expect.Warning)
	b.WriteString("\n# supply:")
	value(&b, "set_volts", f.Limits.SetVolts)
	value(&b, "volts", f.Records.SupplyVolts)
	value(&b, "amps", f.Records.SupplyAmps)
	b.WriteString("\n# limits:")
	l := f.Limits
	value(&b, "rail_fraction", l.RailFraction)
	value(&b, "clock_hertz", l.ClockHertz)
	value(&b, "frequency_within", l.FrequencyWithin)
	value(&b, "amplitude_min_v", l.AmplitudeMinVolts)
	value(&b, "start_within_seconds", l.StartWithinSeconds)
	value(&b, "watch_seconds", l.WatchSeconds)
	value(&b, "lamp_hertz", l.LampHertz)
	band(&b, "off_amps", l.OffAmps)
	band(&b, "hung_amps", l.HungAmps)
	band(&b, "running_amps", l.RunningAmps)
	if l.UseAlias {
		word(&b, "use_alias", "yes")
	}
	b.WriteByte('\n')
	r := f.Records
	table(&b, "envelope", column{"rail", r.Rail}, column{"clock", r.Clock})
	table(&b, "steady", column{"clock", r.Steady})
	table(&b, "lamp", column{"lamp", r.Lamp})
	return b.Bytes()
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', 9, 64) }

func value(b *bytes.Buffer, key string, v float64) {
	if v != 0 && !math.IsNaN(v) {
		fmt.Fprintf(b, " %s=%s", key, number(v))
	}
}

func word(b *bytes.Buffer, key, v string) {
	if v != "" {
		fmt.Fprintf(b, " %s=%s", key, v)
	}
}

func band(b *bytes.Buffer, key string, a Amps) {
	if a.High > 0 {
		fmt.Fprintf(b, " %s=%s..%s", key, number(a.Low), number(a.High))
	}
}

// column is a channel with its name.
type column struct {
	name string
	c    Channel
}

// table writes the channels that have samples, side by side.
func table(b *bytes.Buffer, record string, columns ...column) {
	rows := 0
	var header []string
	var kept []column
	for _, col := range columns {
		if len(col.c.Low) == 0 {
			continue
		}
		if rows == 0 {
			fmt.Fprintf(b, "# record: %s start_seconds=%s step_seconds=%s\n", record, number(col.c.StartSeconds), number(col.c.StepSeconds))
		}
		fmt.Fprintf(b, "# channel: %s zero_v=%s code_v=%s\n", col.name, number(col.c.ZeroVolts), number(col.c.CodeVolts))
		if col.c.Plain() {
			header = append(header, col.name+"_v")
		} else {
			header = append(header, col.name+"_min_v", col.name+"_max_v")
		}
		rows = max(rows, len(col.c.Low))
		kept = append(kept, col)
	}
	if rows == 0 {
		return
	}
	fmt.Fprintln(b, strings.Join(header, ","))
	for i := range rows {
		for k, col := range kept {
			if k > 0 {
				b.WriteByte(',')
			}
			cell(b, col.c, col.c.Low, i)
			if !col.c.Plain() {
				b.WriteByte(',')
				cell(b, col.c, col.c.High, i)
			}
		}
		b.WriteByte('\n')
	}
}

// cell writes one value, to a thousandth of a code, or nothing if there is none.
func cell(b *bytes.Buffer, c Channel, codes []uint8, i int) {
	if i >= len(codes) {
		return
	}
	for _, g := range c.Gaps {
		if i >= g.From && i < g.To {
			return
		}
	}
	text := strconv.FormatFloat(c.Volts(codes[i]), 'f', max(0, 3-int(math.Floor(math.Log10(c.CodeVolts)))), 64)
	text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	if text == "-0" || text == "" {
		text = "0"
	}
	b.WriteString(text)
}
