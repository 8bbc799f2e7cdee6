//go:build linux

package usbguest

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"os"
	"slices"
	"sync"
)

// Spec says what instrument to plug in.
type Spec struct {
	SerialNumber string
	// NoInterrupt leaves the notification endpoint out, so that the status byte
	// comes in the control transfer itself.
	NoInterrupt bool
	Status      Status
	// Bridge is the address (host:port) of a SCPI socket that answers instead of
	// the emulated instrument.
	Bridge string
	// Far has the instrument answer nothing by itself: the test plays it.
	Far bool
}

// Status is what the instrument's status byte is worth.
type Status string

// The sorts of status byte there are.
const (
	StatusTells  Status = ""       // bit MAV says whether a reply waits
	StatusZero   Status = "zero"   // it is always 0
	StatusAbsent Status = "absent" // the instrument is USBTMC alone, without USB488
)

// device is a USB488 device on its wire to the kernel.
type device struct {
	spec       Spec
	wire       *os.File
	plugged    Plugged
	instrument *instrument

	mu      sync.Mutex // guards what follows
	changed *sync.Cond // whenever a transfer begins, waits or ends
	gone    bool
	faults  []string // what the kernel did that the specification forbids

	out  outTransfer
	in   inTransfer
	bulk []request // incoming transfers that the kernel waits for
	note []request // likewise, for notifications
	said [][]byte  // notifications that wait for such a request
}

func newDevice(spec Spec, wire *os.File) *device {
	d := &device{spec: spec, wire: wire, instrument: &instrument{spec: spec}}
	d.changed = sync.NewCond(&d.mu)
	return d
}

// restart is switching the instrument off and on, as far as its memory goes.
func (d *device) restart() {
	d.reset()
	d.instrument = &instrument{spec: d.spec}
}

// serve answers the kernel until the device is unplugged.
func (d *device) serve() {
	r := bufio.NewReaderSize(d.wire, 1<<16)
	for {
		q, err := readRequest(r)
		d.mu.Lock()
		if err != nil {
			d.gone = true
			d.changed.Broadcast()
			d.mu.Unlock()
			return
		}
		if q.command == commandUnlink {
			d.unlink(q)
		} else {
			d.submit(q)
		}
		d.changed.Broadcast()
		d.mu.Unlock()
	}
}

// send writes to the kernel; a wire that is gone is noticed by serve.
func (d *device) send(message []byte) { d.wire.Write(message) }

func (d *device) violation(format string, args ...any) {
	d.faults = append(d.faults, fmt.Sprintf(format, args...))
}

// unlink takes a waiting request back. The kernel waits for the answer.
func (d *device) unlink(q request) {
	status := statusOK
	for _, waiting := range []*[]request{&d.bulk, &d.note} {
		if i := slices.IndexFunc(*waiting, func(w request) bool { return w.sequence == q.unlinks }); i >= 0 {
			*waiting = slices.Delete(*waiting, i, i+1)
			status = statusUnlinked
		}
	}
	d.send(answer(answerUnlink, q.sequence, status, 0, nil))
}

func (d *device) submit(q request) {
	switch {
	case q.endpoint == 0:
		reply, ok := d.control(q)
		switch {
		case !ok:
			d.send(answer(answerSubmit, q.sequence, statusStall, 0, nil))
		case q.in:
			reply = reply[:min(len(reply), q.length)]
			d.send(answer(answerSubmit, q.sequence, statusOK, len(reply), reply))
		default:
			d.send(answer(answerSubmit, q.sequence, statusOK, q.length, nil))
		}
	case q.endpoint == bulkOut && !q.in:
		d.send(answer(answerSubmit, q.sequence, statusOK, len(q.data), nil))
		d.receive(q.data)
		d.pump()
	case q.endpoint == bulkIn && q.in:
		d.bulk = append(d.bulk, q)
		d.pump()
	case q.endpoint == interruptIn && q.in:
		d.note = append(d.note, q)
		d.notify()
	default:
		d.violation("a transfer at endpoint %d", q.endpoint)
		d.send(answer(answerSubmit, q.sequence, statusStall, 0, nil))
	}
}

// notify sends notifications for which the kernel waits.
func (d *device) notify() {
	for len(d.note) > 0 && len(d.said) > 0 {
		d.send(answer(answerSubmit, d.note[0].sequence, statusOK, len(d.said[0]), d.said[0]))
		d.note, d.said = d.note[1:], d.said[1:]
	}
}

// Requests of USB 2.0 (table 9-4), USBTMC 1.0 (table 15) and USB488 (table 9).
const (
	clearFeature, getStatus, getDescriptor, setConfiguration, setInterface = 1, 0, 6, 9, 11

	initiateAbortOut, checkAbortOut, initiateAbortIn, checkAbortIn = 1, 2, 3, 4
	initiateClear, checkClear, getCapabilities                     = 5, 6, 7
	indicatorPulse, readStatusByte                                 = 64, 128
	renControl, goToLocal, localLockout                            = 160, 161, 162
)

// control answers a control transfer; not ok is a stall.
func (d *device) control(q request) (reply []byte, ok bool) {
	kind, code := q.setup[0], q.setup[1]
	value := binary.LittleEndian.Uint16(q.setup[2:])
	const class = 0x20
	if kind&0x60 != class {
		switch code {
		case getDescriptor:
			reply = d.descriptor(byte(value>>8), byte(value))
			return reply, reply != nil
		case getStatus:
			return []byte{0, 0}, true
		case clearFeature:
			d.in.stalled = false
			return nil, true
		case setConfiguration, setInterface:
			return nil, true
		}
		return nil, false
	}
	const success, transferNotInProgress = 1, 0x81
	switch code {
	case getCapabilities:
		return d.capabilities(), true
	case initiateClear:
		d.reset()
		return []byte{success}, true
	case checkClear:
		return []byte{success, 0}, true
	case initiateAbortOut, initiateAbortIn:
		return []byte{transferNotInProgress, byte(d.in.tag)}, true
	case checkAbortOut, checkAbortIn:
		return []byte{success, 0, 0, 0, 0, 0, 0, 0}, true
	case readStatusByte:
		status := byte(0)
		if d.spec.Status == StatusAbsent {
			return nil, false
		}
		if d.messageAvailable() && d.spec.Status == StatusTells {
			status = 0x10
		}
		if d.spec.NoInterrupt {
			return []byte{success, byte(value), status}, true
		}
		d.said = append(d.said, []byte{0x80 | byte(value), status})
		defer d.notify()
		return []byte{success, byte(value), 0}, true
	case indicatorPulse, renControl, goToLocal, localLockout:
		return []byte{success}, true
	}
	return nil, false
}

// unplug closes the wire.
func (d *device) unplug() error { return d.wire.Close() }
