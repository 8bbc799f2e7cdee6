// Package fake is an instrument for tests: it keeps state, logs what it was
// sent, and misbehaves on request. It shares no code with what it tests.
package fake

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"sync"
)

// Fault may change, drop (nil) or add to the bytes that answer a message.
type Fault func(message string, reply []byte) []byte

// Instrument answers lines. Commands maps a header, with its question mark for
// a query, to what it does; a query returns its reply.
type Instrument struct {
	Identity string
	Commands map[string]func(argument string) string

	mu     sync.Mutex
	log    []string // message units, in order
	errors []string
	fault  Fault
}

// SetFault installs a fault; nil removes it.
func (i *Instrument) SetFault(f Fault) {
	i.mu.Lock()
	defer i.mu.Unlock()
	i.fault = f
}

// Log returns every message unit received so far.
func (i *Instrument) Log() []string {
	i.mu.Lock()
	defer i.mu.Unlock()
	return append([]string(nil), i.log...)
}

// Count says how often a message unit was received.
func (i *Instrument) Count(unit string) int {
	n := 0
	for _, u := range i.Log() {
		if u == unit {
			n++
		}
	}
	return n
}

// Do runs f while the instrument is not answering, for looking at its state.
func (i *Instrument) Do(f func()) {
	i.mu.Lock()
	defer i.mu.Unlock()
	f()
}

// pushError puts an entry into the error queue; the instrument's lock is held
// when commands call it.
func (i *Instrument) pushError(number int, text string) {
	i.errors = append(i.errors, fmt.Sprintf("%d,%q", number, text))
}

// Serve answers lines from rw until it ends.
func (i *Instrument) Serve(rw io.ReadWriter) {
	lines := bufio.NewReader(rw)
	for {
		line, err := lines.ReadString('\n')
		if err != nil {
			return
		}
		if reply := i.answer(strings.TrimSuffix(line, "\n")); len(reply) > 0 {
			if _, err := rw.Write(reply); err != nil {
				return
			}
		}
	}
}

// answer executes a message and returns the bytes to send.
func (i *Instrument) answer(message string) []byte {
	i.mu.Lock()
	defer i.mu.Unlock()
	var replies []string
	for _, unit := range strings.Split(message, ";") {
		unit = strings.TrimPrefix(strings.TrimSpace(unit), ":")
		if unit == "" {
			continue
		}
		i.log = append(i.log, unit)
		if reply, ok := i.execute(unit); ok {
			replies = append(replies, reply)
		}
	}
	var out []byte
	if len(replies) > 0 {
		out = []byte(strings.Join(replies, ";") + "\n")
	}
	if i.fault != nil {
		out = i.fault(message, out)
	}
	return out
}

func (i *Instrument) execute(unit string) (reply string, query bool) {
	header, argument, _ := strings.Cut(unit, " ")
	switch header {
	case "*IDN?":
		return i.Identity, true
	case "*CLS":
		i.errors = nil
		return "", false
	case "SYSTem:ERRor?":
		if len(i.errors) == 0 {
			return `0,"No error"`, true
		}
		first := i.errors[0]
		i.errors = i.errors[1:]
		return first, true
	}
	do, ok := i.Commands[header]
	if !ok {
		i.pushError(-113, "Undefined header;"+header)
		return "", false
	}
	reply = do(argument)
	return reply, strings.HasSuffix(header, "?")
}
