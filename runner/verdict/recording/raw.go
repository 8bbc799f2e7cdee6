package recording

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"ringup/runner/verdict"
)

const (
	mostHeader = 1 << 20 // bytes
	mostRaw    = 1 << 30 // bytes
)

// rawHeader is the JSON object above raw samples.
type rawHeader struct {
	Samples      string            `json:"samples"`
	Format       string            `json:"format"`
	StartSeconds float64           `json:"start_seconds"`
	StepSeconds  float64           `json:"step_seconds"`
	Order        string            `json:"order"`
	PeakDetect   bool              `json:"peak_detect"`
	Channels     []rawChannel      `json:"channels"`
	Notes        map[string]string `json:"notes"`
}

type rawChannel struct {
	Name         string  `json:"name"`
	VoltsPerCode float64 `json:"volts_per_code"`
	ZeroCode     float64 `json:"zero_code"`
	LowCode      int     `json:"low_code"`
	HighCode     int     `json:"high_code"`
}

// formats are the sample formats: bytes of a sample, what turns them into a code
// from 0 up, and how far that moved the code.
var formats = map[string]struct {
	bytes int
	code  func([]byte) uint16
	moved int
	volts func([]byte) float64
}{
	"u8":    {1, func(b []byte) uint16 { return uint16(b[0]) }, 0, nil},
	"i8":    {1, func(b []byte) uint16 { return uint16(b[0] ^ 0x80) }, 0x80, nil},
	"u16le": {2, binary.LittleEndian.Uint16, 0, nil},
	"u16be": {2, binary.BigEndian.Uint16, 0, nil},
	"i16le": {2, func(b []byte) uint16 { return binary.LittleEndian.Uint16(b) ^ 0x8000 }, 0x8000, nil},
	"i16be": {2, func(b []byte) uint16 { return binary.BigEndian.Uint16(b) ^ 0x8000 }, 0x8000, nil},
	"f32le": {4, nil, 0, func(b []byte) float64 { return float64(math.Float32frombits(binary.LittleEndian.Uint32(b))) }},
	"f32be": {4, nil, 0, func(b []byte) float64 { return float64(math.Float32frombits(binary.BigEndian.Uint32(b))) }},
}

// readRaw reads raw samples under a JSON header.
func readRaw(name string, from *bufio.Reader) (*File, error) {
	var seen bytes.Buffer
	if b, _ := from.Peek(3); bytes.Equal(b, []byte("\xef\xbb\xbf")) {
		from.Discard(3)
	}
	d := json.NewDecoder(io.TeeReader(io.LimitReader(from, mostHeader), &seen))
	d.DisallowUnknownFields()
	var h rawHeader
	place := func(offset int64, found, expected string) error {
		b := seen.Bytes()[:min(max(offset, 0), int64(seen.Len()))]
		line := b[bytes.LastIndexByte(b, '\n')+1:]
		return &Error{name, 1 + bytes.Count(b, []byte{'\n'}), column(line, len(line)), found, expected}
	}
	at := func(key, found, expected string) error {
		return place(int64(max(0, bytes.Index(seen.Bytes(), []byte(`"`+key+`"`)))), found, expected)
	}
	if err := d.Decode(&h); err != nil {
		const expected = `a JSON object with "format", "step_seconds" and "channels"`
		var syntax *json.SyntaxError
		var kind *json.UnmarshalTypeError
		unknown, isUnknown := strings.CutPrefix(err.Error(), "json: unknown field ")
		switch {
		case errors.As(err, &syntax):
			return nil, place(syntax.Offset-1, "no JSON ("+syntax.Error()+")", expected)
		case errors.As(err, &kind):
			return nil, place(kind.Offset-1, "a "+kind.Value+" for "+kind.Field, "a "+kind.Type.String())
		case isUnknown:
			return nil, at(strings.Trim(unknown, `"`), "the key "+unknown, "the keys samples, format, start_seconds, step_seconds, order, peak_detect, channels, notes; in channels name, volts_per_code, zero_code, low_code, high_code")
		case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF):
			return nil, place(int64(seen.Len()), "the end of the file", "the rest of the JSON header")
		}
		return nil, failed(name, err)
	}
	if err := h.check(at); err != nil {
		return nil, err
	}
	data, err := h.data(name, io.MultiReader(bytes.NewReader(seen.Bytes()[d.InputOffset():]), from), at)
	if err != nil {
		return nil, err
	}
	f := &File{Name: name}
	for _, key := range slices.Sorted(maps.Keys(h.Notes)) {
		f.Notes = append(f.Notes, Note{Key: key, Value: h.Notes[key], Line: 1, Column: 1, values: []string{h.Notes[key]}, remark: true})
	}
	width := formats[h.Format].bytes
	frame := width * len(h.Channels)
	if h.PeakDetect {
		frame *= 2
	}
	if rest := len(data) % frame; rest != 0 {
		if h.Order == "sequential" && len(h.Channels) > 1 {
			return nil, &Error{File: name, Found: fmt.Sprintf("%d bytes of samples", len(data)), Expected: fmt.Sprintf("a multiple of %d: as many of each channel", frame)}
		}
		f.warn("the last %d bytes are no whole sample of every channel and are left out", rest)
		data = data[:len(data)-rest]
	}
	for i := range h.Channels {
		f.Channels = append(f.Channels, h.channel(i, data, width))
	}
	f.Layout = fmt.Sprintf("raw samples (%s), %d of each channel, %s apart", h.Format, len(data)/(width*len(h.Channels)), short(h.StepSeconds))
	return f, nil
}

// check finds what a header lacks.
func (h *rawHeader) check(at func(key, found, expected string) error) error {
	f, ok := formats[h.Format]
	switch {
	case !ok:
		return at("format", fmt.Sprintf("the format %q", h.Format), "one of u8, i8, u16le, u16be, i16le, i16be, f32le, f32be")
	case !(h.StepSeconds > 0):
		return at("step_seconds", fmt.Sprintf("step_seconds %v", h.StepSeconds), "the seconds between two samples of one channel, above 0")
	case h.Order != "" && h.Order != "interleaved" && h.Order != "sequential":
		return at("order", fmt.Sprintf("the order %q", h.Order), "interleaved or sequential")
	case len(h.Channels) == 0 || len(h.Channels) > mostFields:
		return at("channels", fmt.Sprintf("%d channels", len(h.Channels)), fmt.Sprintf("1 to %d", mostFields))
	}
	seen := map[string]bool{}
	for i, c := range h.Channels {
		key := strings.ToLower(c.Name)
		switch {
		case c.Name == "" || seen[key]:
			return at("channels", fmt.Sprintf("the name %q for channel %d", c.Name, i+1), "a name of its own for every channel")
		case f.code != nil && !(math.Abs(c.VoltsPerCode) > 0 && math.Abs(c.VoltsPerCode) < mostVolts):
			return at("channels", fmt.Sprintf("volts_per_code %v for channel %q", c.VoltsPerCode, c.Name), "what a code is worth, in volts")
		case math.Abs(c.ZeroCode) > 1e9 || c.LowCode > c.HighCode || c.LowCode < -1<<20 || c.HighCode > 1<<20:
			return at("channels", fmt.Sprintf("zero_code %v, low_code %d, high_code %d for channel %q", c.ZeroCode, c.LowCode, c.HighCode, c.Name), "codes of the format")
		}
		seen[key] = true
	}
	return nil
}

// data returns the samples: those that follow the header, or a file's.
func (h *rawHeader) data(name string, after io.Reader, at func(key, found, expected string) error) ([]byte, error) {
	if h.Samples == "" {
		b := bufio.NewReader(after)
		for _, end := range []byte("\r\n") {
			if c, err := b.Peek(1); err == nil && c[0] == end {
				b.Discard(1)
			}
		}
		return readAll(name, b)
	}
	if !filepath.IsLocal(h.Samples) {
		return nil, at("samples", fmt.Sprintf("the file %q", h.Samples), "a file in the folder of the header")
	}
	path := filepath.Join(filepath.Dir(name), h.Samples)
	f, err := os.Open(path)
	if err != nil {
		return nil, at("samples", err.Error(), "the file of samples beside its header")
	}
	defer f.Close()
	return readAll(path, f)
}

func readAll(name string, from io.Reader) ([]byte, error) {
	data, err := io.ReadAll(io.LimitReader(from, mostRaw+1))
	if err != nil {
		return nil, failed(name, err)
	}
	if len(data) > mostRaw {
		return nil, &Error{File: name, Found: fmt.Sprintf("more than %d bytes of samples", mostRaw), Expected: "a shorter record"}
	}
	return data, nil
}

// channel takes the samples of channel i out of all.
func (h *rawHeader) channel(i int, data []byte, width int) Channel {
	c, f := h.Channels[i], formats[h.Format]
	n := len(data) / width / len(h.Channels)
	first, stride := i*width, width*len(h.Channels)
	if h.Order == "sequential" {
		first, stride = i*n*width, width
	} else if h.PeakDetect { // lowest and highest of a channel stand together
		first = 2 * i * width
	}
	// sample returns where sample k of the channel stands.
	sample := func(k int) []byte {
		at := first + k*stride
		if h.PeakDetect && h.Order != "sequential" {
			at = first + k/2*2*stride + k%2*width
		}
		return data[at : at+width]
	}
	done := Channel{Name: c.Name}
	r := verdict.Record{
		StartSeconds: h.StartSeconds, StepSeconds: h.StepSeconds, ZeroCode: c.ZeroCode + float64(f.moved), VoltsPerCode: c.VoltsPerCode,
		LowCode: c.LowCode, HighCode: c.HighCode,
	}
	if c.LowCode != c.HighCode {
		r.LowCode, r.HighCode = c.LowCode+f.moved, c.HighCode+f.moved
	}
	if h.PeakDetect {
		var p peaks
		volts := f.volts
		if volts == nil {
			volts = func(b []byte) float64 { return (float64(f.code(b)) - r.ZeroCode) * r.VoltsPerCode }
		}
		for k := 0; k+1 < n; k += 2 {
			p.add(volts(sample(k)), volts(sample(k+1)))
		}
		done.Peaks = p.trace(h.StartSeconds, h.StepSeconds)
		if r.LowCode < r.HighCode {
			low, high := (float64(r.LowCode)-r.ZeroCode)*r.VoltsPerCode, (float64(r.HighCode)-r.ZeroCode)*r.VoltsPerCode
			done.Peaks.LowVolts, done.Peaks.HighVolts, done.Peaks.Codes = min(low, high), max(low, high), r.HighCode-r.LowCode+1
		}
		return done
	}
	switch {
	case f.volts != nil:
		r.ZeroCode, r.VoltsPerCode, r.LowCode, r.HighCode = 0, 0, 0, 0
		r.Volts = make([]float64, n)
		for k := range n {
			r.Volts[k] = f.volts(sample(k))
		}
	case width == 1 && f.moved == 0 && stride == 1:
		r.Codes8 = data[first : first+n]
	case width == 1:
		r.Codes8 = make([]uint8, n)
		for k := range n {
			r.Codes8[k] = uint8(f.code(sample(k)))
		}
	default:
		r.Codes16 = make([]uint16, n)
		for k := range n {
			r.Codes16[k] = f.code(sample(k))
		}
	}
	done.Record = r
	return done
}
