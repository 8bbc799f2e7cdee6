//go:build linux

package usbguest

import (
	"encoding/binary"
	"unicode/utf16"
)

// Endpoints of the device.
const (
	bulkOut     = 1
	bulkIn      = 2
	interruptIn = 3
)

// The instrument's USB numbers.
const (
	Vendor  = 0x1234
	Product = 0x5678
)

// deviceDescriptor is that of a USB 2.0 device (9.6.1 of its specification)
// with strings 1 to 3.
var deviceDescriptor = []byte{18, 1, 0x00, 0x02, 0, 0, 0, 64, Vendor & 0xff, Vendor >> 8, Product & 0xff, Product >> 8, 0x00, 0x01, 1, 2, 3, 1}

// configuration describes one interface of class FE, subclass 03, protocol 01
// (USBTMC with USB488) or 00 (USBTMC alone), with or without the endpoint for
// notifications.
func configuration(interrupt bool, protocol byte) []byte {
	endpoints := []byte{
		7, 5, bulkOut, 2, 0x00, 0x02, 0,
		7, 5, 0x80 | bulkIn, 2, 0x00, 0x02, 0,
	}
	count := byte(2)
	if interrupt {
		endpoints = append(endpoints, 7, 5, 0x80|interruptIn, 3, 2, 0x00, 7)
		count++
	}
	total := byte(18 + len(endpoints))
	head := []byte{9, 2, total, 0, 1, 1, 0, 0xc0, 0, 9, 4, 0, 0, count, 0xfe, 3, protocol, 0}
	return append(head, endpoints...)
}

func stringDescriptor(s string) []byte {
	units := utf16.Encode([]rune(s))
	d := []byte{byte(2 + 2*len(units)), 3}
	for _, u := range units {
		d = binary.LittleEndian.AppendUint16(d, u)
	}
	return d
}

// descriptor answers GET_DESCRIPTOR; nil is a stall.
func (d *device) descriptor(kind, index byte) []byte {
	switch kind {
	case 1:
		return deviceDescriptor
	case 2:
		return configuration(!d.spec.NoInterrupt, d.protocol())
	case 3:
		switch index {
		case 0:
			return []byte{4, 3, 0x09, 0x04} // English
		case 1:
			return stringDescriptor(Maker)
		case 2:
			return stringDescriptor(Model)
		case 3:
			return stringDescriptor(d.spec.SerialNumber)
		}
	}
	return nil
}

// What the instrument calls itself.
const (
	Maker = "ringup"
	Model = "emulated instrument"
)

// protocol is the interface's bInterfaceProtocol.
func (d *device) protocol() byte {
	if d.spec.Status == StatusAbsent {
		return 0
	}
	return 1
}

// capabilities is the answer to GET_CAPABILITIES: USBTMC 1.0, table 37, with
// USB488's table 8: TermChar, trigger, remote/local, SCPI, SR1, RL1, DT1.
func (d *device) capabilities() []byte {
	c := []byte{1, 0, 0x00, 0x01, 0x04, 0x01, 0, 0, 0, 0, 0, 0, 0x00, 0x01, 0x07, 0x0f, 0, 0, 0, 0, 0, 0, 0, 0}
	if d.protocol() == 0 {
		clear(c[12:])
	}
	return c
}
