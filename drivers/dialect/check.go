package dialect

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"time"

	"ringup/drivers/scpi"
)

// checker turns a decoded file into a Dialect and gathers every mistake.
type checker struct {
	name     string
	at       map[string]position
	mistakes []*FileError
}

// fail notes a mistake at a key, or at the table that should hold it.
func (c *checker) fail(key, format string, args ...any) {
	where, ok := c.at[key]
	for parent := key; !ok && parent != ""; {
		parent = parent[:max(0, strings.LastIndexAny(parent, ".["))]
		where, ok = c.at[parent]
	}
	if !ok {
		where = position{1, 1}
	}
	c.mistakes = append(c.mistakes, &FileError{File: c.name, Line: where.line, Column: where.column, Key: key, Message: fmt.Sprintf(format, args...)})
}

func (c *checker) dialect(f file) *Dialect {
	d := &Dialect{Kind: Kind(f.Kind), Name: f.Name, File: c.name, Guide: f.Guide, HardwareTried: f.HardwareTried, ops: map[string]operation{}}
	if !regexp.MustCompile(`^[a-z0-9][a-z0-9-]*$`).MatchString(f.Name) || f.Name == "auto" {
		c.fail("name", "%q: lower-case letters, digits and hyphens are allowed, and not the word auto", f.Name)
	}
	if strings.TrimSpace(f.Guide) == "" {
		c.fail("guide", "missing; cite the programming guide or standard that the words are from")
	}
	if strings.TrimSpace(f.HardwareTried) == "" {
		c.fail("hardware_tried", "missing; \"no\", or which instrument it was tried on and when")
	}
	var err error
	if d.identity, err = regexp.Compile(f.Identity); err != nil {
		c.fail("identity", "%q is no regular expression: %v", f.Identity, err)
	}
	c.session(d, f.Session)
	known, ok := operations[d.Kind]
	if !ok {
		c.fail("kind", "%q; allowed are %s", f.Kind, list(operations))
		return d
	}
	for _, name := range slices.Sorted(maps.Keys(f.Operations)) {
		want, ok := known[name]
		if !ok {
			c.fail("operations."+name, "a %s has no such operation; allowed are %s", d.Kind, list(known))
			continue
		}
		d.ops[name] = c.operation("operations."+name, f.Operations[name], want)
	}
	for _, name := range slices.Sorted(maps.Keys(known)) {
		if known[name].required && !d.Has(name) {
			c.fail("operations", "operation %q is missing; a %s needs it", name, d.Kind)
		}
	}
	return d
}

func (c *checker) session(d *Dialect, s fileSession) {
	d.join, d.longest = s.Join, s.LongestMessage
	if d.longest == 0 {
		d.longest = defaultLongest
	}
	if d.longest < 16 {
		c.fail("session.longest_message", "%d bytes; at least 16 are needed", d.longest)
	}
	if s.Join != "" && (s.Acknowledgement != "" || s.Echo) {
		c.fail("session.join", "an instrument that acknowledges or echoes each message takes one command at a time; leave join out")
	}
	for key, text := range map[string]string{"session.join": s.Join, "session.acknowledgement": s.Acknowledgement, "session.errors": s.Errors} {
		if strings.ContainsFunc(text, func(r rune) bool { return r < ' ' || r > '~' }) {
			c.fail(key, "%q; printable ASCII is allowed", text)
		}
	}
	for key, text := range map[string]string{"session.send": s.Send, "session.receive": s.Receive} {
		if !slices.Contains([]string{"", "\n", "\r", "\r\n"}, text) {
			c.fail(key, `%q; allowed are "\n", "\r" and "\r\n"`, text)
		}
	}
	d.session = scpi.Config{
		Send: s.Send, Receive: s.Receive, Acknowledgement: s.Acknowledgement, Echo: s.Echo, ErrorQuery: s.Errors,
		Pause:   c.duration("session.pause", s.Pause, 0),
		TimeOut: c.duration("session.time_out", s.TimeOut, defaultTimeOut),
	}
}

func (c *checker) duration(key, text string, otherwise time.Duration) time.Duration {
	if text == "" {
		return otherwise
	}
	v, err := time.ParseDuration(strings.ReplaceAll(text, " ", ""))
	if err != nil || v < 0 || v > time.Minute {
		c.fail(key, `%q; a duration from "0 ms" to "60 s" is needed`, text)
	}
	return v
}

func (c *checker) operation(key string, f fileOperation, want wanted) operation {
	op := operation{optional: f.Optional, fields: f.Fields}
	if f.Optional && want.required {
		c.fail(key+".optional", "the operation cannot be done without")
	}
	if len(f.Steps) == 0 {
		c.fail(key+".steps", "missing; a list of steps is needed, as in steps = [{ send = \"…\" }]")
	}
	var reply ReplyType
	verified := false
	for i, s := range f.Steps {
		st := c.step(fmt.Sprintf("%s.steps[%d]", key, i), s, want)
		op.steps = append(op.steps, st)
		verified = verified || st.verify != "" && st.verify == want.verify
		if st.ask && st.verify == "" {
			reply = st.reply
		}
	}
	switch {
	case want.state && reply != NumberReply && reply != TextReply:
		c.fail(key, "it must ask with reply \"number\" or \"text\"")
	case !want.state && reply != want.reply:
		c.fail(key, "it gives reply %q, %q is needed", reply, want.reply)
	}
	if want.verify != "" && !verified {
		c.fail(key, "it must end by asking the value back, with verify = %q", want.verify)
	}
	for _, name := range want.fields {
		if !slices.Contains(f.Fields, name) {
			c.fail(key+".fields", "%q is missing; needed are %s", name, strings.Join(want.fields, ", "))
		}
	}
	if len(f.Fields) > 0 && want.fields == nil {
		c.fail(key+".fields", "this operation's reply has no fields")
	}
	op.meaning = c.meaning(key, f.Meaning, want)
	return op
}

func (c *checker) step(key string, s fileStep, want wanted) step {
	st := step{verify: s.Verify, within: s.Within, relative: s.WithinPercent / 100, reply: ReplyType(s.Reply)}
	text := s.Send
	field := ".send"
	if s.Ask != nil {
		text, field, st.ask = s.Ask, ".ask", true
	}
	if (s.Send == nil) == (s.Ask == nil) {
		c.fail(key, "a step has either send or ask")
		return st
	}
	var err error
	if st.message, err = parseTemplate(*text); err != nil {
		c.fail(key+field, "%v", err)
	}
	for _, name := range st.message.names() {
		if !slices.Contains(want.settings, name) {
			c.fail(key+field, "{%s} has no value here; allowed are %s", name, orNone(want.settings))
		}
	}
	replies := []ReplyType{NumberReply, BooleanReply, TextReply, NumbersReply, BlockReply}
	switch {
	case st.ask && !slices.Contains(replies, st.reply):
		c.fail(key+".reply", "%q; allowed are %q", s.Reply, replies)
	case !st.ask && (s.Reply != "" || s.Verify != ""):
		c.fail(key, "reply and verify belong to a step with ask")
	case s.Verify != "" && !slices.Contains(want.settings, s.Verify):
		c.fail(key+".verify", "%q has no value here; allowed are %s", s.Verify, orNone(want.settings))
	case s.Verify != "" && st.reply != NumberReply && st.reply != BooleanReply:
		c.fail(key+".reply", "%q; only a number or a boolean can be verified", s.Reply)
	case s.Within < 0 || s.WithinPercent < 0:
		c.fail(key, "a tolerance cannot be negative")
	}
	return st
}

func (c *checker) meaning(key string, f []fileMeaning, want wanted) []meaning {
	if want.state != (len(f) > 0) {
		c.fail(key+".meaning", "a list is needed for operation state, and only there, as in meaning = [{ bits = 32, means = \"waiting\" }]")
		return nil
	}
	var out []meaning
	for i, m := range f {
		entry := fmt.Sprintf("%s.meaning[%d]", key, i)
		if !slices.Contains([]State{Waiting, Running, Done}, State(m.Means)) {
			c.fail(entry+".means", "%q; allowed are waiting, running and done", m.Means)
		}
		switch {
		case (m.Bits == nil) == (m.Equals == nil):
			c.fail(entry, "either bits or equals is needed")
		case m.Bits != nil && *m.Bits == 0:
			c.fail(entry+".bits", "no bit is set in 0; for the value 0 use equals = \"0\"")
		case m.Bits != nil:
			out = append(out, meaning{bits: *m.Bits, state: State(m.Means)})
		default:
			out = append(out, meaning{equals: *m.Equals, state: State(m.Means)})
		}
	}
	return out
}

func list[K ~string, V any](m map[K]V) string {
	var names []string
	for _, k := range slices.Sorted(maps.Keys(m)) {
		names = append(names, string(k))
	}
	return strings.Join(names, ", ")
}

func orNone(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}
