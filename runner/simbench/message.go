package simbench

import (
	"strings"
)

// message is one program message unit of IEEE 488.2: a header and its parameters.
type message struct {
	words      []string // header words in upper case; a common command is one word such as "*IDN"
	query      bool
	parameters []string
}

// mnemonicMax is the longest mnemonic that SCPI-99 allows (volume 1, 6.2.1).
const mnemonicMax = 12

// splitOutsideQuotes cuts s at every sep that is not inside a quoted string.
func splitOutsideQuotes(s string, sep byte) []string {
	var parts []string
	var quote byte
	begin := 0
	for i := range len(s) {
		switch c := s[i]; {
		case quote != 0:
			if c == quote {
				quote = 0
			}
		case c == '"' || c == '\'':
			quote = c
		case c == sep:
			parts = append(parts, s[begin:i])
			begin = i + 1
		}
	}
	return append(parts, s[begin:])
}

// parseMessage reads one program message unit. Every header is read from the root of the command tree, with or without
// the leading colon, so the meaning of a unit never depends on the one before it.
func parseMessage(s string) (message, *scpiError) {
	for i := range len(s) {
		if s[i] >= 0x7f || s[i] < 0x20 && s[i] != '\t' {
			return message{}, errorf(-101, "byte 0x%02x", s[i])
		}
	}
	header, rest, _ := strings.Cut(strings.ReplaceAll(s, "\t", " "), " ")
	header, query := strings.CutSuffix(header, "?")
	m := message{query: query}
	var err *scpiError
	if m.words, err = parseHeader(header); err != nil {
		return message{}, err
	}
	if rest = strings.TrimSpace(rest); rest == "" {
		return m, nil
	}
	for _, p := range splitOutsideQuotes(rest, ',') {
		p = strings.TrimSpace(p)
		if p == "" {
			return message{}, errorf(-102, "empty parameter")
		}
		m.parameters = append(m.parameters, p)
	}
	return m, nil
}

// parseHeader cuts a header into upper-case words.
func parseHeader(header string) ([]string, *scpiError) {
	header = strings.ToUpper(header)
	if name, common := strings.CutPrefix(header, "*"); common {
		if !isMnemonic(name) {
			return nil, errorf(-102, "%s", header)
		}
		return []string{header}, nil
	}
	words := strings.Split(strings.TrimPrefix(header, ":"), ":")
	for _, w := range words {
		if !isMnemonic(w) {
			return nil, errorf(-102, "%s", header)
		}
		if len(w) > mnemonicMax {
			return nil, errorf(-112, "%s", w)
		}
	}
	return words, nil
}

// isMnemonic tells whether w is a letter followed by letters, digits and underscores.
func isMnemonic(w string) bool {
	for i := range len(w) {
		c := w[i]
		letter := c >= 'A' && c <= 'Z'
		if !letter && (i == 0 || c != '_' && (c < '0' || c > '9')) {
			return false
		}
	}
	return w != ""
}
