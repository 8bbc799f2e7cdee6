package benchcheck

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"

	"ringup/drivers/link"
	"ringup/drivers/scpi"
)

// Bauds are the serial speeds that instruments are commonly set to, the likeliest first.
var Bauds = []int{9600, 115200, 57600, 38400, 19200, 4800, 2400}

const (
	identityQuery = "*IDN?"
	// Time for an answer, and the silence after which a line without a line feed is taken to be whole.
	serialPatience = 500 * time.Millisecond
	otherPatience  = 2 * time.Second
	silence        = 100 * time.Millisecond
)

// Answer is what an address said to *IDN?.
type Answer struct {
	Address link.Address // with the speed at which it answered, or mav=off if it answered only so
	// Reply is the line, without what ended it.
	Reply string
	// Sent and Ended are the terminators that were sent and received: "CR LF", "LF", "CR" or "nothing".
	Sent, Ended string
}

// UnreadableError says that nothing readable answered.
type UnreadableError struct {
	Address link.Address
	Tried   []int  // serial speeds, in the order they were tried
	MAVOff  bool   // a USB-TMC instrument was asked with mav=off, too
	Garbage []byte // the start of what came instead, at the speed of the address first; empty if nothing came
}

func (e *UnreadableError) Error() string {
	var b strings.Builder
	b.WriteString("no readable *IDN?")
	if e.Address.Kind == link.Serial {
		fmt.Fprintf(&b, " at %d baud", e.Tried[0])
		if len(e.Tried) > 1 {
			var others []string
			for _, baud := range e.Tried[1:] {
				others = append(others, fmt.Sprint(baud))
			}
			fmt.Fprintf(&b, "; tried %s too", strings.Join(others, ", "))
		}
		b.WriteString(", with CR LF and with LF")
	}
	if e.MAVOff {
		b.WriteString(", neither when its status byte says that a reply waits nor when it is asked straight away (mav=off)")
	}
	if len(e.Garbage) > 0 {
		fmt.Fprintf(&b, "; received %q", e.Garbage)
	} else {
		b.WriteString("; nothing came")
	}
	return b.String()
}

// terminator is one way to end a message. CR LF comes first: white space before the LF means nothing to an IEEE 488.2
// instrument (section 7.1.2), and one that ends its messages with CR is served, too.
type terminator struct{ name, bytes string }

var terminators = []terminator{{"CR LF", "\r\n"}, {"LF", "\n"}}

// Ask writes *IDN? to an address and reads what comes. At a serial port it tries the address's own speed and then, with
// search, the common others; of a USB-TMC instrument, with search, it heeds the status byte and then does without. The
// error is an *UnreadableError, or why the address cannot be opened.
func Ask(ctx context.Context, a link.Address, search bool) (Answer, error) {
	if a.Kind != link.Serial {
		return askMessages(ctx, a, search)
	}
	bauds := []int{a.Baud}
	if search {
		for _, b := range Bauds {
			if b != a.Baud {
				bauds = append(bauds, b)
			}
		}
	}
	unreadable := &UnreadableError{Address: a}
	for _, a.Baud = range bauds {
		unreadable.Tried = append(unreadable.Tried, a.Baud)
		answer, err := askAt(ctx, a, terminators, serialPatience, unreadable)
		if err == nil || !errors.Is(err, unreadable) {
			return answer, err
		}
	}
	return Answer{}, unreadable
}

// askMessages asks over a link that has no speed. A USB-TMC instrument that seems to say nothing may be one whose status
// byte does not tell that a reply waits.
func askMessages(ctx context.Context, a link.Address, search bool) (Answer, error) {
	unreadable := &UnreadableError{Address: a}
	answer, err := askAt(ctx, a, terminators[1:], otherPatience, unreadable)
	quiet := errors.Is(err, link.ErrNoStatus) || errors.Is(err, unreadable) && len(unreadable.Garbage) == 0
	if a.Kind != link.USBTMC || a.MAVOff || !search || !quiet {
		return answer, err
	}
	a.MAVOff, unreadable.MAVOff = true, true
	return askAt(ctx, a, terminators[1:], otherPatience, unreadable)
}

// askAt asks at one speed, once for each terminator: the first also ends whatever an earlier attempt at another speed
// left in the instrument's input.
func askAt(ctx context.Context, a link.Address, ends []terminator, patience time.Duration, unreadable *UnreadableError) (Answer, error) {
	l, err := link.Open(a.String())
	if err != nil {
		return Answer{}, err
	}
	defer l.Close()
	for _, end := range ends {
		if err := ctx.Err(); err != nil {
			return Answer{}, err
		}
		if err := l.Write([]byte(identityQuery+end.bytes), time.Now().Add(patience)); err != nil {
			return Answer{}, err
		}
		got, err := listen(ctx, l, patience)
		if err != nil {
			return Answer{}, err
		}
		if reply, ended, ok := readable(got); ok {
			return Answer{Address: a, Reply: reply, Sent: end.name, Ended: ended}, nil
		}
		if len(unreadable.Garbage) == 0 {
			unreadable.Garbage = got[:min(len(got), 24)]
		}
	}
	return Answer{}, unreadable
}

// listen gathers what comes until a line feed, a silence after at least one byte, or the end of patience. An instrument
// may repeat the question before it answers.
func listen(ctx context.Context, l link.Link, patience time.Duration) ([]byte, error) {
	var got []byte
	chunk := make([]byte, 512)
	for end := time.Now().Add(patience); ctx.Err() == nil && len(got) < 4096; {
		deadline := end
		if quiet := time.Now().Add(silence); len(got) > 0 && quiet.Before(end) {
			deadline = quiet
		}
		n, err := l.Read(chunk, deadline)
		got = append(got, chunk[:n]...)
		if errors.Is(err, link.ErrTimeout) {
			break
		}
		if err != nil {
			return nil, err
		}
		if _, _, ok := readable(got); ok && bytes.HasSuffix(got, []byte("\n")) {
			break
		}
	}
	return got, ctx.Err()
}

// readable takes the last line of what came as an identity: four fields, or at least some letters and nothing that is
// not printable.
func readable(got []byte) (reply, ended string, ok bool) {
	text := strings.TrimLeft(string(got), "\x00\r\n")
	line := strings.TrimRight(text, "\r\n")
	switch text[len(line):] {
	case "\r\n":
		ended = "CR LF"
	case "\n":
		ended = "LF"
	case "\r":
		ended = "CR"
	default:
		ended = "nothing"
	}
	if i := strings.LastIndexAny(line, "\r\n"); i >= 0 {
		line = line[i+1:]
	}
	if line == identityQuery {
		return "", "", false // its echo
	}
	letters := 0
	for _, r := range line {
		if r < ' ' || r > '~' {
			return "", "", false
		}
		if unicode.IsLetter(r) {
			letters++
		}
	}
	_, _, err := scpi.ParseIdentity(line)
	return line, ended, err == nil || letters >= 3 && len(line) >= 4
}

// SameInstrument says whether two identities are those of one instrument: maker, model and a serial number that says
// something.
func SameInstrument(a, b scpi.Identity) bool {
	return a.Maker == b.Maker && a.Model == b.Model && a.Serial == b.Serial && !slices.Contains([]string{"", "0"}, a.Serial)
}
