//go:build linux

package usbguest_test

import (
	"errors"
	"strings"
	"sync"

	"ringup/drivers/link/internal/usbguest"
)

// usbWire connects an instrument of the simulated bench by USB-TMC. It is a simbench.Wire and serves one bench after
// another.
type usbWire struct {
	handle *usbguest.Handle

	mu       sync.Mutex
	plugged  bool
	messages chan string   // closed when it is unplugged
	shut     chan struct{} // closed by Close
	stays    bool          // plugged in beyond Close: the kernel takes half a second to find an instrument
}

func newUSBWire(i *usbguest.Instruments, serialNumber string, status usbguest.Status) *usbWire {
	return &usbWire{handle: i.Unplugged(usbguest.Spec{SerialNumber: serialNumber, Status: status, Far: true})}
}

// address is how the instrument wants to be asked.
func (w *usbWire) address() string {
	if w.handle.Status != usbguest.StatusTells {
		return "usbtmc:serial=" + w.handle.SerialNumber + "&mav=off"
	}
	return "usbtmc:serial=" + w.handle.SerialNumber
}

// Plug implements simbench.Wire.
func (w *usbWire) Plug() (string, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.handle.PlugIn()
	if !w.plugged {
		w.plugged, w.messages = true, make(chan string, 16)
		go pump(*w.handle, w.messages)
	}
	w.shut, w.stays = make(chan struct{}), false
	for len(w.messages) > 0 { // of an earlier bench
		<-w.messages
	}
	return w.address(), nil
}

// pump passes on what comes until the instrument is unplugged, and nothing of when it is plugged in again.
func pump(h usbguest.Handle, messages chan<- string) {
	defer close(messages)
	for {
		data, err := h.Next()
		if err != nil {
			return
		}
		for line := range strings.Lines(string(data)) {
			messages <- strings.TrimSpace(line)
		}
	}
}

var errUnplugged = errors.New("unplugged")

// Next implements simbench.Wire.
func (w *usbWire) Next() (string, error) {
	w.mu.Lock()
	messages, shut := w.messages, w.shut
	w.mu.Unlock()
	select {
	case message, ok := <-messages:
		if !ok {
			return "", errUnplugged
		}
		return message, nil
	case <-shut:
		return "", errUnplugged
	}
}

// Say implements simbench.Wire.
func (w *usbWire) Say(reply []byte) error {
	w.handle.Say(reply)
	return nil
}

// Close implements simbench.Wire.
func (w *usbWire) Close() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	close(w.shut)
	if !w.stays {
		w.plugged = false
		w.handle.Unplug()
	}
	return nil
}

// stay has the next Close leave the instrument plugged in.
func (w *usbWire) stay() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.stays = true
}
