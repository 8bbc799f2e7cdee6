package dialect

import (
	"fmt"
	"maps"
	"math"
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
	c.scopeLimits(d, f)
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

// scopeLimits are what a scope can record at most.
func (c *checker) scopeLimits(d *Dialect, f file) {
	if f.MostPoints != nil {
		if d.MostPoints = *f.MostPoints; d.MostPoints < 1 || d.Kind != Scope {
			c.fail("most_points", "%d for a %s; a scope can have a number of points from 1", d.MostPoints, d.Kind)
		}
	}
	if f.MostRate != nil {
		if d.MostSamplesPerSecond = *f.MostRate; !(d.MostSamplesPerSecond > 0) || math.IsInf(d.MostSamplesPerSecond, 0) || d.Kind != Scope {
			c.fail("most_samples_per_second", "%g for a %s; a scope can have a number above 0", d.MostSamplesPerSecond, d.Kind)
		}
	}
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
	if s.Unterminated && (s.Send != "" || s.Receive != "" || s.Join != "" || s.Echo || s.Acknowledgement != "") {
		c.fail("session.unterminated", "without ends of line there can be no send, receive, join, echo or acknowledgement")
	}
	if s.Refusal != "" && s.Acknowledgement == "" {
		c.fail("session.refusal", "it comes instead of an acknowledgement, and there is none")
	}
	for key, text := range map[string]string{"session.join": s.Join, "session.acknowledgement": s.Acknowledgement, "session.errors": s.Errors, "session.identify": s.Identify} {
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
		IdentityQuery: s.Identify, Unterminated: s.Unterminated, BlankLines: s.BlankLines,
		Pause:   c.duration("session.pause", s.Pause, 0),
		TimeOut: c.duration("session.time_out", s.TimeOut, defaultTimeOut),
		Quiet:   c.duration("session.silence", s.Silence, 0),
	}
	if s.Refusal != "" {
		var err error
		if d.session.Refusal, err = regexp.Compile(s.Refusal); err != nil {
			c.fail("session.refusal", "%q is no regular expression: %v", s.Refusal, err)
		}
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

func list[K ~string, V any](m map[K]V) string {
	var names []string
	for _, k := range slices.Sorted(maps.Keys(m)) {
		names = append(names, string(k))
	}
	return strings.Join(names, ", ")
}

func orNone[T ~string](names []T) string {
	if len(names) == 0 {
		return "none"
	}
	var all []string
	for _, name := range names {
		all = append(all, string(name))
	}
	return strings.Join(all, ", ")
}
