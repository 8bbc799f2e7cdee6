package simbench

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"time"
)

// Instrument names one of the bench's instruments.
type Instrument string

// The bench's instruments.
const (
	Supply      Instrument = "supply"
	Switch      Instrument = "switch" // instead of the supply, with Options.SetByHandVolts
	Scope       Instrument = "scope"
	Thermometer Instrument = "thermometer"
)

// Addresses say where the instruments answer, as a bench file writes addresses: "serial:PATH?baud=115200" for a
// pseudo-terminal, "tcp:HOST:PORT" for a socket.
// What the bench does not have is empty.
type Addresses struct{ Supply, Scope, Thermometer, Switch string }

// The transports that Serve knows.
const (
	PTY = "pty"
	TCP = "tcp"
)

// ErrNoPTY is what Serve's error wraps where the system has no pseudo-terminals; TCP works everywhere.
var ErrNoPTY = errors.New("this system has no pseudo-terminals that ringup can use; use tcp instead")

// Serve puts the instruments on a wire each, "pty" or "tcp" (127.0.0.1, ports chosen by the system), but for those that
// have one of another kind (Options.Wires), and returns once all of them answer. It may be called once for a bench.
func (b *Bench) Serve(transport string) (Addresses, error) {
	b.wires.Lock()
	defer b.wires.Unlock()
	if transport != PTY && transport != TCP {
		return Addresses{}, fmt.Errorf("simulated bench: transport %q; allowed: %s, %s", transport, PTY, TCP)
	}
	if b.closed || len(b.ports) > 0 {
		return Addresses{}, errors.New("simulated bench: already served or closed")
	}
	addresses := map[Instrument]string{}
	for _, name := range slices.Sorted(maps.Keys(b.instruments)) {
		p := &port{bench: b, name: name, transport: transport, wire: b.others[name]}
		b.ports[name] = p
		if err := p.plug(); err != nil {
			for _, opened := range b.ports {
				opened.hangup()
			}
			clear(b.ports)
			return Addresses{}, fmt.Errorf("simulated bench: %s: %w", name, err)
		}
		addresses[name] = p.address
	}
	return Addresses{addresses[Supply], addresses[Scope], addresses[Thermometer], addresses[Switch]}, nil
}

// Close hangs all wires up and waits until nothing is being served any more. The unit stays as it is.
func (b *Bench) Close() error {
	b.wires.Lock()
	b.closed = true
	var all []error
	for _, p := range b.ports {
		all = append(all, p.hangup(), p.unlink())
	}
	b.wires.Unlock()
	b.served.Wait()
	return errors.Join(all...)
}

// port is one instrument's end of its wire. The bench's wires lock guards it.
type port struct {
	bench     *Bench
	name      Instrument
	transport string
	wire      Wire // instead of the transport; nil for none
	address   string
	link      string // stable name of the pseudo-terminal, if any
	// gone is closed when the wire is hung up; nil while unplugged.
	gone chan struct{}
	// ends are what hangs the wire up when closed: the pseudo-terminal's two ends, or the listener and its connections.
	ends map[io.Closer]struct{}
}

// plug connects the wire, at the address it had before where it had one.
func (p *port) plug() error {
	p.gone, p.ends = make(chan struct{}), map[io.Closer]struct{}{}
	if p.wire != nil {
		return p.plugWire()
	}
	if p.transport == TCP {
		return p.plugTCP()
	}
	return p.plugPTY()
}

// hangup cuts the wire; whoever is at the other end sees it go.
func (p *port) hangup() error {
	if p.gone == nil {
		return nil
	}
	close(p.gone)
	p.gone = nil
	var all []error
	for end := range p.ends {
		all = append(all, end.Close())
	}
	p.ends = nil
	all = append(all, p.unlink()) // a stable name goes with its device
	return errors.Join(all...)
}

// serve answers on one connection until it ends.
func (b *Bench) serve(name Instrument, wire io.ReadWriter, gone <-chan struct{}) {
	lines := lineReader{wire: wire}
	for {
		line, err := lines.next()
		switch {
		case errors.Is(err, errLineTooLong):
			b.complain(name, scpiError{number: -363, detail: fmt.Sprintf("more than %d bytes without a line feed", lineMax)})
			continue
		case err != nil:
			return
		}
		if err := b.exchange(name, line, stream{wire}, gone); err != nil {
			return
		}
	}
}

// replier sends the pieces of a reply.
type replier interface{ send(pieces [][]byte) error }

// stream sends each piece by itself.
type stream struct{ wire io.Writer }

func (w stream) send(pieces [][]byte) error {
	for _, piece := range pieces {
		if len(piece) == 0 {
			continue
		}
		if _, err := w.wire.Write(piece); err != nil {
			return err
		}
	}
	return nil
}

// exchange carries one message out and sends what it is answered, as its fault wants it.
func (b *Bench) exchange(name Instrument, line string, to replier, gone <-chan struct{}) error {
	s := b.faults.strike(name, line)
	var reply []byte
	if !s.lost {
		reply = b.faults.bend(name, b.answer(name, s.line), gone)
	}
	pieces := [][]byte{reply}
	if s.pieces != nil {
		pieces = s.pieces(reply)
	}
	if s.late > 0 {
		late := time.NewTimer(s.late)
		defer late.Stop()
		if await(late.C, []byte{0}, gone) == nil {
			return io.ErrClosedPipe
		}
	}
	if s.lost {
		pieces = nil
		if _, bytes := to.(stream); bytes {
			pieces = [][]byte{{0}} // the transmitter's fall
		}
	}
	if err := to.send(pieces); err != nil {
		return err
	}
	if len(reply) > 0 {
		b.faults.sent(name, reply)
	}
	if s.after != nil {
		return s.after()
	}
	return nil
}

// complain queues an error that no command caused.
func (b *Bench) complain(name Instrument, e scpiError) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.instruments[name].status.push(e)
}
