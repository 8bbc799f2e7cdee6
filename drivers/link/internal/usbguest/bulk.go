//go:build linux

package usbguest

import (
	"encoding/binary"
)

// Messages of the bulk endpoints (USBTMC 1.0, table 2; USB488, table 1).
const (
	deviceMessageOut = 1
	requestMessageIn = 2
	triggerMessage   = 128

	bulkHeader   = 12
	endOfMessage = 1
	// packets is what one transfer request of the kernel's driver carries. One
	// filled to the brim does not end a transfer.
	packets = 4096
)

// outTransfer is a message to the instrument, as far as it has come.
type outTransfer struct {
	left    int // bytes still to come in this transfer, without padding
	last    bool
	message []byte
	tag     byte // of the latest transfer
	heard   bool // a message has come since a reply was last asked for
}

// inTransfer is a reply to the kernel.
type inTransfer struct {
	asked     bool // the kernel asked and has not been answered
	tag       byte
	most      int      // bytes it asked for
	chunks    [][]byte // what to send, one for each of the kernel's requests
	held      bool     // chunks go out one by one, each on release
	released  int
	stalled   bool
	answering bool // a transfer is being sent; it ends with chunks
}

// reset is a device clear.
func (d *device) reset() {
	d.out = outTransfer{tag: d.out.tag}
	d.in = inTransfer{}
	d.instrument.reset()
}

func (d *device) messageAvailable() bool {
	return d.instrument.available() || d.in.answering
}

// receive takes one piece of an outgoing transfer.
func (d *device) receive(data []byte) {
	if d.out.left == 0 {
		var ok bool
		if data, ok = d.header(data); !ok {
			return
		}
	}
	n := min(d.out.left, len(data))
	d.out.message = append(d.out.message, data[:n]...)
	d.out.left -= n
	if d.out.left > 0 {
		return
	}
	if rest := len(data) - n; rest > 3 {
		d.violation("%d bytes follow a message", rest)
	}
	if d.out.last {
		message := d.out.message
		d.out.message, d.out.heard = nil, true
		d.instrument.execute(message)
	}
}

// header checks the header of an outgoing transfer. It reports whether data
// follows.
func (d *device) header(h []byte) (data []byte, follows bool) {
	if len(h) < bulkHeader {
		d.violation("a header of %d bytes", len(h))
		return nil, false
	}
	tag, size := h[1], int(binary.LittleEndian.Uint32(h[4:]))
	if tag == 0 || h[2] != ^tag || h[3] != 0 {
		d.violation("header % x", h[:bulkHeader])
	}
	if next := d.out.tag%255 + 1; d.out.tag != 0 && tag != next {
		d.violation("tag %d came after tag %d", tag, d.out.tag)
	}
	if len(h)%4 != 0 {
		d.violation("a transfer of %d bytes is not padded", len(h))
	}
	d.out.tag = tag
	switch h[0] {
	case deviceMessageOut:
		if d.in.asked || d.in.answering {
			d.violation("a message came while a reply was asked for")
		}
		d.out.left, d.out.last = size, h[8]&endOfMessage != 0
		return h[bulkHeader:], true
	case requestMessageIn:
		// Whoever cannot know whether a reply waits may ask once for each message.
		if !d.instrument.available() && (d.spec.Status == StatusTells || !d.out.heard) {
			d.violation("a reply was asked for and none waited")
		}
		d.out.heard = false
		d.in.asked, d.in.tag, d.in.most = true, tag, size
		d.in.chunks, d.in.released = nil, 0
	case triggerMessage:
	default:
		d.violation("message %d is not known", h[0])
	}
	return nil, false
}

// pump sends what can be sent.
func (d *device) pump() {
	if d.in.asked && d.instrument.available() && !d.in.answering {
		d.begin()
	}
	for len(d.bulk) > 0 {
		q := d.bulk[0]
		switch {
		case d.in.stalled:
			d.send(answer(answerSubmit, q.sequence, statusStall, 0, nil))
		case len(d.in.chunks) == 0 || d.in.held && d.in.released == 0:
			return
		default:
			chunk := d.in.chunks[0]
			d.in.chunks = d.in.chunks[1:]
			d.in.released--
			d.send(answer(answerSubmit, q.sequence, statusOK, len(chunk), chunk))
			if len(d.in.chunks) == 0 {
				d.in.answering, d.in.held = false, false
			}
		}
		d.bulk = d.bulk[1:]
	}
}

// begin makes a transfer of the next reply, or of as much as was asked for,
// with the fault that the test wants.
func (d *device) begin() {
	data, end, fault := d.instrument.take(d.in.most)
	d.in.asked = false
	h := make([]byte, bulkHeader, bulkHeader+len(data))
	h[0], h[1], h[2] = requestMessageIn, d.in.tag, ^d.in.tag
	binary.LittleEndian.PutUint32(h[4:], uint32(len(data)))
	if end {
		h[8] = endOfMessage
	}
	switch fault {
	case WrongTag:
		h[1]++
		h[2] = ^h[1]
	case WrongMessage:
		h[0] = triggerMessage
	case Stall:
		d.in.stalled = true
		return
	case Swallow:
		return
	}
	transfer := append(h, data...)
	for len(transfer) >= packets {
		d.in.chunks = append(d.in.chunks, transfer[:packets])
		transfer = transfer[packets:]
	}
	if len(transfer) > 0 || fault != NoShortPacket {
		d.in.chunks = append(d.in.chunks, transfer)
	}
	d.in.answering, d.in.held = true, fault == Hold
}
