package simbench

import (
	"strconv"
	"strings"
	"time"
)

// command is one entry of an instrument's command tree. Set or query is nil where the standard form does not exist.
type command struct {
	// pattern is the header in the notation of SCPI-99: capitals are the short form, brackets hold what may be left
	// out, <n> stands for a numeric suffix, as in "[SOURce]:VOLTage[:LEVel]" or "INPut<n>:COUPling".
	pattern string
	// parameters is how many parameters the command takes, queryParameters how many its query takes.
	parameters, queryParameters int
	set                         func(call) *scpiError
	query                       func(call) ([]byte, *scpiError)

	nodes []node
}

// call is what a handler is given.
type call struct {
	now        time.Time
	suffix     int // the last numeric suffix of the header; 1 where it was left out
	parameters []string
}

// node is one word of a header pattern.
type node struct {
	long, short        string // upper case
	optional, numbered bool
}

// compile reads the pattern into nodes.
func (c *command) compile() {
	optional := false
	for _, w := range strings.FieldsFunc(strings.ReplaceAll(c.pattern, "[", ":["), func(r rune) bool { return r == ':' }) {
		if strings.HasPrefix(w, "[") {
			optional = true
			if w = w[1:]; w == "" { // "[:WORD]" leaves a bracket of its own
				continue
			}
		}
		n := node{optional: optional}
		if strings.HasSuffix(w, "]") {
			w, optional = strings.TrimSuffix(w, "]"), false
		}
		w, n.numbered = strings.CutSuffix(w, "<n>")
		n.long = strings.ToUpper(w)
		n.short = strings.Map(func(r rune) rune {
			if r >= 'a' && r <= 'z' {
				return -1
			}
			return r
		}, w)
		c.nodes = append(c.nodes, n)
	}
}

// matchHeader tells whether words spell the nodes, and the last numeric suffix among them (1 where there is none).
func matchHeader(nodes []node, words []string) (suffix int, ok bool) {
	if len(nodes) == 0 {
		return 1, len(words) == 0
	}
	if len(words) > 0 {
		if own, fits := nodes[0].match(words[0]); fits {
			if later, ok := matchHeader(nodes[1:], words[1:]); ok {
				if nodes[0].numbered {
					return own, true
				}
				return later, true
			}
		}
	}
	if nodes[0].optional {
		return matchHeader(nodes[1:], words)
	}
	return 0, false
}

// match tells whether a word is this node in its exact long or short form, and the number behind it.
func (n node) match(word string) (suffix int, ok bool) {
	suffix = 1
	if n.numbered {
		name := strings.TrimRight(word, "0123456789")
		if digits := word[len(name):]; digits != "" {
			number, err := strconv.Atoi(digits)
			if err != nil {
				return 0, false
			}
			suffix = number
		}
		word = name
	}
	return suffix, word == n.long || word == n.short
}
