package dialect

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"ringup/drivers/scpi"
)

// Talker is the conversation that a dialect is spoken over; *scpi.Session is
// one.
type Talker interface {
	Write(ctx context.Context, command string) error
	Query(ctx context.Context, query string) (string, error)
	QueryBlock(ctx context.Context, query string) ([]byte, error)
	Errors(ctx context.Context) ([]scpi.InstrumentMessage, error)
	// Tear marks the conversation out of step.
	Tear(cause error)
}

// Reply is what an operation's last query answered, in the form its step names.
type Reply struct {
	Number  float64
	Yes     bool
	Text    string
	Numbers []float64
	Block   []byte
	// Fields are Numbers by the names that the dialect gives them.
	Fields map[string]float64
	State  State
}

// Mismatch says that a setting did not read back as it was sent.
type Mismatch struct {
	Query, Setting string
	Sent, Read     float64
	// Messages is what the instrument's error queue held.
	Messages []scpi.InstrumentMessage
}

// Error says what was sent, what was read, and what the instrument says to it.
func (m *Mismatch) Error() string {
	s := fmt.Sprintf("%s was set to %g and reads back as %g (%s)", m.Setting, m.Sent, m.Read, m.Query)
	if len(m.Messages) > 0 {
		s += "; " + (&scpi.Refused{Messages: m.Messages}).Error()
	}
	return s
}

// Run carries out an operation. Commands are joined with the query that
// follows them where the dialect joins; commands that no query follows are
// followed by a look at the error queue.
func (d *Dialect) Run(ctx context.Context, t Talker, name string, s Settings) (Reply, error) {
	op, ok := d.ops[name]
	if !ok {
		return Reply{}, fmt.Errorf("dialect %s has no operation %q", d.Name, name)
	}
	var reply Reply
	var pending []string
	for _, st := range op.steps {
		message, err := st.message.render(s)
		if err != nil {
			return Reply{}, fmt.Errorf("dialect %s, operation %s: %w", d.Name, name, err)
		}
		if !st.ask {
			pending = append(pending, message)
			continue
		}
		got, err := d.ask(ctx, t, pending, message, st.reply)
		pending = nil
		if err != nil {
			return Reply{}, err
		}
		if st.verify == "" {
			reply = got
			continue
		}
		if err := verify(ctx, t, st, message, s[st.verify], got); err != nil {
			return Reply{}, err
		}
	}
	if len(pending) > 0 {
		if err := d.Send(ctx, t, pending); err != nil {
			var refused *scpi.Refused
			if op.optional && errors.As(err, &refused) && refused.UnknownCommand() {
				return Reply{}, nil
			}
			return Reply{}, err
		}
	}
	if err := op.interpret(t, &reply); err != nil {
		return Reply{}, err
	}
	return reply, nil
}

// Commands renders an operation that only sends.
func (d *Dialect) Commands(name string, s Settings) ([]string, error) {
	var commands []string
	for _, st := range d.ops[name].steps {
		if st.ask {
			continue
		}
		command, err := st.message.render(s)
		if err != nil {
			return nil, fmt.Errorf("dialect %s, operation %s: %w", d.Name, name, err)
		}
		commands = append(commands, command)
	}
	return commands, nil
}

// Send sends commands in as few messages as the dialect permits and then looks
// at the error queue once. The error is *scpi.Refused if there is something in
// it.
func (d *Dialect) Send(ctx context.Context, t Talker, commands []string) error {
	query := d.session.ErrorQuery
	if query == "" {
		for _, m := range d.compose(commands) {
			if err := t.Write(ctx, m); err != nil {
				return err
			}
		}
		return nil
	}
	reply, err := d.query(ctx, t, commands, query)
	if err != nil {
		return err
	}
	first, err := scpi.ParseInstrumentMessage(reply)
	if err != nil {
		t.Tear(err)
		return err
	}
	if first.Number == 0 {
		return nil
	}
	more, err := t.Errors(ctx)
	return errors.Join(&scpi.Refused{Messages: append([]scpi.InstrumentMessage{first}, more...)}, err)
}

// query sends commands and a query and returns the reply line.
func (d *Dialect) query(ctx context.Context, t Talker, commands []string, query string) (string, error) {
	messages := d.compose(slices.Concat(commands, []string{query}))
	for _, m := range messages[:len(messages)-1] {
		if err := t.Write(ctx, m); err != nil {
			return "", err
		}
	}
	return t.Query(ctx, messages[len(messages)-1])
}

// compose joins commands into as few messages as the dialect permits.
func (d *Dialect) compose(commands []string) []string {
	var messages []string
	for _, c := range commands {
		if n := len(messages) - 1; d.join != "" && n >= 0 && len(messages[n])+len(d.join)+len(c) <= d.longest {
			if strings.HasSuffix(d.join, ":") && strings.HasPrefix(c, "*") {
				// A common command has no place in the tree to start from.
				messages[n] += strings.TrimSuffix(d.join, ":") + c
			} else {
				messages[n] += d.join + c
			}
			continue
		}
		messages = append(messages, c)
	}
	return messages
}

// ask sends what is pending and a query, and reads the reply in its form. A
// reply of another form may be the answer to something else, so it leaves the
// conversation torn.
func (d *Dialect) ask(ctx context.Context, t Talker, pending []string, query string, form ReplyType) (r Reply, err error) {
	if form == BlockReply {
		for _, m := range d.compose(pending) {
			if err := t.Write(ctx, m); err != nil {
				return r, err
			}
		}
		r.Block, err = t.QueryBlock(ctx, query)
		return r, err
	}
	if r.Text, err = d.query(ctx, t, pending, query); err != nil {
		return r, err
	}
	switch form {
	case NumberReply:
		r.Number, err = scpi.ParseNumber(r.Text)
	case NumbersReply:
		r.Numbers, err = scpi.ParseNumbers(r.Text)
	case BooleanReply:
		if r.Yes, err = scpi.ParseBoolean(r.Text); r.Yes {
			r.Number = 1
		}
	}
	if err != nil {
		err = fmt.Errorf("reply to %s: %w", query, err)
		t.Tear(err)
	}
	return r, err
}

// verify compares a setting with what reads back.
func verify(ctx context.Context, t Talker, st step, query string, sent float64, got Reply) error {
	if math.Abs(got.Number-sent) <= st.within+st.relative*math.Abs(sent) {
		return nil
	}
	messages, err := t.Errors(ctx)
	return errors.Join(&Mismatch{Query: query, Setting: st.verify, Sent: sent, Read: got.Number, Messages: messages}, err)
}

// interpret names a list's values and gives a reply its meaning.
func (op operation) interpret(t Talker, r *Reply) error {
	fail := func(format string, args ...any) error {
		err := fmt.Errorf("%w: %s", scpi.ErrGarbled, fmt.Sprintf(format, args...))
		t.Tear(err)
		return err
	}
	if len(op.fields) > 0 {
		if len(r.Numbers) != len(op.fields) {
			return fail("%d values came, %d were expected (%s)", len(r.Numbers), len(op.fields), strings.Join(op.fields, ", "))
		}
		r.Fields = map[string]float64{}
		for i, name := range op.fields {
			r.Fields[name] = r.Numbers[i]
		}
	}
	if len(op.meaning) == 0 {
		return nil
	}
	for _, m := range op.meaning {
		if m.fits(*r) {
			r.State = m.state
			return nil
		}
	}
	return fail("state %q has no meaning in this dialect", r.Text)
}

// fits says whether a reply has this meaning. Numbers are compared as such, so
// that "+0" equals "0".
func (m meaning) fits(r Reply) bool {
	if m.bits != 0 {
		return r.Number >= 0 && r.Number < 1<<53 && uint64(r.Number)&m.bits != 0
	}
	if strings.EqualFold(strings.TrimSpace(r.Text), m.equals) {
		return true
	}
	want, err := scpi.ParseNumber(m.equals)
	got, gotErr := scpi.ParseNumber(r.Text)
	return err == nil && gotErr == nil && got == want
}
