package dialect

import (
	"context"
	"fmt"
	"strings"

	"ringup/drivers/scpi"
)

// Setting is an operation that was sent, with its settings.
type Setting struct {
	Operation string
	Settings  Settings
}

// question asks back one setting.
type question struct {
	step
	query    string
	settings Settings
}

// Confirm asks back what was sent, as far as the operations' steps ask with
// verify, and compares; the error is *Mismatch for a setting that differs. The
// queries are joined as commands are, and so are the answers, by semicolons
// (IEEE 488.2 section 8.4.1).
func (d *Dialect) Confirm(ctx context.Context, t Talker, sent []Setting) error {
	questions, err := d.questions(sent)
	if err != nil {
		return err
	}
	for len(questions) > 0 {
		n := d.together(questions)
		if err := d.askBack(ctx, t, questions[:n]); err != nil {
			return err
		}
		questions = questions[n:]
	}
	return nil
}

// questions renders the steps with verify.
func (d *Dialect) questions(sent []Setting) ([]question, error) {
	var all []question
	for _, s := range sent {
		for _, st := range d.ops[s.Operation].steps {
			if st.verify == "" {
				continue
			}
			query, err := st.message.render(s.Settings)
			if err != nil {
				return nil, fmt.Errorf("dialect %s, operation %s: %w", d.Name, s.Operation, err)
			}
			all = append(all, question{st, query, s.Settings})
		}
	}
	return all, nil
}

// together is how many of the first questions fit into one message.
func (d *Dialect) together(questions []question) int {
	if d.join == "" {
		return 1
	}
	length := 0
	for n, q := range questions {
		if length += len(d.join) + len(q.query); n > 0 && length > d.longest {
			return n
		}
	}
	return len(questions)
}

// askBack asks questions in one message.
func (d *Dialect) askBack(ctx context.Context, t Talker, questions []question) error {
	queries := make([]string, len(questions))
	for i, q := range questions {
		queries[i] = q.query
	}
	message := strings.Join(queries, d.join)
	reply, err := t.Query(ctx, message)
	if err != nil {
		return err
	}
	answers := []string{reply}
	if len(questions) > 1 {
		answers = strings.Split(reply, ";")
	}
	if len(answers) != len(questions) {
		err := fmt.Errorf("reply to %s: %w: %d answers came to %d questions: %q", message, scpi.ErrGarbled, len(answers), len(questions), shorten(reply))
		t.Tear(err)
		return err
	}
	for i, q := range questions {
		got, err := parseReply(answers[i], q.step)
		if err != nil {
			err = fmt.Errorf("reply to %s: %w", q.query, err)
			t.Tear(err)
			return err
		}
		if err := verify(ctx, t, q.step, q.query, q.settings, got); err != nil {
			return err
		}
	}
	return nil
}
