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

// OfItself says whether an instrument complains of more than of what it was
// sent: command and query errors are of the conversation alone.
func (m InstrumentMessage) OfItself() bool {
	return m.Class() != "command error" && m.Class() != "query error"
}

// Refused is what the instrument's error queue held after a command.
type Refused struct{ Messages []InstrumentMessage }

// Error lists the queue, and what it held several times once.
func (r *Refused) Error() string {
	var texts []string
	times := map[string]int{}
	for _, m := range r.Messages {
		text := m.Class() + " " + m.String()
		if times[text]++; times[text] == 1 {
			texts = append(texts, text)
		}
	}
	for i, text := range texts {
		if n := times[text]; n > 1 {
			texts[i] = fmt.Sprintf("%s (%d times)", text, n)
		}
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

// eventStatus are the bits of the standard event status register (IEEE 488.2
// section 11.5.1) that say something went wrong, each with the error that SCPI-99
// volume 2 section 21.8 gives its class.
var eventStatus = []struct {
	bit int
	InstrumentMessage
}{
	{4, InstrumentMessage{-400, "Query error"}},
	{8, InstrumentMessage{-300, "Device-specific error"}},
	{16, InstrumentMessage{-200, "Execution error"}},
	{32, InstrumentMessage{-100, "Command error"}},
	{128, InstrumentMessage{-500, "Power on"}},
}

// ParseErrorReply reads what an error query answered: one entry of the error
// queue, or for *ESR? the register's bits as if they were entries. No entries
// means no error.
func ParseErrorReply(query, reply string) ([]InstrumentMessage, error) {
	if !strings.EqualFold(query, "*ESR?") {
		m, err := ParseInstrumentMessage(reply)
		if err != nil || m.Number == 0 {
			return nil, err
		}
		return []InstrumentMessage{m}, nil
	}
	n, err := parseInteger(reply)
	if err != nil || n < 0 || n > 255 {
		return nil, fmt.Errorf("%w: %q is no event status; a whole number from 0 to 255 was expected", ErrGarbled, shorten(reply))
	}
	var messages []InstrumentMessage
	for _, s := range eventStatus {
		if n&s.bit != 0 {
			messages = append(messages, s.InstrumentMessage)
		}
	}
	return messages, nil
}

// shorten keeps error texts readable.
func shorten(s string) string {
	if len(s) > 80 {
		return s[:77] + "..."
	}
	return s
}
