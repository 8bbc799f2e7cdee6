package simbench

import "fmt"

// scpiError is one entry of an instrument's error queue.
type scpiError struct {
	number int
	detail string
}

// errorf makes an error of a standard number; the detail follows the standard text behind a semicolon.
func errorf(number int, detail string, arguments ...any) *scpiError {
	return &scpiError{number: number, detail: fmt.Sprintf(detail, arguments...)}
}

// standardTexts are the texts of SCPI-99 volume 2, chapter 21.
var standardTexts = map[int]string{
	0:    "No error",
	-101: "Invalid character",
	-102: "Syntax error",
	-104: "Data type error",
	-108: "Parameter not allowed",
	-109: "Missing parameter",
	-112: "Program mnemonic too long",
	-113: "Undefined header",
	-114: "Header suffix out of range",
	-121: "Invalid character in number",
	-123: "Exponent too large",
	-124: "Too many digits",
	-131: "Invalid suffix",
	-138: "Suffix not allowed",
	-213: "Init ignored",
	-221: "Settings conflict",
	-222: "Data out of range",
	-224: "Illegal parameter value",
	-230: "Data corrupt or stale",
	-240: "Hardware error",
	-350: "Queue overflow",
	-363: "Input buffer overrun",
	-440: "Query UNTERMINATED after indefinite response",
}

// errorTextMax is the longest error text that SCPI-99 allows, in characters.
const errorTextMax = 255

// reply words the error as SYSTem:ERRor? answers it.
func (e scpiError) reply() []byte {
	text := standardTexts[e.number]
	if text == "" {
		text = "Device-specific error"
	}
	if e.detail != "" {
		text += ";" + e.detail
	}
	if len(text) > errorTextMax {
		text = text[:errorTextMax]
	}
	// A quote inside a string response is doubled (IEEE 488.2, 8.7.8); the details here avoid it.
	return fmt.Appendf(nil, "%d,%q", e.number, text)
}

// Bits of the standard event status register (IEEE 488.2, 11.5.1).
const (
	eventComplete  = 1
	eventQuery     = 4
	eventDevice    = 8
	eventExecution = 16
	eventCommand   = 32
	eventPowerOn   = 128
)

// eventBit is the standard event that an error number belongs to.
func eventBit(number int) int {
	switch {
	case number <= -100 && number >= -199:
		return eventCommand
	case number <= -200 && number >= -299:
		return eventExecution
	case number <= -400 && number >= -499:
		return eventQuery
	case number != 0:
		return eventDevice
	}
	return 0
}

// Bits of the status byte (IEEE 488.2, 11.2; SCPI-99 volume 1, chapter 9).
const (
	byteErrorQueue   = 4
	byteQuestionable = 8
	byteMessage      = 16
	byteEvent        = 32
	byteMaster       = 64
	byteOperation    = 128
)

// errorQueueDepth is how many errors wait before the newest is replaced by -350.
const errorQueueDepth = 16

// register is one SCPI status register: the condition now, the events latched since they were last read, and the mask.
type register struct{ condition, event, enable int }

// set moves the condition and latches every bit that went from 0 to 1.
func (r *register) set(condition int) {
	r.event |= condition &^ r.condition
	r.condition = condition
}

// status is what an instrument reports about itself.
type status struct {
	queue                   []scpiError
	event, eventEnable      int
	serviceEnable           int
	operation, questionable register
	endless                 bool // fault for tests: the queue never empties
}

// push queues an error and sets its standard event.
func (s *status) push(e scpiError) {
	s.event |= eventBit(e.number)
	if len(s.queue) == errorQueueDepth {
		s.queue[errorQueueDepth-1] = scpiError{number: -350}
		s.event |= eventDevice
		return
	}
	s.queue = append(s.queue, e)
}

// next takes the oldest error out of the queue.
func (s *status) next() scpiError {
	if len(s.queue) == 0 {
		if s.endless {
			return scpiError{number: -240}
		}
		return scpiError{}
	}
	e := s.queue[0]
	s.queue = s.queue[1:]
	return e
}

// clear empties the queue and the event registers, as *CLS does; the masks stay.
func (s *status) clear() {
	s.queue, s.event, s.operation.event, s.questionable.event = nil, 0, 0, 0
}

// statusByte sums the registers up; waiting tells whether part of a reply is already waiting to be sent.
func (s *status) statusByte(waiting bool) int {
	b := 0
	for bit, set := range map[int]bool{
		byteErrorQueue:   len(s.queue) > 0,
		byteQuestionable: s.questionable.event&s.questionable.enable != 0,
		byteMessage:      waiting,
		byteEvent:        s.event&s.eventEnable != 0,
		byteOperation:    s.operation.event&s.operation.enable != 0,
	} {
		if set {
			b |= bit
		}
	}
	if b&s.serviceEnable&^byteMaster != 0 {
		b |= byteMaster
	}
	return b
}
