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
	// QueryBytes reads a reply of so many bytes that need not be text.
	QueryBytes(ctx context.Context, query string, length int) ([]byte, error)
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
	// Samples are a record's codes, taken from one or more blocks; each can be
	// from LowestCode to HighestCode.
	Samples                 []int32
	LowestCode, HighestCode int
	// Fields are the values that the operation is asked for, by name.
	Fields map[string]float64
	State  State

	// Unknown are the commands of an optional operation that the instrument
	// does not know.
	Unknown []string

	named map[string]string // the values of a named reply, as text
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
	if op.sample != "" {
		return d.fetch(ctx, t, name, op, s)
	}
	reply, err := d.steps(ctx, t, name, op, s)
	if err != nil {
		return Reply{}, err
	}
	return reply, op.state(t, &reply)
}

// steps carries out an operation's steps and returns what the last one that was
// not for verifying answered.
func (d *Dialect) steps(ctx context.Context, t Talker, name string, op operation, s Settings) (Reply, error) {
	var reply Reply
	var pending, unknown []string
	left := false // the last command of an optional operation, for want of it
	gathered := gathering{numbers: map[string]float64{}, texts: map[string]string{}}
	for _, st := range op.steps {
		message, err := st.message.render(s)
		if err != nil {
			return Reply{}, fmt.Errorf("dialect %s, operation %s: %w", d.Name, name, err)
		}
		if !st.ask {
			pending, left = append(pending, message), false
			continue
		}
		if op.optional && len(pending) > 0 {
			// An unknown query would get no answer, so the command goes first.
			if left, err = d.leaveOut(ctx, t, pending); err != nil {
				return Reply{}, err
			}
			if left {
				unknown = append(unknown, pending...)
			}
			pending = nil
		}
		if left {
			continue
		}
		got, err := d.ask(ctx, t, pending, message, st)
		pending = nil
		if err == nil {
			err = gathered.add(op, st, got)
		}
		if errors.Is(err, scpi.ErrGarbled) {
			// It may be the answer to something else.
			err = fmt.Errorf("reply to %s: %w", message, err)
			t.Tear(err)
		}
		if err != nil {
			return Reply{}, err
		}
		if st.verify == "" {
			reply = got
			continue
		}
		if err := verify(ctx, t, st, message, s, got); err != nil {
			return Reply{}, err
		}
	}
	switch {
	case len(pending) == 0:
	case op.optional:
		left, err := d.leaveOut(ctx, t, pending)
		if err != nil {
			return Reply{}, err
		}
		if left {
			unknown = append(unknown, pending...)
		}
	default:
		if err := d.Send(ctx, t, pending); err != nil {
			return Reply{}, err
		}
	}
	fields, err := gathered.fields(op, s)
	if err != nil {
		t.Tear(err)
		return Reply{}, err
	}
	reply.Fields, reply.Unknown = fields, unknown
	return reply, nil
}

// leaveOut sends commands that an instrument may not have, and says whether it
// does not know them.
func (d *Dialect) leaveOut(ctx context.Context, t Talker, commands []string) (bool, error) {
	err := d.Send(ctx, t, commands)
	var refused *scpi.Refused
	if errors.As(err, &refused) && refused.UnknownCommand() {
		return true, nil
	}
	return false, err
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
	first, err := scpi.ParseErrorReply(query, reply)
	if err != nil {
		t.Tear(err)
		return err
	}
	if len(first) == 0 {
		return nil
	}
	more, err := t.Errors(ctx)
	return errors.Join(&scpi.Refused{Messages: append(first, more...)}, err)
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

// verify compares a setting with what reads back.
func verify(ctx context.Context, t Talker, st step, query string, s Settings, got Reply) error {
	sent, err := st.expected.value(s, nil)
	if err != nil {
		return fmt.Errorf("%s: verify = %q: %w", query, st.verify, err)
	}
	if math.Abs(got.Number-sent) <= st.within+st.relative*math.Abs(sent) {
		return nil
	}
	messages, err := t.Errors(ctx)
	return errors.Join(&Mismatch{Query: query, Setting: st.verify, Sent: sent, Read: got.Number, Messages: messages}, err)
}
