package recording

import (
	"bufio"
	"compress/gzip"
	"fmt"
	"io"
	"math"
	"os"
	"strings"

	"ringup/runner/verdict"
)

// File is what a file of waveforms holds.
type File struct {
	Name     string
	Layout   string // how it was read, in a sentence
	Channels []Channel
	Notes    Notes
	Warnings []string // what was left out or assumed

	// tables says that the file is of our own layout, in which names are roles: a
	// channel without a column was not recorded.
	tables bool
}

// Channel is one channel of a file: a record of plain samples, or a peak-detect trace.
type Channel struct {
	Name   string
	Column int // in the file, from 1; 0 if the file has none
	Record verdict.Record
	Peaks  verdict.Trace
}

// Plain reports whether the channel holds plain samples.
func (c Channel) Plain() bool { return len(c.Peaks.Min) == 0 }

// Len is the number of samples, or of bins.
func (c Channel) Len() int { return max(c.Record.Len(), len(c.Peaks.Min)) }

// Trace returns the channel in at most so many bins; a peak-detect one as it is.
func (c Channel) Trace(bins int) verdict.Trace {
	if c.Plain() {
		return c.Record.Peaks(bins)
	}
	return c.Peaks
}

// span returns when the channel begins and ends.
func (c Channel) span() (from, to float64) {
	if c.Plain() {
		return c.Record.StartSeconds, c.Record.EndSeconds()
	}
	return c.Peaks.StartSeconds, c.Peaks.StartSeconds + float64(len(c.Peaks.Min))*c.Peaks.StepSeconds
}

// Options say what a file does not.
type Options struct {
	StepSeconds float64 // between two samples, for a file that gives no time; 0: the file must
	Bytes       int64   // length of the file, to make room at once; 0: not known
}

// Open reads the file at a path. What is wrong with its content is an [*Error].
func Open(path string, o Options) (*File, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if info, err := f.Stat(); err == nil {
		if info.IsDir() {
			return nil, &Error{File: path, Found: "a folder", Expected: "a file of waveforms"}
		}
		o.Bytes = info.Size()
	}
	return Read(path, f, o)
}

// Read reads a file of waveforms; name stands for it in errors.
func Read(name string, from io.Reader, o Options) (*File, error) {
	buffered := bufio.NewReaderSize(from, 4096)
	if magic, err := buffered.Peek(2); err == nil && magic[0] == 0x1f && magic[1] == 0x8b {
		z, err := gzip.NewReader(buffered)
		if err != nil {
			return nil, &Error{name, 1, 1, "a damaged gzip file (" + err.Error() + ")", "a whole one"}
		}
		defer z.Close()
		buffered = bufio.NewReaderSize(unpacked{name, z}, 4096)
		o.Bytes *= 4
	}
	start, err := buffered.Peek(512)
	if len(start) == 0 {
		if err != nil && err != io.EOF {
			return nil, failed(name, err)
		}
		return nil, &Error{name, 1, 1, "an empty file", "a CSV file with a row for each sample, or raw samples under a JSON header"}
	}
	if trimmed := strings.TrimLeft(strings.TrimPrefix(string(start), "\xef\xbb\xbf"), " \t\r\n"); strings.HasPrefix(trimmed, "{") {
		return readRaw(name, buffered)
	}
	l, err := newLines(name, buffered)
	if err != nil {
		return nil, err
	}
	if tables(l.head()) {
		return readTables(l)
	}
	return readCSV(l, o)
}

// unpacked says of a gzip file that is cut off or damaged what is wrong with it.
type unpacked struct {
	name string
	from io.Reader
}

func (u unpacked) Read(b []byte) (int, error) {
	n, err := u.from.Read(b)
	if err != nil && err != io.EOF {
		err = &Error{File: u.name, Found: "a gzip file that is cut off or damaged (" + err.Error() + ")", Expected: "a whole one"}
	}
	return n, err
}

// readCSV reads a file whose layout must be found out.
func readCSV(l *lines, o Options) (*File, error) {
	y, err := settle(l)
	if err != nil {
		return nil, err
	}
	f := &File{Name: l.file, Notes: y.notes()}
	p, t, err := y.plan(l.file, f.Notes, o.StepSeconds)
	if err != nil {
		return nil, err
	}
	p.expect(y, o.Bytes)
	r := rows{plan: p, from: l, separator: y.separator, decimal: y.decimal}
	for y.first > 0 && l.number < y.first-1 {
		if _, err := l.next(); err != nil {
			return nil, err
		}
	}
	if y.first > 0 {
		if err := r.read(nil); err != nil {
			return nil, err
		}
	}
	f.Warnings = p.warnings
	for _, g := range p.groups {
		f.add(g, nil)
	}
	f.Layout = y.describe(p, t, r.count)
	return f, nil
}

// expect makes room for the rows that a file of that many bytes should have.
func (p *plan) expect(y *layout, bytes int64) {
	length := 0
	for _, row := range y.rows {
		length += len(row) + 1
	}
	if length == 0 {
		return
	}
	n := min(int(1.03*float64(bytes)*float64(len(y.rows))/float64(length)), mostSamples)
	for _, g := range p.groups {
		for _, c := range g.channels {
			c.store.expect = n
		}
	}
}

// add takes over the channels of a group that has been read.
func (f *File) add(g *group, converters map[string]converter) {
	a := g.axis
	if a.second && a.count > 1 { // the second row of the last time is missing
		a.count--
		a.last -= a.step
	}
	start, step, off := a.settle()
	if off > 1e-6 {
		f.warn("the times are written with few digits: steps, and so frequencies, may be off by %.2g ppm", 1e6*off)
	}
	for _, c := range g.channels {
		done := Channel{Name: c.name, Column: c.column}
		limits, known := converters[strings.ToLower(c.name)]
		if c.isPeaks() {
			c.peaks.trim()
			if c.peaks.missing > 0 {
				f.warn("%s: %d bins were never taken", c.name, c.peaks.missing)
			}
			done.Peaks = c.peaks.trace(start, step)
			if known {
				done.Peaks.LowVolts, done.Peaks.HighVolts, done.Peaks.Codes = limits.low(), limits.high(), limits.codes
				limits.snap(done.Peaks.Min)
				limits.snap(done.Peaks.Max)
			}
		} else {
			c.store.trim()
			if n := c.store.missing(); n > 0 {
				gaps := "one gap"
				if k := len(c.store.gaps); k > 1 {
					gaps = fmt.Sprintf("%d gaps", k)
				}
				f.warn("%s: %d samples were never taken, in %s", c.name, n, gaps)
			}
			done.Record = c.store.record(start, step)
			if known {
				limits.apply(&done.Record)
			}
		}
		f.plausible(done)
		f.Channels = append(f.Channels, done)
	}
}

// plausible warns of what is most likely a unit that the file does not name.
func (f *File) plausible(c Channel) {
	const mostLikely = 200 // V
	highest := 0.0
	t := c.Trace(100)
	for i := range t.Max {
		highest = max(highest, t.Max[i], -t.Min[i])
	}
	if highest > mostLikely {
		f.warn("%s reaches %.4g V; if it is in mV, its name must say so, like \"%s (mV)\"", c.Name, highest, c.Name)
	}
	if from, to := c.span(); to-from > 3600 {
		f.warn("%s lasts %.4g s; if its time is in µs or ns, the name of its column must say so, like \"time (ns)\"", c.Name, to-from)
	}
}

func (f *File) warn(format string, args ...any) {
	f.Warnings = append(f.Warnings, fmt.Sprintf(format, args...))
}

// describe says how a file was read.
func (y *layout) describe(p *plan, t timing, count int64) string {
	parted := map[byte]string{',': "comma", ';': "semicolon", '\t': "tab", ' ': "blank"}[y.separator] + "-separated"
	if len(y.body) == 1 && y.fields == 1 {
		parted = "one column"
	}
	if y.decimal == ',' {
		parted += ", decimal comma"
	}
	s := fmt.Sprintf("%s, %d rows", parted, count)
	if len(p.groups) > 0 {
		g := p.groups[0]
		_, exactStep, _ := g.axis.settle()
		switch step := short(exactStep); {
		case g.time != nil && g.axis.paired:
			s += fmt.Sprintf(", two a time of column %q, %s apart", g.time.title(), step)
		case g.time != nil:
			s += fmt.Sprintf(", time from column %q, %s apart", g.time.title(), step)
		default:
			s += fmt.Sprintf(", %s apart by %s", step, t.source)
		}
	}
	return s
}

// short writes a step for a sentence.
func short(seconds float64) string {
	for _, u := range []struct {
		factor float64
		name   string
	}{{1, "s"}, {1e3, "ms"}, {1e6, "µs"}, {1e9, "ns"}} {
		if v := seconds * u.factor; v >= 0.9999995 || u.name == "ns" {
			return fmt.Sprintf("%.6g %s", v, u.name)
		}
	}
	return ""
}

// converter is what turned a channel's volts into codes.
type converter struct {
	zero, code float64 // V: of code 0, and a code
	codes      int
}

func (c converter) low() float64  { return c.zero }
func (c converter) high() float64 { return c.zero + float64(c.codes-1)*c.code }

// onCode returns the code that a voltage is, if it is one.
func (c converter) onCode(v float64) (float64, bool) {
	exact := (v - c.zero) / c.code
	code := math.Round(exact)
	return code, math.Abs(exact-code) < 0.02 && code >= 0 && code < float64(c.codes)
}

// snap puts back what writing the voltages of codes in decimals took away, so that
// a voltage at a limit of the converter is exactly that.
func (c converter) snap(volts []float64) {
	for i, v := range volts {
		if code, ok := c.onCode(v); ok {
			volts[i] = c.zero + code*c.code
		}
	}
}

// apply puts volts back to the codes they were made of, or only notes the limits
// if they are none.
func (c converter) apply(r *verdict.Record) {
	if len(r.Volts) == 0 {
		return
	}
	codes := make([]uint16, len(r.Volts))
	for i, v := range r.Volts {
		code, ok := c.onCode(v)
		if !ok {
			r.LowVolts, r.HighVolts = c.low(), c.high()
			return
		}
		codes[i] = uint16(code)
	}
	r.Volts = nil
	r.ZeroCode, r.VoltsPerCode, r.LowCode, r.HighCode = -c.zero/c.code, c.code, 0, c.codes-1
	if c.codes > 256 {
		r.Codes16 = codes
		return
	}
	r.Codes8 = make([]uint8, len(codes))
	for i, v := range codes {
		r.Codes8[i] = uint8(v)
	}
}
