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
		{"serial:/dev/ttyUSB0?dtr=off", "serial:/dev/ttyUSB0?baud=9600&dtr=off"},
		{"serial:/dev/ttyUSB0?rts=off&baud=300&dtr=off", "serial:/dev/ttyUSB0?baud=300&dtr=off&rts=off"},
		{"usbtmc:/dev/usbtmc0", "usbtmc:/dev/usbtmc0"},
		{"usbtmc:serial=A22-5", "usbtmc:serial=A22-5"},
		{"usbtmc:product=22136&serial=A22+5&vendor=0x1234&interface=1", "usbtmc:serial=A22+5&vendor=0x1234&product=0x5678&interface=1"},
		{"usbtmc:serial=100%25 %26 more", "usbtmc:serial=100%25 %26 more"},
		{"usbtmc:/dev/usbtmc0?mav=off", "usbtmc:/dev/usbtmc0?mav=off"},
		{"usbtmc:mav=off&serial=A22-5&interface=0", "usbtmc:serial=A22-5&interface=0&mav=off"},
		{"USB::0x1234::0x5678::A22-5::INSTR", "usbtmc:serial=A22-5&vendor=0x1234&product=0x5678"},
		{"USB0::4660::22136::A22-5", "usbtmc:serial=A22-5&vendor=0x1234&product=0x5678"},
		{"usb0::0x1234::0X5678::A22-5::2::instr", "usbtmc:serial=A22-5&vendor=0x1234&product=0x5678&interface=2"},
		{"USB::0x1234::0x5678::A:2&2::INSTR", "usbtmc:serial=A:2%262&vendor=0x1234&product=0x5678"},
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
		{"serial:/dev/ttyS0?baud=9600&baud=1", "given twice"},
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
		{"TCPIP::1.2.3.4::INSTR", "VXI-11"},
		{"TCPIP::1.2.3.4::999", "::SOCKET"},
		{"TCPIP::dev@company.com::INSTR", "raw sockets"},
		{"TCPIP0::[fe80::1]::hislip0::INSTR", "HiSLIP"},
		{"TCPIP0::[fe80::1::5025::SOCKET", "not closed"},
		{"serial:/dev/ttyS0?dtr=on", "dtr=on: only off"},
		{"serial:/dev/ttyS0?rts", "name=value"},
		{"serial:/dev/ttyS0?baud=%", "name=value"},
		{"usbtmc:", "serial=NUMBER"},
		{"usbtmc:0", "name=value"},
		{"usbtmc:serial=", "what the instrument says of itself"},
		{"usbtmc:vendor=0x1234", "what the instrument says of itself"},
		{"usbtmc:serial=1&serial=2", "serial is given twice"},
		{"usbtmc:serial=1&vendor=0x12345", "0x0001 to 0xffff"},
		{"usbtmc:serial=1&product=0", "0x0001 to 0xffff"},
		{"usbtmc:serial=1&interface=256", "0 to 255"},
		{"usbtmc:serial=1&colour=red", `"colour" is not known`},
		{"usbtmc:/dev/usbtmc0?baud=9600", "mav=off is the only option"},
		{"usbtmc:serial=1&mav=on", "mav=on: only off"},
		{"USB::0x1234::0x5678::INSTR", "vendor::product::serial number"},
		{"USB::0x1234::0x5678::A22-5::0::1::INSTR", "vendor::product::serial number"},
		{"USB::0x1234::0x5678::A22-5::RAW", "raw USB"},
		{"USB::0x1234::0x5678::::INSTR", "what the instrument says of itself"},
		{"USB::bench::0x5678::A22-5::INSTR", "vendor"},
		{"USB0::0x1234::0x5678::A22-5::first::INSTR", "interface"},
		{"USB99999::0x1234::0x5678::A22-5::INSTR", "board"},
		{"TCPIP0::scope.example::inst0", "VXI-11"},
		{"TCPIP0::scope.example::5025", "::SOCKET"},
		{"GPIB0::1::INSTR", "GPIB is not spoken"},
		{"FIREWIRE::1::INSTR", `"FIREWIRE" is not spoken`},
		{"GPIB::1::0::INSTR", "GPIB is not spoken"},
		{"PXI0::3-18.2::INSTR", "PXI is not spoken"},
		{"VXI0::1::INSTR", "VXI is not spoken"},
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
	for _, seed := range []string{
		// VPP-4.3's forms.
		"GPIB::1::0::INSTR", "ASRL1::INSTR", "TCPIP::dev@company.com::INSTR", "TCPIP0::[fe80::1]::hislip0::INSTR", "TCPIP0::1.2.3.4::999::SOCKET",
		"USB::0x1234::0x5678::A22-5::INSTR", "USB0::0x1234::0x5678::A22-5::0::RAW", "PXI0::3-18.2::INSTR", "VXI0::1::INSTR",
		"usbtmc:serial=a%26b&vendor=0x1234&interface=0", "usbtmc:/dev/usbtmc0", "usbtmc:/dev/usbtmc0?mav=off", "usbtmc:serial=1&mav=off",
		"serial:/dev/ttyS0?baud=9600&stop=1.5", "tcp:[::1]:1", "TCPIP0::[fe80::1]::1::SOCKET", "ASRL2::INSTR", "serial:a?b", "serial:a%3f"} {
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
