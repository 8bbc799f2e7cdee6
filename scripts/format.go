package scripts

import (
	"fmt"
	"math"
	"regexp"
	"strings"

	lua "github.com/yuin/gopher-lua"
)

// directive is one conversion of string.format: flags, width, precision, letter.
var directive = regexp.MustCompile(`^%([-+ #0]*)([0-9]{0,2})(?:\.([0-9]{0,2}))?(.)`)

// stringFormat is string.format, strict: a wrong, missing or surplus argument is
// an error. The engine's own never fails and turns such arguments into text or
// zero, which then reach a log, a label or an instrument.
func stringFormat(L *lua.LState) int {
	format := L.CheckString(1)
	next := 2
	var out strings.Builder
	for len(format) > 0 {
		at := strings.IndexByte(format, '%')
		if at < 0 {
			out.WriteString(format)
			break
		}
		out.WriteString(format[:at])
		format = format[at:]
		if strings.HasPrefix(format, "%%") {
			out.WriteByte('%')
			format = format[2:]
			continue
		}
		parts := directive.FindStringSubmatch(format)
		if parts == nil {
			L.RaiseError("string.format: %s is not complete; write %%%% for a percent sign", show(format))
		}
		format = format[len(parts[0]):]
		if next > L.GetTop() {
			L.RaiseError("string.format: no argument for %s", parts[0])
		}
		text, err := convert(L, parts, L.Get(next))
		if err != nil {
			L.RaiseError("string.format: argument %d for %s: %v", next-1, parts[0], err)
		}
		out.WriteString(text)
		next++
	}
	if surplus := L.GetTop() + 1 - next; surplus > 0 {
		L.RaiseError("string.format: %d more argument(s) than the format has places for", surplus)
	}
	L.Push(lua.LString(out.String()))
	return 1
}

// convert formats one argument. parts are the groups of directive.
func convert(L *lua.LState, parts []string, argument lua.LValue) (string, error) {
	flags, letter := parts[1], parts[4]
	spec := strings.TrimSuffix(parts[0], letter)
	switch letter {
	case "d", "i":
		n, err := whole(argument)
		if err != nil {
			return "", err
		}
		return fmt.Sprintf(spec+"d", n), nil
	case "u", "o", "x", "X", "c":
		n, err := whole(argument)
		if err != nil {
			return "", err
		}
		if n < 0 {
			return "", fmt.Errorf("found %d; wanted a whole number that is not negative", n)
		}
		if letter == "c" {
			if n > 255 {
				return "", fmt.Errorf("found %d; wanted a byte, 0 to 255", n)
			}
			return string([]byte{byte(n)}), nil
		}
		return fmt.Sprintf(spec+strings.Replace(letter, "u", "d", 1), n), nil
	case "e", "E", "f", "g", "G":
		v, ok := argument.(lua.LNumber)
		if !ok {
			return "", fmt.Errorf("found %s; wanted a number", describe(argument))
		}
		if f := float64(v); math.IsNaN(f) || math.IsInf(f, 0) {
			return number(f), nil
		}
		// Without a precision Go writes the shortest exact form, C six digits.
		if !strings.Contains(spec, ".") {
			spec += ".6"
		}
		return fmt.Sprintf(spec+letter, float64(v)), nil
	case "s":
		if strings.Trim(flags, "-") != "" {
			return "", fmt.Errorf("%%s takes no flag but -")
		}
		text, err := printable(L, argument)
		if err != nil {
			return "", err
		}
		return fmt.Sprintf(spec+"s", text), nil
	case "q":
		text, ok := argument.(lua.LString)
		if !ok || spec != "%" {
			return "", fmt.Errorf("found %s; %%q wants a string and takes no width", describe(argument))
		}
		return quoted(string(text)), nil
	}
	return "", fmt.Errorf("there is no conversion %s; allowed: d i u o x X c e E f g G s q %%", letter)
}

// whole returns a number that is an integer and exact.
func whole(argument lua.LValue) (int64, error) {
	n, ok := argument.(lua.LNumber)
	if !ok {
		return 0, fmt.Errorf("found %s; wanted a number", describe(argument))
	}
	const exact = 1 << 53
	if f := float64(n); f != math.Trunc(f) || math.Abs(f) > exact {
		return 0, fmt.Errorf("found %s; wanted a whole number", number(f))
	}
	return int64(n), nil
}

// printable is what %s takes: text, a number, true or false, and a table that
// knows how to show itself, such as an error.
func printable(L *lua.LState, argument lua.LValue) (string, error) {
	switch argument.(type) {
	case lua.LString, lua.LNumber, lua.LBool:
		return toText(L, argument), nil
	}
	if L.GetMetaField(argument, "__tostring") != lua.LNil {
		return toText(L, argument), nil
	}
	return "", fmt.Errorf("found %s; wanted text or a number", describe(argument))
}

// quoted writes text as a Lua string literal.
func quoted(text string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", "\\\n", "\r", `\r`, "\x00", `\000`).Replace(text) + `"`
}

// describe names a Lua value for an error message.
func describe(v lua.LValue) string {
	switch v := v.(type) {
	case lua.LString:
		return "the text " + show(string(v))
	case lua.LNumber:
		return number(float64(v))
	}
	return v.Type().String()
}

// number writes a number for an error message, and the values that Go spells
// unlike C.
func number(v float64) string {
	switch {
	case math.IsNaN(v):
		return "nan"
	case math.IsInf(v, 1):
		return "inf"
	case math.IsInf(v, -1):
		return "-inf"
	}
	return fmt.Sprintf("%.14g", v)
}
