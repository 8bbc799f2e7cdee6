package simbench

import (
	"net"
	"strings"
)

// plugTCP listens on the loopback interface, on the port it had before or a free one.
func (p *port) plugTCP() error {
	at := "127.0.0.1:0"
	if p.address != "" {
		at = strings.TrimPrefix(p.address, "tcp:")
	}
	listener, err := net.Listen("tcp", at)
	if err != nil {
		return err
	}
	p.address = "tcp:" + listener.Addr().String()
	p.ends[listener] = struct{}{}
	gone := p.gone
	p.bench.served.Go(func() { p.accept(listener, gone) })
	return nil
}

// accept serves every connection on a goroutine of its own; the bench's lock puts their messages in order.
func (p *port) accept(listener net.Listener, gone <-chan struct{}) {
	for {
		c, err := listener.Accept()
		if err != nil {
			return
		}
		if !p.adopt(c, gone) {
			c.Close()
			return
		}
	}
}

// adopt starts serving a connection, unless the wire has been hung up in the meantime.
func (p *port) adopt(c net.Conn, gone <-chan struct{}) bool {
	p.bench.wires.Lock()
	defer p.bench.wires.Unlock()
	select {
	case <-gone:
		return false
	default:
	}
	p.ends[c] = struct{}{}
	p.bench.served.Go(func() {
		p.bench.serve(p.name, c, gone)
		p.release(c)
	})
	return true
}

// release closes a connection that has ended by itself; one that was hung up is closed already.
func (p *port) release(c net.Conn) {
	p.bench.wires.Lock()
	defer p.bench.wires.Unlock()
	if _, open := p.ends[c]; open {
		delete(p.ends, c)
		c.Close()
	}
}
