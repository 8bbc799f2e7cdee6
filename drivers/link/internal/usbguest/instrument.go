//go:build linux

package usbguest

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"net"
	"strconv"
	"strings"
)

// Fault is what goes wrong with the next transfer of a reply.
type Fault string

// The faults there are.
const (
	WrongTag      Fault = "wrong tag"       // the transfer answers another request
	WrongMessage  Fault = "wrong message"   // it is none of a reply
	Stall         Fault = "stall"           // the endpoint halts
	Swallow       Fault = "swallow"         // the reply was announced and never comes
	Hold          Fault = "hold"            // 4 KiB at a time, each on Release
	NoShortPacket Fault = "no short packet" // a transfer of whole packets does not end
	Split         Fault = "split"           // the reply comes in transfers of 7 bytes
	Single        Fault = "single bytes"    // in transfers of one byte
)

// splitSizes are what each transfer of a split reply brings, bytes.
var splitSizes = map[Fault]int{Split: 7, Single: 1}

// instrument is what is behind the USB interface: it takes messages and has
// replies waiting. The device's lock is held for all its methods but await.
type instrument struct {
	spec     Spec
	received [][]byte
	reply    []byte
	fault    Fault
	split    int // what each transfer of this reply brings; 0: all
	bridge   *bufio.ReadWriter
}

func (i *instrument) reset() { i.reply, i.split = nil, 0 }

func (i *instrument) available() bool { return len(i.reply) > 0 }

// take removes at most so many bytes of the reply.
func (i *instrument) take(most int) (data []byte, end bool, fault Fault) {
	if size := splitSizes[i.fault]; size > 0 {
		i.split, i.fault = size, ""
	}
	if i.split > 0 {
		most = min(most, i.split)
	}
	n := min(most, len(i.reply))
	data, i.reply = i.reply[:n], i.reply[n:]
	end = len(i.reply) == 0
	if end {
		i.split = 0
	}
	fault, i.fault = i.fault, ""
	if fault == Swallow {
		i.reply = nil
	}
	return data, end, fault
}

// execute carries a message out.
func (i *instrument) execute(message []byte) {
	switch {
	case i.spec.Far:
		i.received = append(i.received, message)
	case i.spec.Bridge != "":
		if reply, err := i.ask(message); err == nil {
			i.reply = append(i.reply, reply...)
		} else {
			i.reply = fmt.Appendf(i.reply, "bridge: %v\n", err)
		}
	default:
		i.reply = append(i.reply, i.answer(string(message))...)
		i.received = append(i.received, message)
	}
}

// answer is the emulated instrument's: "*IDN?", "DATA? n" for a block of n
// bytes of Pattern, and silence to anything else.
func (i *instrument) answer(message string) []byte {
	header, argument, _ := strings.Cut(strings.TrimSpace(message), " ")
	switch header {
	case "*IDN?":
		return []byte(i.spec.Identity() + "\n")
	case "DATA?":
		n, err := strconv.Atoi(argument)
		if err != nil {
			return []byte("no number\n")
		}
		return append(fmt.Appendf(nil, "#9%09d", n), append(Pattern(n), '\n')...)
	}
	return nil
}

// Identity is the answer to *IDN?.
func (s Spec) Identity() string { return Maker + "," + Model + "," + s.SerialNumber + ",1" }

// Pattern is n bytes in which no part of 4 KiB or so looks like another.
func Pattern(n int) []byte {
	p := make([]byte, n)
	for i := range p {
		p[i] = byte(i ^ i>>8*7 ^ i>>16*13)
	}
	return p
}

// ask passes a message on to a socket and returns its reply, which is a line or
// a block followed by the end of a line.
func (i *instrument) ask(message []byte) ([]byte, error) {
	if i.bridge == nil {
		conn, err := net.Dial("tcp", i.spec.Bridge)
		if err != nil {
			return nil, err
		}
		i.bridge = bufio.NewReadWriter(bufio.NewReader(conn), bufio.NewWriter(conn))
	}
	i.bridge.Write(message)
	if err := i.bridge.Flush(); err != nil {
		return nil, err
	}
	if !bytes.Contains(message, []byte("?")) {
		return nil, nil
	}
	var reply []byte
	if head, err := i.bridge.Peek(2); err == nil && head[0] == '#' {
		head, err := i.bridge.Peek(2 + int(head[1]-'0'))
		if err != nil {
			return nil, err
		}
		n, err := strconv.Atoi(string(head[2:]))
		if err != nil {
			return nil, err
		}
		reply = make([]byte, len(head)+n)
		if _, err := io.ReadFull(i.bridge, reply); err != nil {
			return nil, err
		}
	}
	rest, err := i.bridge.ReadBytes('\n')
	return append(reply, rest...), err
}
