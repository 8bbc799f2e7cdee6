package simbench

import (
	"bytes"
	"slices"
	"strings"
	"time"
)

// WireFault is what goes wrong on an instrument's wire with one message and its reply, or from that message on.
type WireFault string

// The faults of a wire. A number that loses or changes a digit stays a number: these are the faults that no syntax
// shows.
const (
	CommandByteLost    WireFault = "command byte lost"    // on its way to the instrument; Blow.Spot says where
	CommandByteGarbled WireFault = "command byte garbled" // likewise
	ReplyByteLost      WireFault = "reply byte lost"      // the first digit of a text, the middle of a block
	ReplyByteGarbled   WireFault = "reply byte garbled"   // likewise
	ReplyLate          WireFault = "reply late"           // by Blow.Late
	ReplySplit         WireFault = "reply split"          // into single bytes
	RepliesGlued       WireFault = "replies glued"        // the one before comes again, in front of this one
	EchoOn             WireFault = "echo on"              // from this message on, until Heal
	LineNoise          WireFault = "line noise"           // two bytes in front of the reply, one of them a digit
	NoiseDigit         WireFault = "noise like a digit"   // a digit alone, the hardest noise to tell
	NULBytes           WireFault = "NUL bytes"            // in front of the reply, within it, and behind
	BlockCut           WireFault = "block cut short"      // breaks off in the middle; a text, too
	BlockCountWrong    WireFault = "block count wrong"    // says one byte less than come
	LinkClosed         WireFault = "link closed"          // after the message was carried out; until Heal
	LinkClosedAndBack  WireFault = "link closed and back" // the same, and at once it can be opened again
	Rebooted           WireFault = "instrument rebooted"  // instead of carrying the message out
	EndlessErrors      WireFault = "errors without end"   // the error queue, from this message on, until Heal
)

// WireFaults lists them all.
var WireFaults = []WireFault{
	CommandByteLost, CommandByteGarbled, ReplyByteLost, ReplyByteGarbled, ReplyLate, ReplySplit, RepliesGlued, EchoOn,
	LineNoise, NoiseDigit, NULBytes, BlockCut, BlockCountWrong, LinkClosed, LinkClosedAndBack, Rebooted, EndlessErrors,
}

// Blow is one fault at one message.
type Blow struct {
	Fault WireFault
	At    int           // strikes the message that comes after so many others
	Spot  int           // of Spots, for a command's fault
	Late  time.Duration // of ReplyLate, in real time
}

// Strike lets a fault befall an instrument's wire. One blow may wait at an instrument at a time.
func (f *Faults) Strike(name Instrument, b Blow) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.wires[name].blow, f.wires[name].since = &b, 0
}

// Listen has hear told of each message that reaches an instrument, before it is carried out, on the goroutine of its
// wire; nil ends it.
func (f *Faults) Listen(name Instrument, hear func(message string)) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.wires[name].hear = hear
}

// Heal ends what a blow has begun and plugs the wire in where it was pulled.
func (f *Faults) Heal(name Instrument) error {
	f.mu.Lock()
	f.wires[name].blow, f.wires[name].echo = nil, false
	f.mu.Unlock()
	f.endlessErrors(name, false)
	_, err := f.Plug(name)
	return err
}

// Spots are the bytes of a message that a fault of a command can strike: of each unit the first digit of its parameter
// or, where it has none, a letter.
func Spots(message string) []int {
	var spots []int
	start := 0
	for _, unit := range strings.SplitAfter(message, ";") {
		header, parameter, found := strings.Cut(unit, " ")
		switch digit := strings.IndexAny(parameter, "0123456789"); {
		case !found:
			spots = append(spots, start+len(header)/2)
		case digit < 0:
			spots = append(spots, start+len(header)+1)
		default:
			spots = append(spots, start+len(header)+1+digit)
		}
		start += len(unit)
	}
	return spots
}

// struck is what becomes of one message and its reply.
type struck struct {
	line string
	// lost says that the instrument does not carry the message out.
	lost bool
	// pieces makes of the reply what goes onto the wire, each piece in a write of its own.
	pieces func(reply []byte) [][]byte
	late   time.Duration
	// after is done once the reply has gone.
	after func() error
}

// strike looks whether a blow falls on the message that has just come.
func (f *Faults) strike(name Instrument, line string) struck {
	f.mu.Lock()
	w := f.wires[name]
	hear, before := w.hear, w.before
	s := struck{line: line}
	if w.blow != nil && w.since >= w.blow.At && line != "" {
		s = f.fall(name, *w.blow, line, before)
		w.blow = nil
	}
	w.since++
	if w.echo {
		pieces := s.pieces
		s.pieces = func(reply []byte) [][]byte {
			echoed := [][]byte{[]byte(line + "\n")}
			if pieces != nil {
				return append(echoed, pieces(reply)...)
			}
			return append(echoed, reply)
		}
	}
	f.mu.Unlock()
	if hear != nil {
		hear(line)
	}
	return s
}

// fall says what a blow does. f.mu is held.
func (f *Faults) fall(name Instrument, b Blow, line string, before []byte) struck {
	s := struck{line: line}
	silence := func([]byte) [][]byte { return nil }
	switch b.Fault {
	case CommandByteLost:
		spot := b.in(line)
		s.line = line[:spot] + line[spot+1:]
	case CommandByteGarbled:
		spot := b.in(line)
		s.line = line[:spot] + string(otherDigit(line[spot])) + line[spot+1:]
	case ReplyLate:
		s.late = b.Late
	case EchoOn:
		f.wires[name].echo = true
	case EndlessErrors:
		f.endlessErrors(name, true)
	case LinkClosed:
		s.pieces, s.after = silence, func() error { return f.Hangup(name) }
	case LinkClosedAndBack:
		s.pieces, s.after = silence, func() error { return f.replug(name) }
	case Rebooted:
		s.lost, s.after = true, func() error { return f.reboot(name) }
	default:
		s.pieces = func(reply []byte) [][]byte { return bend(b.Fault, reply, before) }
	}
	return s
}

// sent notes an instrument's last reply.
func (f *Faults) sent(name Instrument, reply []byte) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.wires[name].before = reply
}

// in is the byte of a message that the blow strikes: the last spot of one that has fewer.
func (b Blow) in(message string) int {
	spots := Spots(message)
	return spots[min(b.Spot, len(spots)-1)]
}

// replug pulls the wire and plugs it in again.
func (f *Faults) replug(name Instrument) error {
	if err := f.Hangup(name); err != nil {
		return err
	}
	_, err := f.Plug(name)
	return err
}

// bend is a fault of one reply; before is the reply before it.
func bend(fault WireFault, reply, before []byte) [][]byte {
	if len(reply) == 0 {
		return nil
	}
	whole := func(parts ...[]byte) [][]byte { return [][]byte{bytes.Join(parts, nil)} }
	header, middle := blockHeader(reply), tender(reply)
	switch fault {
	case ReplyByteLost:
		return whole(reply[:middle], reply[middle+1:])
	case ReplyByteGarbled:
		return whole(reply[:middle], []byte{otherDigit(reply[middle])}, reply[middle+1:])
	case ReplySplit:
		return slices.Collect(slices.Chunk(reply, 1))
	case RepliesGlued:
		return whole(before, reply)
	case LineNoise:
		return whole([]byte("\xfe7"), reply)
	case NoiseDigit:
		return whole([]byte("7"), reply)
	case NULBytes:
		return whole([]byte{0}, reply[:middle], []byte{0}, reply[middle:], []byte{0})
	case BlockCut:
		return whole(reply[:len(reply)/2])
	case BlockCountWrong:
		if header > 0 {
			return whole(reply[:header-1], []byte{reply[header-1] ^ 1}, reply[header:])
		}
	}
	return whole(reply)
}

// blockHeader is how long the header of a block is; 0 for another reply.
func blockHeader(reply []byte) int {
	if len(reply) < 2 || reply[0] != '#' {
		return 0
	}
	return 2 + int(reply[1]-'0')
}

// tender is where a reply is hurt most: the first digit of a text, the middle of a block.
func tender(reply []byte) int {
	if header := blockHeader(reply); header > 0 {
		return (header + len(reply)) / 2
	}
	return max(0, bytes.IndexAny(reply, "0123456789"))
}

// otherDigit turns a bit over, such that a digit stays one.
func otherDigit(c byte) byte {
	if c == '8' || c == '9' || c < '0' || c > '9' {
		return c ^ 1
	}
	return c ^ 4
}
