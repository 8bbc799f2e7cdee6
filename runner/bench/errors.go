package bench

import (
	"fmt"
	"strings"
)

// Position is a place in a bench file.
type Position struct {
	File         string
	Line, Column int
}

// String gives file:line:column.
func (p Position) String() string { return fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Column) }

// Problem is one thing wrong with a bench file.
type Problem struct {
	Position
	Key     string // dotted; empty if the file is not TOML at all
	Found   string
	Allowed string
}

// String gives position, key, what was found and what is allowed, on one line.
func (p Problem) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: ", p.Position)
	if p.Key != "" {
		fmt.Fprintf(&b, "%s: ", short(p.Key))
	}
	fmt.Fprintf(&b, "found %s; allowed: %s", short(p.Found), p.Allowed)
	return b.String()
}

// short leaves out the middle of a text that would fill the screen.
func short(text string) string {
	const most = 160 // bytes; some two lines
	if len(text) <= most {
		return text
	}
	return strings.ToValidUTF8(text[:most/2], "") + " … " + strings.ToValidUTF8(text[len(text)-most/2:], "")
}

// Errors is everything wrong with a bench file, in the order of the file.
type Errors []Problem

// Error lists one problem a line.
func (e *Errors) Error() string {
	lines := make([]string, len(*e))
	for i, p := range *e {
		lines[i] = p.String()
	}
	return strings.Join(lines, "\n")
}
