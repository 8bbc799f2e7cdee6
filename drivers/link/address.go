package link

import (
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"runtime"
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
)

const allowed = `"serial:PATH?baud=9600", "tcp:HOST:PORT", or the VISA forms "ASRL<path or number>::INSTR" and "TCPIP::host::port::SOCKET"`

// Address is a parsed address.
type Address struct {
	Kind Kind
	// Path, Baud, DataBits, Parity and StopBits describe a serial port. Parity
	// is "none", "even" or "odd"; StopBits "1", "1.5" or "2".
	Path     string
	Baud     int
	DataBits int
	Parity   string
	StopBits string
	// Host and Port describe a TCP socket; an IPv6 host has no brackets here.
	Host string
	Port int
}

// String is the address in its canonical form, which Parse takes.
func (a Address) String() string {
	if a.Kind == TCP {
		return "tcp:" + net.JoinHostPort(a.Host, strconv.Itoa(a.Port))
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
	return s
}

// Parse reads an address: "serial:PATH?baud=…" (also bits, parity, stop),
// "tcp:HOST:PORT" with IPv6 in brackets, or the VISA resource forms
// (VPP-4.3) "ASRL…::INSTR" and "TCPIP…::host::port::SOCKET". Every other form
// is refused with what is allowed.
func Parse(address string) (Address, error) {
	refuse := func(format string, args ...any) (Address, error) {
		return Address{}, fmt.Errorf("address %q: %s; allowed are %s", address, fmt.Sprintf(format, args...), allowed)
	}
	var a Address
	var err error
	upper := strings.ToUpper(address)
	switch {
	case address == "":
		return refuse("it is empty")
	case strings.HasPrefix(address, "serial:"):
		a, err = parseSerial(strings.TrimPrefix(address, "serial:"))
	case strings.HasPrefix(address, "tcp:"):
		host, port, e := net.SplitHostPort(strings.TrimPrefix(address, "tcp:"))
		if e != nil {
			return refuse("no HOST:PORT after \"tcp:\" (an IPv6 host goes in brackets)")
		}
		a, err = tcpAddress(host, port)
	case strings.HasPrefix(upper, "ASRL"):
		a, err = parseVISASerial(address[len("ASRL"):])
	case strings.HasPrefix(upper, "TCPIP"):
		a, err = parseVISASocket(address[len("TCPIP"):])
	case strings.Contains(address, "::"):
		kind, _, _ := strings.Cut(address, "::")
		return refuse("VISA interface %q is not spoken", kind)
	default:
		kind, _, found := strings.Cut(address, ":")
		if !found {
			return refuse("it does not say what kind of link it is")
		}
		return refuse("link kind %q is not known", kind)
	}
	if err != nil {
		return refuse("%v", err)
	}
	return a, nil
}

// parseSerial reads PATH[?baud=…&bits=…&parity=…&stop=…].
func parseSerial(s string) (Address, error) {
	path, query, _ := strings.Cut(s, "?")
	a := Address{Kind: Serial, Path: path, Baud: 9600, DataBits: 8, Parity: "none", StopBits: "1"}
	if path == "" {
		return a, fmt.Errorf("the path of the serial port is missing")
	}
	if strings.ContainsAny(path, "\x00\n\r") {
		return a, fmt.Errorf("the path of the serial port holds a control character")
	}
	options, err := url.ParseQuery(query)
	if err != nil {
		return a, fmt.Errorf("options after \"?\" are not of the form name=value&name=value")
	}
	for name, values := range options {
		value := values[0]
		if len(values) > 1 {
			return a, fmt.Errorf("%s is given %d times", name, len(values))
		}
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
		default:
			return a, fmt.Errorf("option %q is not known: baud, bits, parity and stop are", name)
		}
	}
	return a, nil
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
	board, rest, found := strings.Cut(s, "::")
	if _, err := strconv.ParseUint(board, 10, 16); !found || board != "" && err != nil {
		return Address{}, fmt.Errorf("a LAN resource is TCPIP[board]::host::port::SOCKET")
	}
	var host string
	if strings.HasPrefix(rest, "[") {
		end := strings.Index(rest, "]")
		if end < 0 {
			return Address{}, fmt.Errorf("the bracket around the IPv6 host is not closed")
		}
		host, rest = rest[1:end], rest[end+1:]
		if rest, found = strings.CutPrefix(rest, "::"); !found {
			return Address{}, fmt.Errorf("::port::SOCKET is missing after the host")
		}
	} else if host, rest, found = strings.Cut(rest, "::"); !found {
		return Address{}, fmt.Errorf("::port::SOCKET is missing after the host")
	}
	port, class, _ := strings.Cut(rest, "::")
	if !strings.EqualFold(class, "SOCKET") {
		return Address{}, fmt.Errorf("of LAN resources only raw sockets are spoken (…::port::SOCKET; 5025 is the usual port)")
	}
	return tcpAddress(host, port)
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
