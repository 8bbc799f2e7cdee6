package simbench

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// decimal is flexible numeric program data of IEEE 488.2 (NRf) followed by an optional unit.
var decimal = regexp.MustCompile(`^([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))(?:[Ee]([+-]?[0-9]+))?\s*([A-Za-z]*)$`)

// multipliers are the unit multipliers of IEEE 488.2 (7.7.3); M is milli, MA is mega.
var multipliers = map[string]float64{
	"": 1, "EX": 1e18, "PE": 1e15, "T": 1e12, "G": 1e9, "MA": 1e6, "K": 1e3,
	"M": 1e-3, "U": 1e-6, "N": 1e-9, "P": 1e-12, "F": 1e-15, "A": 1e-18,
}

// number reads parameter i as a decimal number within low…high, with an optional unit ("" for a bare number).
func (c call) number(i int, unit string, low, high float64) (float64, *scpiError) {
	text := c.parameters[i]
	parts := decimal.FindStringSubmatch(text)
	if parts == nil {
		if strings.ContainsRune("+-.0123456789", rune(text[0])) {
			return 0, errorf(-121, "%s", text)
		}
		return 0, errorf(-104, "%s is not a number", text)
	}
	mantissa, exponent, suffix := parts[1], parts[2], strings.ToUpper(parts[3])
	if len(mantissa) > 255 {
		return 0, errorf(-124, "%d digits", len(mantissa))
	}
	if e, err := strconv.Atoi(exponent); exponent != "" && (err != nil || e > 32000 || e < -32000) {
		return 0, errorf(-123, "%s", exponent)
	}
	scale := 1.0
	if suffix != "" {
		if unit == "" {
			return 0, errorf(-138, "%s", suffix)
		}
		prefix, ok := strings.CutSuffix(suffix, unit)
		factor, known := multipliers[prefix]
		if !ok || !known {
			return 0, errorf(-131, "%s; the unit is %s", suffix, unit)
		}
		scale = factor
	}
	if exponent != "" {
		mantissa += "E" + exponent
	}
	// The only failure left is a number beyond float64, which comes back as infinity and is out of range.
	v, _ := strconv.ParseFloat(mantissa, 64)
	if v *= scale; v < low || v > high {
		return 0, errorf(-222, "%g, allowed %g to %g", v, low, high)
	}
	return v, nil
}

// whole reads parameter i as an integer within low…high; decimals are rounded as IEEE 488.2 asks.
func (c call) whole(i, low, high int) (int, *scpiError) {
	v, err := c.number(i, "", float64(low)-0.5, float64(high)+0.49)
	if err != nil {
		return 0, err
	}
	return min(max(int(v+0.5), low), high), nil
}

// boolean reads parameter i as ON, OFF or a number, where everything that rounds to 0 is off.
func (c call) boolean(i int) (bool, *scpiError) {
	switch strings.ToUpper(c.parameters[i]) {
	case "ON":
		return true, nil
	case "OFF":
		return false, nil
	}
	if !decimal.MatchString(c.parameters[i]) {
		return false, errorf(-224, "%s, allowed ON, OFF, 1, 0", c.parameters[i])
	}
	n, err := c.whole(i, -32768, 32767)
	return n != 0, err
}

// word reads parameter i as one of the given words, long or short form, and returns its place among them.
func (c call) word(i int, allowed ...string) (int, *scpiError) {
	text := strings.ToUpper(c.parameters[i])
	at := slices.IndexFunc(allowed, func(w string) bool {
		short := strings.TrimRight(w, "abcdefghijklmnopqrstuvwxyz")
		return text == short || text == strings.ToUpper(w)
	})
	if at < 0 {
		return 0, errorf(-224, "%s, allowed %s", c.parameters[i], strings.Join(allowed, ", "))
	}
	return at, nil
}

// real answers a quantity as NR3 response data.
func real(v float64) []byte { return fmt.Appendf(nil, "%+.6E", v) }

// integer answers a count or a register as NR1 response data.
func integer(n int) []byte { return strconv.AppendInt(nil, int64(n), 10) }

// flag answers a boolean as NR1 response data, 1 or 0.
func flag(on bool) []byte {
	if on {
		return []byte("1")
	}
	return []byte("0")
}

// block answers bytes as a definite-length arbitrary block of IEEE 488.2 (8.7.9).
func block(data []byte) []byte {
	count := strconv.Itoa(len(data))
	reply := make([]byte, 0, 2+len(count)+len(data))
	reply = append(reply, '#', byte('0'+len(count)))
	reply = append(reply, count...)
	return append(reply, data...)
}
