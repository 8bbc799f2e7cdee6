package scpi

import (
	"errors"
	"fmt"
	"strings"
)

var (
	// ErrGarbled says that what arrived is no reply to what was asked.
	ErrGarbled = errors.New("the answer makes no sense")
	// ErrTorn says that an earlier reply was lost or cut off, so that the next
	// bytes might be its rest. Only Resync helps.
	ErrTorn = errors.New("out of step with the instrument since an earlier failure")
	// ErrNotSent says that nothing of the command was sent: it is not one line
	// of printable ASCII, or the context had ended.
	ErrNotSent = errors.New("not sent")
)

// InstrumentMessage is one entry of the instrument's error queue.
type InstrumentMessage struct {
	Number int
	Text   string
}

// String is the entry as SCPI words it.
func (m InstrumentMessage) String() string { return fmt.Sprintf("%d, %q", m.Number, m.Text) }

// Class names the group of errors that the number belongs to (SCPI-99 volume 2
// section 21.8).
func (m InstrumentMessage) Class() string {
	switch n := m.Number; {
	case n == 0:
		return "no error"
	case n > 0:
		return "device-specific error"
	case n > -100:
		return "unknown"
	case n > -200:
		return "command error"
	case n > -300:
		return "execution error"
	case n > -400:
		return "device-specific error"
	case n > -500:
		return "query error"
	case n > -600:
		return "power on"
	case n > -700:
		return "user request"
	case n > -800:
		return "request control"
	case n > -900:
		return "operation complete"
	}
	return "unknown"
}

// Refused is what the instrument's error queue held after a command.
type Refused struct{ Messages []InstrumentMessage }

// Error lists the queue.
func (r *Refused) Error() string {
	texts := make([]string, len(r.Messages))
	for i, m := range r.Messages {
		texts[i] = m.Class() + " " + m.String()
	}
	return "the instrument refused: " + strings.Join(texts, "; ")
}

// UnknownCommand says whether every entry is a command error: the instrument
// does not have the command.
func (r *Refused) UnknownCommand() bool {
	for _, m := range r.Messages {
		if m.Class() != "command error" {
			return false
		}
	}
	return len(r.Messages) > 0
}

// ParseInstrumentMessage reads a reply to SYSTem:ERRor?:
// number,"text[;detail]".
func ParseInstrumentMessage(reply string) (InstrumentMessage, error) {
	number, text, _ := strings.Cut(strings.TrimSpace(reply), ",")
	n, err := parseInteger(number)
	if err != nil || n < -32768 || n > 32767 {
		return InstrumentMessage{}, fmt.Errorf("%w: %q is no entry of an error queue: number, \"text\" was expected", ErrGarbled, shorten(reply))
	}
	text = strings.TrimSpace(text)
	if inner, ok := strings.CutPrefix(text, `"`); ok {
		text = strings.ReplaceAll(strings.TrimSuffix(inner, `"`), `""`, `"`)
	}
	return InstrumentMessage{Number: n, Text: text}, nil
}

// shorten keeps error texts readable.
func shorten(s string) string {
	if len(s) > 80 {
		return s[:77] + "..."
	}
	return s
}
