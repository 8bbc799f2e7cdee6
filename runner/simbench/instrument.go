package simbench

import (
	"strings"
	"time"
)

// instrument is the part that every simulated instrument shares: it takes program messages apart, finds the command,
// keeps the error queue and the status registers of IEEE 488.2 and SCPI-99, and composes the reply.
//
// An instrument is not safe for concurrent use; the bench's lock is held round every message.
type instrument struct {
	identity string // the four fields of *IDN?
	commands []command
	status   status
	// reset puts the settings back to their state at *RST.
	reset func(now time.Time)
	// observe brings the condition registers up to now, before they are read.
	observe func(now time.Time)
}

// newInstrument makes an instrument that has just been switched on.
func newInstrument(identity string, reset, observe func(now time.Time), commands ...command) *instrument {
	i := &instrument{identity: identity, reset: reset, observe: observe}
	i.status.event = eventPowerOn
	i.commands = append(append(i.commonCommands(), i.requiredCommands()...), commands...)
	for n := range i.commands {
		i.commands[n].compile()
	}
	return i
}

// execute runs one line of program messages and returns its reply, LF included, or nothing when nothing was asked.
func (i *instrument) execute(line string, now time.Time) []byte {
	var reply []byte
	identified := false
	for _, unit := range splitOutsideQuotes(line, ';') {
		if unit = strings.TrimSpace(unit); unit == "" {
			continue
		}
		m, err := parseMessage(unit)
		if err == nil && identified && m.query {
			// The identity is arbitrary text, so nothing may follow it in one reply (IEEE 488.2, 10.14).
			err = errorf(-440, "%s after *IDN?", unit)
		}
		var answer []byte
		if err == nil {
			answer, err = i.run(m, now, len(reply) > 0)
		}
		if err != nil {
			i.status.push(*err)
			continue
		}
		if m.query {
			if len(reply) > 0 {
				reply = append(reply, ';')
			}
			reply = append(reply, answer...)
			identified = identified || m.words[0] == "*IDN"
		}
	}
	if len(reply) > 0 {
		reply = append(reply, '\n')
	}
	return reply
}

// run executes one message unit; waiting tells whether part of the reply is already there.
func (i *instrument) run(m message, now time.Time, waiting bool) ([]byte, *scpiError) {
	i.observe(now)
	header := strings.Join(m.words, ":")
	for n := range i.commands {
		c := &i.commands[n]
		suffix, ok := matchHeader(c.nodes, m.words)
		if !ok || m.query && c.query == nil || !m.query && c.set == nil {
			continue
		}
		want := c.parameters
		if m.query {
			want = c.queryParameters
		}
		switch given := len(m.parameters); {
		case given < want:
			return nil, errorf(-109, "%s takes %d, got %d", header, want, given)
		case given > want:
			return nil, errorf(-108, "%s takes %d, got %d", header, want, given)
		}
		arguments := call{now: now, suffix: suffix, parameters: m.parameters}
		if !m.query {
			return nil, c.set(arguments)
		}
		if len(c.nodes) == 1 && c.nodes[0].long == "*STB" {
			return integer(i.status.statusByte(waiting)), nil
		}
		return c.query(arguments)
	}
	if m.query {
		header += "?"
	}
	return nil, errorf(-113, "%s", header)
}

// commonCommands are the mandatory common commands of IEEE 488.2 (10.2).
func (i *instrument) commonCommands() []command {
	s := &i.status
	nothing := func(call) *scpiError { return nil }
	return []command{
		{pattern: "*IDN", query: func(call) ([]byte, *scpiError) { return []byte(i.identity), nil }},
		{pattern: "*RST", set: func(c call) *scpiError { i.reset(c.now); return nil }},
		{pattern: "*CLS", set: func(call) *scpiError { s.clear(); return nil }},
		{pattern: "*ESR", query: func(call) ([]byte, *scpiError) {
			event := s.event
			s.event = 0
			return integer(event), nil
		}},
		mask("*ESE", &s.eventEnable, 255),
		mask("*SRE", &s.serviceEnable, 255),
		{pattern: "*STB", query: func(call) ([]byte, *scpiError) { return integer(s.statusByte(false)), nil }},
		// Every command is complete when the next is read; INITiate is complete once the scope is armed, so none of
		// these three ever waits.
		{pattern: "*OPC", set: func(call) *scpiError { s.event |= eventComplete; return nil },
			query: func(call) ([]byte, *scpiError) { return []byte("1"), nil }},
		{pattern: "*WAI", set: nothing},
		{pattern: "*TST", query: func(call) ([]byte, *scpiError) { return []byte("0"), nil }},
	}
}

// requiredCommands are those that SCPI-99 (volume 1, 4.2.1) asks of every instrument.
func (i *instrument) requiredCommands() []command {
	s := &i.status
	commands := []command{
		{pattern: "SYSTem:ERRor[:NEXT]", query: func(call) ([]byte, *scpiError) { return s.next().reply(), nil }},
		{pattern: "SYSTem:VERSion", query: func(call) ([]byte, *scpiError) { return []byte("1999.0"), nil }},
		{pattern: "STATus:PRESet", set: func(call) *scpiError {
			s.operation.enable, s.questionable.enable = 0, 0
			return nil
		}},
	}
	for name, r := range map[string]*register{"OPERation": &s.operation, "QUEStionable": &s.questionable} {
		commands = append(commands,
			command{pattern: "STATus:" + name + "[:EVENt]", query: func(call) ([]byte, *scpiError) {
				event := r.event
				r.event = 0
				return integer(event), nil
			}},
			command{pattern: "STATus:" + name + ":CONDition", query: func(call) ([]byte, *scpiError) {
				return integer(r.condition), nil
			}},
			mask("STATus:"+name+":ENABle", &r.enable, 32767))
	}
	return commands
}

// mask is a command that sets and queries an enable register.
func mask(pattern string, register *int, high int) command {
	return command{pattern: pattern, parameters: 1,
		set: func(c call) *scpiError {
			v, err := c.whole(0, 0, high)
			if err == nil {
				*register = v
			}
			return err
		},
		query: func(call) ([]byte, *scpiError) { return integer(*register), nil },
	}
}

// quantity is a command that sets a number within low…high and answers it; allow, where given, may refuse it.
func quantity(pattern, unit string, value *float64, low, high float64, allow func(v float64) *scpiError) command {
	return command{pattern: pattern, parameters: 1,
		set: func(c call) *scpiError {
			v, err := c.number(0, unit, low, high)
			if err == nil && allow != nil {
				err = allow(v)
			}
			if err == nil {
				*value = v
			}
			return err
		},
		query: func(call) ([]byte, *scpiError) { return real(*value), nil },
	}
}
