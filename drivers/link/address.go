package link

import (
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"slices"
	"strconv"
	"strings"
)

// Kind is a sort of link. A further one needs a constant here, its forms in
// Parse and its case in Open.
type Kind string

// The kinds of link there are.
const (
	Serial Kind = "serial"
	TCP    Kind = "tcp"
	USBTMC Kind = "usbtmc"
)

const allowed = `"serial:PATH?baud=9600", "tcp:HOST:PORT", "usbtmc:serial=NUMBER" or "usbtmc:/dev/usbtmc0", ` +
	`or the VISA forms "ASRL<path or number>::INSTR", "TCPIP::host::port::SOCKET" and "USB::0x1234::0x5678::serial number::INSTR"`

// anyInterface is the USB interface number of an address that names none.
const anyInterface = -1

// Address is a parsed address. Two addresses are the same link if they are
// equal.
type Address struct {
	Kind Kind
	// Path, Baud, DataBits, Parity and StopBits describe a serial port. Parity
	// is "none", "even" or "odd"; StopBits "1", "1.5" or "2".
	Path     string
	Baud     int
	DataBits int
	Parity   string
	StopBits string
	// DTROff and RTSOff say that the modem line must be off while the port is
	// open, until Lines switches it: for a relay that hangs on it.
	DTROff, RTSOff bool
	// Host and Port describe a TCP socket; an IPv6 host has no brackets here.
	Host string
	Port int
	// SerialNumber, Vendor, Product and Interface say which USB instrument is
	// meant where Path does not name its device file. Vendor and Product are
	// USB's numbers, 0 for any; Interface is -1 for the lowest.
	SerialNumber    string
	Vendor, Product uint16
	Interface       int
	// MAVOff says that a USB instrument's status byte does not tell whether a
	// reply waits, so that it is not asked for: every reply is fetched as soon as
	// a message was sent, and one that does not come holds the instrument up.
	MAVOff bool
}

// String is the address in its canonical form, which Parse takes.
func (a Address) String() string {
	switch a.Kind {
	case TCP:
		return "tcp:" + net.JoinHostPort(a.Host, strconv.Itoa(a.Port))
	case USBTMC:
		return a.usbtmcString()
	}
	s := fmt.Sprintf("serial:%s?baud=%d", a.Path, a.Baud)
	if a.DataBits != 8 {
		s += fmt.Sprintf("&bits=%d", a.DataBits)
	}
	if a.Parity != "none" {
		s += "&parity=" + a.Parity
	}
	if a.StopBits != "1" {
		s += "&stop=" + a.StopBits
	}
	if a.DTROff {
		s += "&dtr=off"
	}
	if a.RTSOff {
		s += "&rts=off"
	}
	return s
}

// Parse reads an address:
//
//	serial:PATH?baud=9600             also bits=, parity=, stop=, dtr=off, rts=off
//	tcp:HOST:PORT                     IPv6 in brackets
//	usbtmc:serial=NUMBER              also vendor=0x1234, product=0x5678, interface=0, mav=off, joined by &
//	usbtmc:/dev/usbtmc0               the number changes when an instrument is plugged in again; also ?mav=off
//	ASRL…::INSTR, TCPIP…::host::port::SOCKET, USB…::vendor::product::serial…::INSTR
//
// The last line's are the resource names of VISA (VPP-4.3). Every other form
// is refused with the reason and with what is allowed.
func Parse(address string) (Address, error) {
	a, err := parse(address)
	if err != nil {
		return Address{}, fmt.Errorf("address %q: %w; allowed are %s", address, err, allowed)
	}
	return a, nil
}

func parse(address string) (Address, error) {
	if address == "" {
		return Address{}, fmt.Errorf("it is empty")
	}
	if kind, rest, found := strings.Cut(address, ":"); found {
		switch Kind(kind) {
		case Serial:
			return parseSerial(rest)
		case TCP:
			host, port, err := net.SplitHostPort(rest)
			if err != nil {
				return Address{}, fmt.Errorf("no HOST:PORT after \"tcp:\" (an IPv6 host goes in brackets)")
			}
			return tcpAddress(host, port)
		case USBTMC:
			return parseUSBTMC(rest)
		}
	}
	if a, is, err := parseVISA(address); is {
		return a, err
	}
	kind, _, found := strings.Cut(address, ":")
	if !found {
		return Address{}, fmt.Errorf("it does not say what kind of link it is")
	}
	return Address{}, fmt.Errorf("link kind %q is not known", kind)
}

// parseOptions reads name=value&name=value. %26 stands for & within a value,
// and so on.
func parseOptions(s string) (map[string]string, error) {
	options := map[string]string{}
	if s == "" {
		return options, nil
	}
	for _, option := range strings.Split(s, "&") {
		name, escaped, found := strings.Cut(option, "=")
		value, err := url.PathUnescape(escaped)
		if !found || err != nil {
			return nil, fmt.Errorf("option %q is not of the form name=value", option)
		}
		if _, twice := options[name]; twice {
			return nil, fmt.Errorf("%s is given twice", name)
		}
		options[name] = value
	}
	return options, nil
}

// control finds what no path and no serial number holds.
func control(s string) bool {
	return strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7f })
}

// serialAddress is a serial port with what VISA takes unless told otherwise.
func serialAddress(path string) Address {
	return Address{Kind: Serial, Path: path, Baud: 9600, DataBits: 8, Parity: "none", StopBits: "1"}
}

// parseSerial reads PATH[?baud=…&bits=…&parity=…&stop=…&dtr=off&rts=off].
func parseSerial(s string) (Address, error) {
	path, query, _ := strings.Cut(s, "?")
	a := serialAddress(path)
	if path == "" {
		return a, fmt.Errorf("the path of the serial port is missing")
	}
	if control(path) {
		return a, fmt.Errorf("the path of the serial port holds a control character")
	}
	options, err := parseOptions(query)
	if err != nil {
		return a, err
	}
	for name, value := range options {
		number, numberErr := strconv.Atoi(value)
		switch name {
		case "baud":
			if numberErr != nil || number < 50 || number > 4_000_000 {
				return a, fmt.Errorf("baud=%s: a whole number from 50 to 4000000 is needed", value)
			}
			a.Baud = number
		case "bits":
			if numberErr != nil || number < 5 || number > 8 {
				return a, fmt.Errorf("bits=%s: 5, 6, 7 or 8 is needed", value)
			}
			a.DataBits = number
		case "parity":
			if !slices.Contains([]string{"none", "even", "odd"}, value) {
				return a, fmt.Errorf("parity=%s: none, even or odd is needed", value)
			}
			a.Parity = value
		case "stop":
			if !slices.Contains([]string{"1", "1.5", "2"}, value) {
				return a, fmt.Errorf("stop=%s: 1, 1.5 or 2 is needed", value)
			}
			a.StopBits = value
		case "dtr", "rts":
			if value != "off" {
				return a, fmt.Errorf("%s=%s: only off can be asked for (opening a port switches both lines on)", name, value)
			}
			if name == "dtr" {
				a.DTROff = true
			} else {
				a.RTSOff = true
			}
		default:
			return a, fmt.Errorf("option %q is not known: baud, bits, parity, stop, dtr and rts are", name)
		}
	}
	return a, nil
}

func tcpAddress(host, port string) (Address, error) {
	if host == "" {
		return Address{}, fmt.Errorf("the host is missing")
	}
	if strings.ContainsAny(host, "[]/@ \t\r\n") {
		return Address{}, fmt.Errorf("%q is no host name or IP address", host)
	}
	if strings.Contains(host, ":") {
		if _, err := netip.ParseAddr(host); err != nil {
			return Address{}, fmt.Errorf("%q is no IPv6 address", host)
		}
	}
	n, err := strconv.ParseUint(port, 10, 16)
	if err != nil || n == 0 {
		return Address{}, fmt.Errorf("port %q: a number from 1 to 65535 is needed", port)
	}
	return Address{Kind: TCP, Host: host, Port: int(n)}, nil
}
