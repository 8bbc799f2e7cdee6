package bench

import (
	"errors"
	"fmt"
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

// document flattens TOML into entries in file order and the positions of its tables. Arrays and arrays of
// tables are kept as one entry: no key of a bench file takes one.
func document(name string, text []byte) ([]entry, map[string]Position, error) {
	var whole map[string]any
	if err := toml.Unmarshal(text, &whole); err != nil {
		var bad *toml.DecodeError
		if errors.As(err, &bad) {
			line, column := bad.Position()
			return nil, nil, &Errors{{Position: Position{name, line, column}, Found: strings.TrimPrefix(bad.Error(), "toml: "), Allowed: "TOML 1.0"}}
		}
		return nil, nil, fmt.Errorf("%s: %w", name, err)
	}
	var (
		p       unstable.Parser
		entries []entry
		tables  = map[string]Position{}
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
		case unstable.KeyValue:
			add(prefix, node)
		}
	}
	return entries, tables, p.Error()
}

func dotted(prefix string, key unstable.Iterator, at func(unstable.Range) Position) (string, Position) {
	var where Position
	for key.Next() {
		if where.Line == 0 {
			where = at(key.Node().Raw)
		}
		if prefix != "" {
			prefix += "."
		}
		prefix += string(key.Node().Data)
	}
	return prefix, where
}
