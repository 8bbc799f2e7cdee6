package dialect

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"ringup/drivers/scpi"
)

// ask sends what is pending and a query, and reads the reply in its form.
func (d *Dialect) ask(ctx context.Context, t Talker, pending []string, query string, st step) (r Reply, err error) {
	if st.reply == BlockReply || st.reply == ByteReply {
		for _, m := range d.compose(pending) {
			if err := t.Write(ctx, m); err != nil {
				return r, err
			}
		}
		if st.reply == BlockReply {
			r.Block, err = t.QueryBlock(ctx, query)
			return r, err
		}
		data, err := t.QueryBytes(ctx, query, 1)
		if err == nil {
			r.bits(uint64(data[0]), st.mask)
		}
		return r, err
	}
	text, err := d.query(ctx, t, pending, query)
	if err != nil {
		return r, err
	}
	return parseReply(text, st)
}

// parseReply reads a reply line in the form its step names.
func parseReply(text string, st step) (r Reply, err error) {
	if st.prefix != "" {
		rest, ok := cutPrefixFold(strings.TrimSpace(text), strings.TrimSpace(st.prefix))
		if !ok {
			return r, fmt.Errorf("%w: %q does not begin with %q", scpi.ErrGarbled, shorten(text), st.prefix)
		}
		text = strings.TrimSpace(rest)
	}
	r.Text = text
	switch st.reply {
	case NumberReply:
		if r.Number, err = scpi.ParseNumber(text); err != nil {
			if _, withUnit := scpi.ParseQuantity(text); withUnit == nil {
				err = fmt.Errorf("%w: %q is a number with a unit; for those the dialect needs reply = \"quantity\"", scpi.ErrGarbled, shorten(text))
			}
		}
	case QuantityReply:
		r.Number, err = scpi.ParseQuantity(text)
	case NumbersReply:
		r.Numbers, err = scpi.ParseNumbers(text)
	case NamedReply:
		r.named, err = parseNamed(text)
	case BitsReply:
		var n uint64
		if n, err = parseBits(text); err == nil {
			r.bits(n, st.mask)
		}
	case BooleanReply:
		if r.Yes, err = scpi.ParseBoolean(text); r.Yes {
			r.Number = 1
		}
	}
	return r, err
}

// bits makes a yes or no of a register.
func (r *Reply) bits(n, mask uint64) {
	r.Yes = n&mask != 0
	r.Number = truth(r.Yes)
}

func cutPrefixFold(s, prefix string) (string, bool) {
	if len(s) < len(prefix) || !strings.EqualFold(s[:len(prefix)], prefix) {
		return "", false
	}
	return s[len(prefix):], true
}

// parseBits reads a row of 0 and 1.
func parseBits(text string) (uint64, error) {
	text = strings.TrimSpace(text)
	n, err := strconv.ParseUint(text, 2, 63)
	if err != nil || len(text) > 63 {
		return 0, fmt.Errorf("%w: %q is no row of 0 and 1", scpi.ErrGarbled, shorten(text))
	}
	return n, nil
}

// parseNamed reads names with values, separated by semicolons outside quotes:
// the names are in small letters, without the path before a colon, the values
// without their quotes.
func parseNamed(text string) (map[string]string, error) {
	found := map[string]string{}
	quoted := false
	pairs := strings.FieldsFunc(text, func(c rune) bool {
		if c == '"' {
			quoted = !quoted
		}
		return c == ';' && !quoted
	})
	if quoted {
		return nil, fmt.Errorf("%w: a quote in %q is not closed", scpi.ErrGarbled, shorten(text))
	}
	for _, pair := range pairs {
		name, value, ok := strings.Cut(strings.TrimSpace(pair), " ")
		name = strings.ToLower(name[strings.LastIndex(name, ":")+1:])
		if !ok || name == "" {
			return nil, fmt.Errorf("%w: %q is no name with a value", scpi.ErrGarbled, shorten(pair))
		}
		if _, twice := found[name]; twice {
			return nil, fmt.Errorf("%w: %s comes twice in %q", scpi.ErrGarbled, name, shorten(text))
		}
		found[name] = strings.Trim(strings.TrimSpace(value), `"`)
	}
	return found, nil
}

// gathering collects what the queries of one operation answered, by name.
type gathering struct {
	numbers map[string]float64
	texts   map[string]string
}

// add takes in one reply: a list by position, a named reply by its names, a
// single value by the name its step gives it.
func (g gathering) add(op operation, st step, r Reply) error {
	switch {
	case st.reply == NumbersReply && len(op.fields) > 0:
		if len(r.Numbers) != len(op.fields) {
			return fmt.Errorf("%w: %d values came, %d were expected (%s)", scpi.ErrGarbled, len(r.Numbers), len(op.fields), strings.Join(op.fields, ", "))
		}
		for i, name := range op.fields {
			g.numbers[name] = r.Numbers[i]
		}
	case st.reply == NamedReply:
		for _, name := range op.fields {
			text, ok := r.named[name]
			if !ok {
				return fmt.Errorf("%w: %q is missing in %q", scpi.ErrGarbled, name, shorten(r.Text))
			}
			g.text(name, text)
		}
	case st.as != "" && st.reply == TextReply:
		g.text(st.as, r.Text)
	case st.as != "":
		g.numbers[st.as] = r.Number
	}
	return nil
}

// text notes a value that is a word or a number.
func (g gathering) text(name, text string) {
	g.texts[name] = text
	if v, err := scpi.ParseNumber(text); err == nil {
		g.numbers[name] = v
	}
}

// fields computes the operation's values; a value that is not computed is taken
// as it came.
func (g gathering) fields(op operation, s Settings) (map[string]float64, error) {
	if len(op.values) == 0 {
		return g.numbers, nil
	}
	known := maps.Clone(g.numbers)
	for name, v := range s {
		if _, taken := known[name]; !taken {
			known[name] = v
		}
	}
	out := maps.Clone(g.numbers)
	for _, name := range slices.Sorted(maps.Keys(op.values)) {
		v, err := op.values[name].value(known, g.texts)
		if err != nil {
			return nil, fmt.Errorf("%w: %s = %q: %w", scpi.ErrGarbled, name, op.values[name].text, err)
		}
		out[name] = v
	}
	return out, nil
}

// state gives a reply its meaning.
func (op operation) state(t Talker, r *Reply) error {
	if len(op.meaning) == 0 {
		return nil
	}
	for _, m := range op.meaning {
		if m.fits(*r) {
			r.State = m.state
			return nil
		}
	}
	err := fmt.Errorf("%w: state %q has no meaning in this dialect", scpi.ErrGarbled, shorten(r.Text))
	t.Tear(err)
	return err
}

// fits says whether a reply has this meaning. Numbers are compared as such, so
// that "+0" equals "0".
func (m meaning) fits(r Reply) bool {
	whole := r.Number >= 0 && r.Number < 1<<53
	switch {
	case m.bits != 0:
		return whole && uint64(r.Number)&m.bits != 0
	case m.clear != 0:
		return whole && uint64(r.Number)&m.clear == 0
	case strings.EqualFold(strings.TrimSpace(r.Text), m.equals):
		return true
	}
	want, err := scpi.ParseNumber(m.equals)
	got, gotErr := scpi.ParseNumber(r.Text)
	return err == nil && gotErr == nil && got == want
}

// shorten keeps error texts readable.
func shorten(s string) string {
	if len(s) > 80 {
		return s[:77] + "..."
	}
	return s
}
