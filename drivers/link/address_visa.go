package link

import (
	"fmt"
	"runtime"
	"strconv"
	"strings"
)

// visaKinds are the interfaces of VISA resource names (VPP-4.3), in the order
// in which their prefixes must be tried, with how each is read.
var visaKinds = []struct {
	prefix string
	parse  func(rest string) (Address, error)
}{
	{"ASRL", parseVISASerial},
	{"TCPIP", parseVISASocket},
	{"USB", parseVISAUSB},
	{"GPIB", refuseVISA("GPIB", "it needs the driver of a GPIB controller: use the instrument's USB, LAN or serial port")},
	{"PXI", refuseVISA("PXI", "a card in a chassis is no bench instrument")},
	{"VXI", refuseVISA("VXI", "a card in a chassis is no bench instrument")},
}

// parseVISA reads a VISA resource name; is tells whether it is one. Keywords
// are taken in any case.
func parseVISA(address string) (a Address, is bool, err error) {
	upper := strings.ToUpper(address)
	for _, kind := range visaKinds {
		if rest, found := strings.CutPrefix(upper, kind.prefix); found && (kind.prefix == "ASRL" || strings.HasPrefix(strings.TrimLeft(rest, "0123456789"), "::")) {
			a, err = kind.parse(address[len(kind.prefix):])
			return a, true, err
		}
	}
	if name, _, found := strings.Cut(address, "::"); found && name != "" && !strings.Contains(name, ":") {
		return a, true, fmt.Errorf("VISA interface %q is not spoken", name)
	}
	return a, false, nil
}

func refuseVISA(name, reason string) func(string) (Address, error) {
	return func(string) (Address, error) {
		return Address{}, fmt.Errorf("VISA interface %s is not spoken: %s", name, reason)
	}
}

// board drops the board number that may follow an interface's name. It counts
// the host's adapters, of which the operating system knows better.
func board(s string) (rest string, err error) {
	number, rest, _ := strings.Cut(s, "::")
	if _, err := strconv.ParseUint(number, 10, 16); number != "" && err != nil {
		return "", fmt.Errorf("board %q: a number up to 65535, or nothing, is needed", number)
	}
	return rest, nil
}

// parseVISASerial reads what follows ASRL: a port number, counted from 1, or a
// path, then optionally ::INSTR. VISA's default is 9600 baud, 8N1.
func parseVISASerial(s string) (Address, error) {
	port, class, found := strings.Cut(s, "::")
	if found && !strings.EqualFold(class, "INSTR") {
		return Address{}, fmt.Errorf("a serial resource ends in ::INSTR, not ::%s", class)
	}
	if port == "" {
		return Address{}, fmt.Errorf("ASRL without a port: a number or a path is needed, as in ASRL1::INSTR or ASRL/dev/ttyUSB0::INSTR")
	}
	if n, err := strconv.Atoi(port); err == nil {
		if n < 1 || n > 256 {
			return Address{}, fmt.Errorf("serial port number %d: 1 to 256 is allowed", n)
		}
		port = numberedPort(runtime.GOOS, n)
	}
	return parseSerial(port)
}

// numberedPort is the first serial port for 1, and so on.
func numberedPort(goos string, n int) string {
	if goos == "windows" {
		return fmt.Sprintf("COM%d", n)
	}
	return fmt.Sprintf("/dev/ttyS%d", n-1)
}

// parseVISASocket reads what follows TCPIP: [board]::host::port::SOCKET. An
// IPv6 host stands in brackets, so that "::" within it separates nothing.
func parseVISASocket(s string) (Address, error) {
	rest, err := board(s)
	if err != nil {
		return Address{}, err
	}
	host, rest, found := strings.Cut(rest, "::")
	if strings.HasPrefix(host, "[") {
		var bracketed bool
		if host, rest, bracketed = strings.Cut(s[strings.Index(s, "[")+1:], "]"); !bracketed {
			return Address{}, fmt.Errorf("the bracket around the IPv6 host is not closed")
		}
		rest, found = strings.CutPrefix(rest, "::")
	}
	if port, class, _ := strings.Cut(rest, "::"); found && strings.EqualFold(class, "SOCKET") {
		return tcpAddress(host, port)
	}
	const use = "of LAN resources only raw sockets are spoken: TCPIP::host::port::SOCKET (5025 is the usual port)"
	device, class, _ := strings.Cut(rest, "::")
	switch device = strings.ToLower(device); {
	case strings.HasPrefix(device, "hislip"):
		return Address{}, fmt.Errorf("HiSLIP is not spoken; %s", use)
	case device == "", strings.HasPrefix(device, "inst"), strings.EqualFold(class, "INSTR"): // inst0 and INSTR alike
		return Address{}, fmt.Errorf("VXI-11, which a LAN resource without ::SOCKET means, is not spoken; %s", use)
	}
	return Address{}, fmt.Errorf("::port::SOCKET is missing after the host; %s", use)
}

// parseVISAUSB reads what follows USB:
// [board]::vendor::product::serial number[::interface][::INSTR].
func parseVISAUSB(s string) (Address, error) {
	rest, err := board(s)
	if err != nil {
		return Address{}, err
	}
	parts := strings.Split(rest, "::")
	switch last := strings.ToUpper(parts[len(parts)-1]); last {
	case "RAW":
		return Address{}, fmt.Errorf("raw USB (::RAW) is not spoken, only USB-TMC (::INSTR)")
	case "INSTR":
		parts = parts[:len(parts)-1]
	}
	a := Address{Kind: USBTMC, Interface: anyInterface}
	if len(parts) == 4 {
		if a.Interface, err = usbInterface(parts[3]); err != nil {
			return Address{}, err
		}
		parts = parts[:3]
	}
	if len(parts) != 3 {
		return Address{}, fmt.Errorf("a USB resource is USB[board]::vendor::product::serial number[::interface][::INSTR]")
	}
	if a.Vendor, err = usbNumber("vendor", parts[0]); err != nil {
		return Address{}, err
	}
	if a.Product, err = usbNumber("product", parts[1]); err != nil {
		return Address{}, err
	}
	a.SerialNumber = parts[2]
	return a, checkSerialNumber(a.SerialNumber)
}
