//go:build linux

package usbguest

import (
	"errors"
	"net/rpc"
	"testing"
)

// Instruments is the test's hand on the instruments that init plays.
type Instruments struct {
	t      testing.TB
	client *rpc.Client
}

// Connect reaches the guest's instruments.
func Connect(t testing.TB) *Instruments {
	t.Helper()
	client, err := rpc.Dial("unix", controlPath)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { client.Close() })
	return &Instruments{t, client}
}

func (i *Instruments) call(name string, order, reply any) {
	i.t.Helper()
	if err := i.client.Call("Emulator."+name, order, reply); err != nil {
		i.t.Fatalf("%s: %v", name, err)
	}
}

// Plug plugs an instrument in. It stays in when the test ends, since the kernel
// takes half a second to find one.
func (i *Instruments) Plug(spec Spec) *Handle {
	i.t.Helper()
	h := &Handle{Spec: spec, instruments: i}
	h.PlugIn()
	return h
}

// Unplugged is an instrument that is not plugged in yet.
func (i *Instruments) Unplugged(spec Spec) *Handle { return &Handle{Spec: spec, instruments: i} }

// Handle is one instrument.
type Handle struct {
	Spec
	Plugged
	instruments *Instruments
	plugged     bool
}

func (h *Handle) order(name string, o Order) {
	h.instruments.t.Helper()
	o.SerialNumber, o.Turn = h.SerialNumber, h.Turn
	h.instruments.call(name, o, &struct{}{})
}

// PlugIn plugs it in again.
func (h *Handle) PlugIn() {
	h.instruments.t.Helper()
	h.instruments.call("Plug", h.Spec, &h.Plugged)
	h.plugged = true
}

// Unplug pulls it out, unless it is.
func (h *Handle) Unplug() {
	h.instruments.t.Helper()
	if h.plugged {
		h.plugged = false
		h.instruments.call("Unplug", h.SerialNumber, &struct{}{})
	}
}

// Misbehave has the next reply go wrong.
func (h *Handle) Misbehave(f Fault) { h.instruments.t.Helper(); h.order("Misbehave", Order{Fault: f}) }

// Say has it reply without being asked.
func (h *Handle) Say(data []byte) { h.instruments.t.Helper(); h.order("Say", Order{Data: data}) }

// AwaitReader waits until the kernel waits for the next part of a held reply.
func (h *Handle) AwaitReader() { h.instruments.t.Helper(); h.order("AwaitReader", Order{}) }

// Release sends so many more parts of a held reply.
func (h *Handle) Release(parts int) {
	h.instruments.t.Helper()
	h.order("Release", Order{Count: parts})
}

// RequestService has it interrupt with a service request.
func (h *Handle) RequestService() { h.instruments.t.Helper(); h.order("RequestService", Order{}) }

// Next waits for more from the test's side and returns it. It fails once the instrument is unplugged.
func (h *Handle) Next() ([]byte, error) {
	var data []byte
	err := h.instruments.client.Call("Emulator.AwaitBytes", Order{SerialNumber: h.SerialNumber, Turn: h.Turn, Count: 1}, &data)
	if err == nil && len(data) == 0 {
		err = errors.New("unplugged")
	}
	return data, err
}

// Received waits until it has received at least n bytes since the last call,
// and returns them.
func (h *Handle) Received(n int) []byte {
	h.instruments.t.Helper()
	var data []byte
	h.instruments.call("AwaitBytes", Order{SerialNumber: h.SerialNumber, Turn: h.Turn, Count: n}, &data)
	return data
}
