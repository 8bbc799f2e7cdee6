package link

import (
	"strings"
	"testing"
)

// The VISA forms are those of VPP-4.3, as two vendors' programming manuals
// print them.
func TestParse(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"serial:/dev/ttyUSB0", "serial:/dev/ttyUSB0?baud=9600"},
		{"serial:/dev/pts/5?baud=115200", "serial:/dev/pts/5?baud=115200"},
		{"serial:/dev/ttyS1?baud=1200&bits=7&parity=even&stop=2", "serial:/dev/ttyS1?baud=1200&bits=7&parity=even&stop=2"},
		{"serial:COM3?baud=19200", "serial:COM3?baud=19200"},
		{"ASRL/dev/ttyUSB0::INSTR", "serial:/dev/ttyUSB0?baud=9600"},
		{"asrl/dev/serial/by-id/usb-bench-supply-if00?baud=19200::instr", "serial:/dev/serial/by-id/usb-bench-supply-if00?baud=19200"},
		{"tcp:192.0.2.17:5025", "tcp:192.0.2.17:5025"},
		{"tcp:scope.example:5025", "tcp:scope.example:5025"},
		{"tcp:[fe80::1%eth0]:5025", "tcp:[fe80::1%eth0]:5025"},
		{"TCPIP0::1.2.3.4::999::SOCKET", "tcp:1.2.3.4:999"},
		{"TCPIP::scope.example::5025::socket", "tcp:scope.example:5025"},
		{"TCPIP0::[fe80::1]::5025::SOCKET", "tcp:[fe80::1]:5025"},
	} {
		a, err := Parse(c.in)
		if err != nil {
			t.Errorf("Parse(%q): %v", c.in, err)
			continue
		}
		if a.String() != c.want {
			t.Errorf("Parse(%q) = %s, want %s", c.in, a, c.want)
		}
		if again, err := Parse(a.String()); err != nil || again != a {
			t.Errorf("Parse(%q) = %v, %v; the canonical form must read back as itself", a, again, err)
		}
	}
}

func TestNumberedPort(t *testing.T) {
	for _, c := range []struct {
		goos string
		want string
	}{{"windows", "COM1"}, {"linux", "/dev/ttyS0"}} {
		if got := numberedPort(c.goos, 1); got != c.want {
			t.Errorf("port 1 on %s = %q, want %q", c.goos, got, c.want)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct{ in, reason string }{
		{"", "empty"},
		{"/dev/ttyUSB0", "what kind"},
		{"bluetooth:1", `"bluetooth" is not known`},
		{"serial:", "path"},
		{"serial:?baud=9600", "path"},
		{"serial:/dev/ttyS0?baud=fast", "whole number"},
		{"serial:/dev/ttyS0?baud=9600&baud=1", "2 times"},
		{"serial:/dev/ttyS0?bauds=9600", `"bauds" is not known`},
		{"serial:/dev/ttyS0?bits=9", "5, 6, 7 or 8"},
		{"serial:/dev/ttyS0?parity=mark", "none, even or odd"},
		{"serial:/dev/ttyS0?stop=3", "1, 1.5 or 2"},
		{"serial:/dev/ttyS0?flow=rts", `"flow" is not known`},
		{"tcp:host", "HOST:PORT"},
		{"tcp:fe80::1:5025", "brackets"},
		{"tcp::5025", "host is missing"},
		{"tcp:host:0", "1 to 65535"},
		{"tcp:host:70000", "1 to 65535"},
		{"tcp:[fe80::zz]:5025", "no IPv6 address"},
		{"ASRL::INSTR", "number or a path"},
		{"ASRL0::INSTR", "1 to 256"},
		{"ASRL1::RAW", "::INSTR"},
		{"TCPIP::1.2.3.4::INSTR", "raw sockets"},
		{"TCPIP::1.2.3.4::999", "raw sockets"},
		{"TCPIP::dev@company.com::INSTR", "raw sockets"},
		{"TCPIP0::[fe80::1]::hislip0::INSTR", "raw sockets"},
		{"TCPIP0::[fe80::1::5025::SOCKET", "not closed"},
		{"GPIB::1::0::INSTR", `"GPIB" is not spoken`},
		{"PXI0::3-18.2::INSTR", `"PXI0" is not spoken`},
		{"VXI0::1::INSTR", `"VXI0" is not spoken`},
	} {
		_, err := Parse(c.in)
		if err == nil {
			t.Errorf("Parse(%q) was accepted", c.in)
			continue
		}
		for _, part := range []string{c.reason, "serial:PATH", "tcp:HOST:PORT", "SOCKET"} {
			if !strings.Contains(err.Error(), part) {
				t.Errorf("Parse(%q): %v\nmust say %q", c.in, err, part)
			}
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, seed := range []string{"serial:/dev/ttyS0?baud=9600&stop=1.5", "tcp:[::1]:1", "TCPIP0::[fe80::1]::1::SOCKET", "ASRL2::INSTR", "serial:a?b", "serial:a%3f"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, s string) {
		a, err := Parse(s)
		if err != nil {
			return
		}
		if again, err := Parse(a.String()); err != nil || again != a {
			t.Fatalf("%q -> %q -> %v, %v", s, a, again, err)
		}
	})
}
