package simbench

import (
	"bytes"
	"sync"
	"time"
)

// Faults make a bench misbehave, for tests of whoever measures with it. Those that bend a reply each take effect once,
// on the next replies of that instrument, in the order in which they were asked for; a message without a reply uses
// none up.
type Faults struct {
	bench *Bench

	mu    sync.Mutex // guards wires
	wires map[Instrument]*wireFaults
}

// wireFaults are the faults waiting at one instrument.
type wireFaults struct {
	silent bool
	bends  []func(reply []byte, gone <-chan struct{}) []byte

	blow   *Blow // of Strike
	since  int   // messages since
	echo   bool
	before []byte // the last reply
	hear   func(message string)
}

// bend passes a reply through the faults waiting at an instrument. It returns what is to be sent.
func (f *Faults) bend(name Instrument, reply []byte, gone <-chan struct{}) []byte {
	if len(reply) == 0 {
		return nil
	}
	f.mu.Lock()
	w := f.wires[name]
	if w.silent {
		f.mu.Unlock()
		return nil
	}
	if len(w.bends) == 0 {
		f.mu.Unlock()
		return reply
	}
	next := w.bends[0]
	w.bends = w.bends[1:]
	f.mu.Unlock()
	return next(reply, gone)
}

func (f *Faults) add(name Instrument, bend func(reply []byte, gone <-chan struct{}) []byte) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.wires[name].bends = append(f.wires[name].bends, bend)
}

// DropReply loses the next reply.
func (f *Faults) DropReply(name Instrument) {
	f.add(name, func([]byte, <-chan struct{}) []byte { return nil })
}

// DelayReply sends the next reply after d of real time.
func (f *Faults) DelayReply(name Instrument, d time.Duration) {
	f.add(name, func(reply []byte, gone <-chan struct{}) []byte {
		late := time.NewTimer(d)
		defer late.Stop()
		return await(late.C, reply, gone)
	})
}

// HoldReply keeps the next reply back until release is called. The channel held is closed once there is such a reply.
func (f *Faults) HoldReply(name Instrument) (held <-chan struct{}, release func()) {
	holding, released := make(chan struct{}), make(chan struct{})
	f.add(name, func(reply []byte, gone <-chan struct{}) []byte {
		close(holding)
		return await(released, reply, gone)
	})
	return holding, sync.OnceFunc(func() { close(released) })
}

// await returns the reply when the event comes, or nothing when the wire goes first.
func await[T any](event <-chan T, reply []byte, gone <-chan struct{}) []byte {
	select {
	case <-event:
		return reply
	case <-gone:
		return nil
	}
}

// GarbleReply turns bits over in the next reply; its length and its last byte stay.
func (f *Faults) GarbleReply(name Instrument) {
	f.add(name, func(reply []byte, _ <-chan struct{}) []byte {
		bent := bytes.Clone(reply)
		for i := range len(bent) - 1 {
			if bent[i] ^= 0x15; bent[i] == '\n' {
				bent[i] ^= 0x15
			}
		}
		return bent
	})
}

// TruncateReply sends only the first n bytes of the next reply, so without its line feed; a waveform block breaks off
// in the middle.
func (f *Faults) TruncateReply(name Instrument, n int) {
	f.add(name, func(reply []byte, _ <-chan struct{}) []byte { return reply[:min(n, len(reply)-1)] })
}

// ReplaceReply sends text and a line feed instead of the next reply, such as "9.91E37", which is SCPI's not-a-number.
func (f *Faults) ReplaceReply(name Instrument, text string) {
	f.add(name, func([]byte, <-chan struct{}) []byte { return []byte(text + "\n") })
}

// Silence makes an instrument execute without ever replying, or lets it reply again.
func (f *Faults) Silence(name Instrument, silent bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.wires[name].silent = silent
}

// Hangup cuts an instrument's wire: its pseudo-terminal or its listener and connections close. The instrument itself,
// and the supply's output, stay as they are.
func (f *Faults) Hangup(name Instrument) error {
	f.bench.wires.Lock()
	defer f.bench.wires.Unlock()
	if p := f.bench.ports[name]; p != nil {
		return p.hangup()
	}
	return nil
}

// Plug connects an instrument again after Hangup and returns its address: the one before with TCP or Options.LinkDir,
// else that of a new pseudo-terminal.
func (f *Faults) Plug(name Instrument) (address string, err error) {
	f.bench.wires.Lock()
	defer f.bench.wires.Unlock()
	p := f.bench.ports[name]
	if p == nil || f.bench.closed {
		return "", errNotServed
	}
	if p.gone == nil {
		if err := p.plug(); err != nil {
			p.gone = nil
			return "", err
		}
	}
	return p.address, nil
}
