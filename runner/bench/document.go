package bench

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// entry is one value of a TOML document and where it stands.
type entry struct {
	key          string // dotted, "probes.rail.channel"
	kind         unstable.Kind
	text         string // strings unquoted, everything else as written
	line, column int    // of the value
	keyLine      int
	keyColumn    int
}

// mostText bounds a file of settings: one that is larger is some other file.
const mostText = 1 << 20

// document flattens TOML into entries in file order and the positions of its tables. An array is kept as one entry,
// since no key takes one. Arrays of tables are refused: of [[unit]] twice the second would count, unnoticed.
func document(name string, text []byte) ([]entry, map[string]Position, error) {
	refuse := func(at Position, found, allowed string) error {
		return &Errors{{Position: at, Found: found, Allowed: allowed}}
	}
	switch top := (Position{name, 1, 1}); {
	case len(text) > mostText:
		return nil, nil, refuse(top, "more than 1 MiB", "a few dozen lines of TOML: is this the right file?")
	case bytes.HasPrefix(text, []byte("\xff\xfe")) || bytes.HasPrefix(text, []byte("\xfe\xff")):
		return nil, nil, refuse(top, "a file in UTF-16", "UTF-8: save it as that")
	}
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf")) // some editors begin a file with this mark of UTF-8
	var whole map[string]any
	if err := toml.Unmarshal(text, &whole); err != nil {
		var bad *toml.DecodeError
		if errors.As(err, &bad) {
			line, column := bad.Position()
			found := fmt.Sprintf("what is not TOML (%s)", strings.TrimPrefix(bad.Error(), "toml: "))
			return nil, nil, refuse(Position{name, line, column}, found, `TOML 1.0: lines such as key = "value" below a [table], each of them once`)
		}
		return nil, nil, fmt.Errorf("%s: %w", name, err)
	}
	var (
		p       unstable.Parser
		entries []entry
		tables  = map[string]Position{}
		lists   Errors
		prefix  string
	)
	p.Reset(text)
	at := func(r unstable.Range) Position {
		s := p.Shape(r).Start
		return Position{name, s.Line, s.Column}
	}
	var add func(prefix string, kv *unstable.Node)
	add = func(prefix string, kv *unstable.Node) {
		key, where := dotted(prefix, kv.Key(), at)
		value := kv.Value()
		if value.Kind == unstable.InlineTable {
			tables[key] = where
			for it := value.Children(); it.Next(); {
				add(key, it.Node())
			}
			return
		}
		e := entry{key: key, kind: value.Kind, text: string(value.Data), line: where.Line, column: where.Column, keyLine: where.Line, keyColumn: where.Column}
		if value.Raw.Length > 0 {
			v := at(value.Raw)
			e.line, e.column = v.Line, v.Column
		}
		if value.Kind == unstable.Array {
			e.text = "a list"
		}
		entries = append(entries, e)
	}
	for p.NextExpression() {
		switch node := p.Expression(); node.Kind {
		case unstable.Table, unstable.ArrayTable:
			var where Position
			prefix, where = dotted("", node.Key(), at)
			tables[prefix] = where
			if node.Kind == unstable.ArrayTable {
				lists = append(lists, Problem{where, prefix, "[[" + prefix + "]], a list of tables", "[" + prefix + "], once"})
			}
		case unstable.KeyValue:
			add(prefix, node)
		}
	}
	if len(lists) > 0 {
		return nil, nil, &lists
	}
	return entries, tables, p.Error()
}

// dotted joins the parts of a key, and says where it begins. A quoted part with a dot in it keeps its quotes: it is
// not the key of a table.
func dotted(prefix string, key unstable.Iterator, at func(unstable.Range) Position) (string, Position) {
	var where Position
	for key.Next() {
		if where.Line == 0 {
			where = at(key.Node().Raw)
		}
		if prefix != "" {
			prefix += "."
		}
		part := string(key.Node().Data)
		if strings.Contains(part, ".") {
			part = strconv.Quote(part)
		}
		prefix += part
	}
	return prefix, where
}
