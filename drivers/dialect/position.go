package dialect

import (
	"fmt"

	"github.com/pelletier/go-toml/v2/unstable"
)

// FileError is a mistake in a dialect file.
type FileError struct {
	File         string
	Line, Column int
	// Key is the dotted key, with [n] for the entries of a list.
	Key     string
	Message string
}

// Error gives file:line:column, the key and what is wrong.
func (e *FileError) Error() string {
	s := fmt.Sprintf("%s:%d:%d: ", e.File, e.Line, e.Column)
	if e.Key != "" {
		s += e.Key + ": "
	}
	return s + e.Message
}

// position is where a key stands, counted from 1.
type position struct{ line, column int }

// positions finds where each key of a TOML text stands.
func positions(text []byte) map[string]position {
	var p unstable.Parser
	found := map[string]position{}
	lists := map[string]int{}
	at := func(r unstable.Range) position {
		start := p.Shape(r).Start
		return position{start.Line, start.Column}
	}
	key := func(prefix string, parts unstable.Iterator) string {
		for parts.Next() {
			node := parts.Node()
			if prefix != "" {
				prefix += "."
			}
			prefix += string(node.Data)
			if _, known := found[prefix]; !known {
				found[prefix] = at(node.Raw)
			}
		}
		return prefix
	}
	var value func(prefix string, node *unstable.Node)
	value = func(prefix string, node *unstable.Node) {
		switch node.Kind {
		case unstable.KeyValue:
			value(key(prefix, node.Key()), node.Value())
		case unstable.InlineTable:
			for it := node.Children(); it.Next(); {
				value(prefix, it.Node())
			}
		case unstable.Array:
			i := 0
			for it := node.Children(); it.Next(); i++ {
				entry := fmt.Sprintf("%s[%d]", prefix, i)
				found[entry] = found[prefix]
				value(entry, it.Node())
				if first, ok := firstKey(it.Node()); ok {
					found[entry] = at(first)
				}
			}
		}
	}
	p.Reset(text)
	table := ""
	for p.NextExpression() {
		switch node := p.Expression(); node.Kind {
		case unstable.Table:
			table = key("", node.Key())
		case unstable.ArrayTable:
			name := key("", node.Key())
			table = fmt.Sprintf("%s[%d]", name, lists[name])
			lists[name]++
			found[table] = found[name]
		case unstable.KeyValue:
			value(table, node)
		}
	}
	return found
}

// firstKey is where the first key of an inline table stands.
func firstKey(node *unstable.Node) (unstable.Range, bool) {
	if node.Kind == unstable.InlineTable {
		for it := node.Children(); it.Next(); {
			for k := it.Node().Key(); k.Next(); {
				return k.Node().Raw, true
			}
		}
	}
	return unstable.Range{}, false
}
