//go:build linux

package usbguest

import (
	"errors"
	"fmt"
	"maps"
	"net"
	"net/rpc"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"golang.org/x/sys/unix"
)

// controlPath is the socket on which the test says what the instruments do.
const controlPath = "/tmp/instruments"

// Emulator holds the instruments. Its exported methods are called from the test
// process, in the form that package net/rpc wants.
type Emulator struct {
	events int // the kernel's socket for device events

	plugging sync.Mutex // held while the kernel's events are awaited; taken before mu

	mu      sync.Mutex // guards what follows
	devices map[string]*device
	ports   map[string]int
	plugged int      // how often an instrument was plugged in
	faults  []string // violations of instruments that are gone
}

func newEmulator() (*Emulator, error) {
	fd, err := unix.Socket(unix.AF_NETLINK, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, unix.NETLINK_KOBJECT_UEVENT)
	if err != nil {
		return nil, err
	}
	return &Emulator{events: fd, devices: map[string]*device{}, ports: map[string]int{}},
		unix.Bind(fd, &unix.SockaddrNetlink{Family: unix.AF_NETLINK, Groups: 1})
}

func (e *Emulator) serve(listener net.Listener) {
	server := rpc.NewServer()
	if err := server.RegisterName("Emulator", e); err != nil {
		panic(err)
	}
	server.Accept(listener)
}

// awaitEvent waits until the kernel has added or removed a usbtmc device file,
// and returns its path.
func (e *Emulator) awaitEvent(action string) (string, error) {
	buf := make([]byte, 1<<16)
	for {
		n, _, err := unix.Recvfrom(e.events, buf, 0)
		if err != nil {
			return "", err
		}
		event := strings.Split(string(buf[:n]), "\x00")
		if path, found := strings.CutPrefix(event[0], action+"@"); found && strings.HasPrefix(filepath.Base(path), "usbtmc") && strings.Contains(path, "/usbmisc/") {
			return "/dev/" + filepath.Base(path), nil
		}
	}
}

// Plugged is an instrument that is plugged in.
type Plugged struct {
	Path string // of its device file
	// Turn tells one plugging in from another.
	Turn int
}

// Plug plugs an instrument in and answers once its device file is there. One
// that is in already is left there, as if switched off and on.
func (e *Emulator) Plug(spec Spec, p *Plugged) error {
	e.plugging.Lock()
	defer e.plugging.Unlock()
	e.mu.Lock()
	d := e.devices[spec.SerialNumber]
	e.mu.Unlock()
	if d != nil && d.spec == spec {
		d.mu.Lock()
		defer d.mu.Unlock()
		d.restart()
		*p = d.plugged
		return nil
	}
	port := e.freePort()
	wire, err := attach(port)
	if err != nil {
		return err
	}
	d = newDevice(spec, wire)
	e.mu.Lock()
	e.plugged++
	d.plugged.Turn = e.plugged
	e.devices[spec.SerialNumber], e.ports[spec.SerialNumber] = d, port
	e.mu.Unlock()
	go d.serve()
	d.plugged.Path, err = e.awaitEvent("add")
	*p = d.plugged
	return err
}

// freePort is the first port of the virtual host controller that has no instrument.
func (e *Emulator) freePort() int {
	e.mu.Lock()
	defer e.mu.Unlock()
	used := slices.Collect(maps.Values(e.ports))
	port := 0
	for slices.Contains(used, port) {
		port++
	}
	return port
}

// Unplug pulls an instrument out and returns once its device file is gone.
func (e *Emulator) Unplug(serialNumber string, _ *struct{}) error {
	e.plugging.Lock()
	defer e.plugging.Unlock()
	e.mu.Lock()
	d := e.devices[serialNumber]
	e.mu.Unlock()
	if d == nil {
		return fmt.Errorf("no instrument %q", serialNumber)
	}
	if err := d.unplug(); err != nil {
		return err
	}
	_, err := e.awaitEvent("remove")
	d.mu.Lock()
	faults := d.faults
	d.mu.Unlock()
	e.mu.Lock()
	defer e.mu.Unlock()
	e.faults = append(e.faults, faults...)
	delete(e.devices, serialNumber)
	delete(e.ports, serialNumber)
	return err
}

// with calls f with an instrument's lock held.
func (e *Emulator) with(o Order, f func(d *device)) error {
	e.mu.Lock()
	d := e.devices[o.SerialNumber]
	e.mu.Unlock()
	if d == nil || d.plugged.Turn != o.Turn {
		return fmt.Errorf("instrument %q is unplugged", o.SerialNumber)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	f(d)
	d.pump()
	return nil
}

// Order is something that an instrument shall do.
type Order struct {
	SerialNumber string
	Turn         int // of Plugged
	Fault        Fault
	Data         []byte
	Count        int
}

// Misbehave has the next reply go wrong.
func (e *Emulator) Misbehave(o Order, _ *struct{}) error {
	return e.with(o, func(d *device) { d.instrument.fault = o.Fault })
}

// Say has the instrument reply without being asked.
func (e *Emulator) Say(o Order, _ *struct{}) error {
	return e.with(o, func(d *device) { d.instrument.reply = append(d.instrument.reply, o.Data...) })
}

// AwaitBytes waits until Count bytes have been received since the last call and
// answers with them.
func (e *Emulator) AwaitBytes(o Order, data *[]byte) error {
	return e.with(o, func(d *device) {
		for {
			*data = nil
			for _, m := range d.instrument.received {
				*data = append(*data, m...)
			}
			if len(*data) >= o.Count || d.gone {
				d.instrument.received = nil
				return
			}
			d.changed.Wait()
		}
	})
}

// AwaitReader waits until the kernel waits for a part of a held reply.
func (e *Emulator) AwaitReader(o Order, _ *struct{}) error {
	return e.with(o, func(d *device) {
		for !d.gone && !(d.in.answering && d.in.held && d.in.released == 0 && len(d.bulk) > 0) {
			d.changed.Wait()
		}
	})
}

// Release sends Count more parts of a held reply.
func (e *Emulator) Release(o Order, _ *struct{}) error {
	return e.with(o, func(d *device) { d.in.released += o.Count })
}

// RequestService has the instrument interrupt with a service request.
func (e *Emulator) RequestService(o Order, _ *struct{}) error {
	return e.with(o, func(d *device) {
		const serviceRequest, requestBit = 0x81, 0x40
		d.said = append(d.said, []byte{serviceRequest, requestBit})
		d.notify()
	})
}

// violations is what the kernel's driver did that the specification forbids.
func (e *Emulator) violations() error {
	e.mu.Lock()
	defer e.mu.Unlock()
	faults := e.faults
	for _, d := range e.devices {
		d.mu.Lock()
		faults = append(faults, d.faults...)
		d.mu.Unlock()
	}
	var errs []error
	for _, f := range faults {
		errs = append(errs, errors.New("against the USBTMC specification: "+f))
	}
	return errors.Join(errs...)
}
