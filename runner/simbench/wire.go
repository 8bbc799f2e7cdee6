package simbench

import "fmt"

// Wire is a wire of another kind than Serve knows, one that keeps messages apart as USB-TMC does.
type Wire interface {
	// Plug connects the instrument and returns the address at which it can be opened.
	Plug() (address string, err error)
	// Next waits for the next message to the instrument and returns it without its line feed. It fails after Close.
	Next() (message string, err error)
	// Say sends a reply, as one message.
	Say(reply []byte) error
	// Close pulls the instrument out. It may be plugged again.
	Close() error
}

// plugWire connects a wire of another kind and serves it until it is hung up.
func (p *port) plugWire() error {
	address, err := p.wire.Plug()
	if err != nil {
		return fmt.Errorf("plugging its wire in: %w", err)
	}
	p.address = address
	p.ends[p.wire] = struct{}{}
	gone := p.gone
	p.bench.served.Go(func() {
		for {
			message, err := p.wire.Next()
			if err != nil {
				return
			}
			if err := p.bench.exchange(p.name, message, wholeReply{p.wire}, gone); err != nil {
				return
			}
			select {
			case <-gone: // the message pulled it out, and another serves where it was plugged in again
				return
			default:
			}
		}
	})
	return nil
}

// wholeReply puts the pieces of a reply together.
type wholeReply struct{ wire Wire }

func (w wholeReply) send(pieces [][]byte) error {
	var whole []byte
	for _, piece := range pieces {
		whole = append(whole, piece...)
	}
	if len(whole) == 0 {
		return nil
	}
	return w.wire.Say(whole)
}
