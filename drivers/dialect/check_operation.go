package dialect

import (
	"fmt"
	"go/token"
	"maps"
	"slices"
	"strings"
)

// operation turns one operation of a file into ours.
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
	case want.fields != nil:
		// What a preamble is made of does not matter, if only it gives all values.
	case want.state && reply != NumberReply && reply != TextReply:
		c.fail(key, "it must ask with reply \"number\" or \"text\"")
	case !want.state && reply.gives() != want.reply:
		c.fail(key, "it gives reply %q, %q is needed", reply, want.reply)
	}
	if want.verify != "" && !verified {
		c.fail(key, "it must end by asking the value back, with verify = %q", want.verify)
	}
	c.fields(key, f, want, &op)
	c.samples(key, f, want, &op)
	op.meaning = c.meaning(key, f.Meaning, want)
	return op
}

// fields checks that the values that an operation must give are all there, and
// that each expression uses only values that there are.
func (c *checker) fields(key string, f fileOperation, want wanted, op *operation) {
	if want.fields == nil {
		if len(f.Fields) > 0 {
			c.fail(key+".fields", "this operation's reply has no fields")
		}
		if len(f.Values) > 0 {
			c.fail(key+".values", "this operation has no values to compute")
		}
		return
	}
	known := slices.Clone(f.Fields)
	for i, st := range op.steps {
		if st.as != "" {
			known = append(known, st.as)
		}
		if len(f.Fields) == 0 && (st.reply == NumbersReply || st.reply == NamedReply) {
			c.fail(fmt.Sprintf("%s.steps[%d]", key, i), "a list needs names for its values: fields = […]")
		}
	}
	for i, name := range known {
		if !nameForm.MatchString(name) || token.IsKeyword(name) {
			c.fail(key+".fields", "name %q: lower-case letters, digits and underscores are allowed, but not a word such as type or range that expressions reserve", name)
		}
		if slices.Contains(known[:i], name) {
			c.fail(key+".fields", "%q is there twice", name)
		}
	}
	op.values = map[string]expression{}
	usable := append(known, want.settings...)
	for _, name := range slices.Sorted(maps.Keys(f.Values)) {
		at := key + ".values." + name
		if !slices.Contains(want.fields, name) {
			c.fail(at, "not asked for; needed are %s", strings.Join(want.fields, ", "))
		}
		e, err := parseExpression(f.Values[name])
		if err != nil {
			c.fail(at, "%v", err)
			continue
		}
		for _, used := range e.names() {
			if !slices.Contains(usable, used) {
				c.fail(at, "%s has no value here; there are %s", used, orNone(usable))
			}
		}
		op.values[name] = e
	}
	for _, name := range want.fields {
		if _, computed := f.Values[name]; !computed && !slices.Contains(known, name) {
			c.fail(key+".fields", "%q is missing; needed are %s, from fields, from values, or from a step's \"as\"", name, strings.Join(want.fields, ", "))
		}
	}
}

// samples checks how a record is stored and fetched.
func (c *checker) samples(key string, f fileOperation, want wanted, op *operation) {
	if !want.samples {
		if f.Sample != "" {
			c.fail(key+".sample", "this operation gives no samples")
		}
		if f.ChunkSamples != 0 {
			c.fail(key+".chunk_samples", "this operation gives no samples")
		}
		return
	}
	op.sample, op.chunk = sampleForm(f.Sample), f.ChunkSamples
	if op.sample == "" {
		op.sample = "u8"
	}
	if _, ok := sampleForms[op.sample]; !ok {
		c.fail(key+".sample", "%q; allowed are %s", f.Sample, list(sampleForms))
	}
	if f.ChunkSamples < 0 {
		c.fail(key+".chunk_samples", "%d; a number of samples from 1 is needed", f.ChunkSamples)
	}
}

// step turns one step of an operation into ours.
func (c *checker) step(key string, s fileStep, want wanted) step {
	st := step{
		verify: s.Verify, within: s.Within, relative: s.WithinPercent / 100,
		reply: ReplyType(s.Reply), prefix: s.Prefix, mask: s.Mask, as: s.As,
	}
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
	if s.Verify != "" {
		if st.expected, err = parseExpression(s.Verify); err != nil {
			c.fail(key+".verify", "%v", err)
			return st
		}
		for _, name := range st.expected.names() {
			if !slices.Contains(want.settings, name) {
				c.fail(key+".verify", "%q has no value here; allowed are %s", name, orNone(want.settings))
			}
		}
	}
	if !st.ask {
		if s.Reply != "" || s.Verify != "" || s.Prefix != "" || s.Mask != 0 || s.As != "" {
			c.fail(key, "reply, prefix, mask, as and verify belong to a step with ask")
		}
		return st
	}
	gives := st.reply.gives()
	bits := st.reply == BitsReply || st.reply == ByteReply
	switch {
	case !slices.Contains(replyTypes, st.reply):
		c.fail(key+".reply", "%q; allowed are %s", s.Reply, orNone(replyTypes))
	case s.Verify != "" && gives != NumberReply && gives != BooleanReply:
		c.fail(key+".reply", "%q; only a number or a boolean can be verified", s.Reply)
	case s.Within < 0 || s.WithinPercent < 0:
		c.fail(key, "a tolerance cannot be negative")
	case bits != (s.Mask != 0):
		c.fail(key+".mask", "a reply of bits or a byte needs one, to say which bits mean yes, and no other reply has one")
	case s.Prefix != "" && (st.reply == BlockReply || st.reply == ByteReply):
		c.fail(key+".prefix", "a block or a byte has none")
	case s.As != "" && want.fields == nil:
		c.fail(key+".as", "nothing is computed from this operation's replies")
	case s.As != "" && gives != NumberReply && gives != BooleanReply && gives != TextReply:
		c.fail(key+".as", "only a number, a boolean or a text can be named; a list has fields")
	}
	return st
}

// meaning checks what a state's replies mean.
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
		given := 0
		for _, is := range []bool{m.Bits != nil, m.Clear != nil, m.Equals != nil} {
			if is {
				given++
			}
		}
		switch {
		case given != 1:
			c.fail(entry, "one of bits, clear and equals is needed")
		case m.Bits != nil && *m.Bits == 0:
			c.fail(entry+".bits", "no bit is set in 0; for the value 0 use equals = \"0\"")
		case m.Clear != nil && *m.Clear == 0:
			c.fail(entry+".clear", "no bit is named by 0")
		case m.Bits != nil:
			out = append(out, meaning{bits: *m.Bits, state: State(m.Means)})
		case m.Clear != nil:
			out = append(out, meaning{clear: *m.Clear, state: State(m.Means)})
		default:
			out = append(out, meaning{equals: *m.Equals, state: State(m.Means)})
		}
	}
	return out
}
