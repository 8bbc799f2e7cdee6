package dialect

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Settings are the values that an operation's placeholders take, in SI units;
// a yes/no setting is 1 or 0.
type Settings map[string]float64

// template is a command with placeholders {value:format}. The value is a
// setting's name, or an expression over several. Formats are .4f (so many
// decimals), .6e (exponent form), d (whole number), and YES|NO (two words for a
// yes/no setting).
type template struct {
	text  string
	parts []part
}

// part is literal text, or a placeholder if it has a format.
type part struct {
	literal, format string
	value           expression
}

var (
	placeholder  = regexp.MustCompile(`\{([^{}:]+):([^{}]*)\}`)
	numberFormat = regexp.MustCompile(`^\.([0-9]{1,2})([fe])$`)
	wordsFormat  = regexp.MustCompile(`^[A-Za-z0-9_]+\|[A-Za-z0-9_]+$`)
)

func parseTemplate(text string) (template, error) {
	t := template{text: text}
	if strings.TrimSpace(text) == "" {
		return t, fmt.Errorf("it is empty; a command is needed")
	}
	for i := range len(text) {
		if text[i] < ' ' || text[i] > '~' {
			return t, fmt.Errorf("%q holds byte %#02x; printable ASCII is allowed", text, text[i])
		}
	}
	at := 0
	for _, m := range placeholder.FindAllStringSubmatchIndex(text, -1) {
		name, format := text[m[2]:m[3]], text[m[4]:m[5]]
		value, err := parseExpression(name)
		if err != nil {
			return t, fmt.Errorf("{%s}: %w", name, err)
		}
		if format != "d" && !numberFormat.MatchString(format) && !wordsFormat.MatchString(format) {
			return t, fmt.Errorf("format %q of {%s} is not known; allowed are d, .4f, .6e (any number of decimals) and YES|NO (two words)", format, name)
		}
		t.parts = append(t.parts, part{literal: text[at:m[0]]}, part{value: value, format: format})
		at = m[1]
	}
	t.parts = append(t.parts, part{literal: text[at:]})
	for _, p := range t.parts {
		if strings.ContainsAny(p.literal, "{}") {
			return t, fmt.Errorf("%q holds a brace that belongs to no placeholder; a placeholder is {value:format}", text)
		}
	}
	return t, nil
}

// names are the settings that the template uses.
func (t template) names() []string {
	var names []string
	for _, p := range t.parts {
		if p.format != "" {
			names = append(names, p.value.names()...)
		}
	}
	return names
}

// render fills in the placeholders.
func (t template) render(s Settings) (string, error) {
	var b strings.Builder
	for _, p := range t.parts {
		b.WriteString(p.literal)
		if p.format == "" {
			continue
		}
		v, err := p.value.value(s, nil)
		if err != nil {
			return "", fmt.Errorf("%q: %w", t.text, err)
		}
		text, err := format(v, p.format)
		if err != nil {
			return "", fmt.Errorf("%q: {%s}: %w", t.text, p.value.text, err)
		}
		b.WriteString(text)
	}
	return b.String(), nil
}

func format(v float64, f string) (string, error) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "", fmt.Errorf("%v cannot be sent; a finite number is needed", v)
	}
	if yes, no, ok := strings.Cut(f, "|"); ok {
		if v != 0 {
			return yes, nil
		}
		return no, nil
	}
	v += 0 // no minus before a zero
	if f == "d" {
		if v != math.Trunc(v) || math.Abs(v) > 1<<53 {
			return "", fmt.Errorf("%v cannot be sent; a whole number is needed", v)
		}
		return strconv.FormatFloat(v, 'f', 0, 64), nil
	}
	m := numberFormat.FindStringSubmatch(f)
	decimals, err := strconv.Atoi(m[1])
	if err != nil {
		return "", err
	}
	return strconv.FormatFloat(v, map[string]byte{"f": 'f', "e": 'E'}[m[2]], decimals, 64), nil
}
