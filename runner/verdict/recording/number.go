package recording

import (
	"bytes"
	"strconv"
)

// number is a decimal number as it was written.
type number struct {
	value  float64
	digits int // significant ones
	last   int // power of ten of the last one
}

// pow10 are the powers of ten that a float64 holds exactly.
var pow10 = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// parse reads the number at the beginning of b and returns how many bytes it
// takes, 0 if there is none. It is exact: what whole numbers and exact powers of
// ten cannot give is left to strconv.
func parse(b []byte, decimal byte) (n number, length int) {
	i, negative := 0, false
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		negative = b[0] == '-'
		i++
	}
	var mantissa uint64
	seen, point := 0, -1
	for ; i < len(b); i++ {
		c := b[i]
		if c >= '0' && c <= '9' {
			seen++
			if n.digits < 19 {
				mantissa = 10*mantissa + uint64(c-'0')
			}
			if mantissa > 0 {
				n.digits++
			}
		} else if c == decimal && point < 0 {
			point = i
		} else {
			break
		}
	}
	if seen == 0 {
		return number{}, 0
	}
	if point >= 0 {
		n.last = point + 1 - i
	}
	if i+1 < len(b) && (b[i] == 'e' || b[i] == 'E') {
		k, sign, exponent := i+1, 1, 0
		if b[k] == '-' || b[k] == '+' {
			if b[k] == '-' {
				sign = -1
			}
			k++
		}
		begin := k
		for ; k < len(b) && b[k] >= '0' && b[k] <= '9'; k++ {
			exponent = min(10*exponent+int(b[k]-'0'), 99999)
		}
		if k > begin {
			i = k
			n.last += sign * exponent
		}
	}
	switch {
	case mantissa == 0:
	case n.digits < 19 && mantissa < 1<<53 && n.last <= 0 && n.last >= -22:
		n.value = float64(mantissa) / pow10[-n.last]
	case n.digits < 19 && mantissa < 1<<53 && n.last > 0 && n.last <= 22:
		n.value = float64(mantissa) * pow10[n.last]
	default:
		text := b[:i]
		if decimal != '.' {
			text = bytes.Replace(text, []byte{decimal}, []byte{'.'}, 1)
		}
		v, err := strconv.ParseFloat(string(text), 64)
		if err != nil { // beyond any float64
			return number{}, 0
		}
		n.value = v
		return n, i
	}
	if negative {
		n.value = -n.value
	}
	return n, i
}

// whole reads a text that is a number and nothing else.
func whole(b []byte, decimal byte) (number, bool) {
	b = bytes.TrimSpace(b)
	n, length := parse(b, decimal)
	return n, length > 0 && length == len(b)
}
