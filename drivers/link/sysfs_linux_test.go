package link

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// computer is a made-up computer: files in "name: content" form, and links
// "name -> target". It has the layout of Linux's sysfs as its documentation
// (sysfs rules; ABI/stable and ABI/testing sysfs-bus-usb, sysfs-tty) gives it.
func computer(t *testing.T, lines string) system {
	t.Helper()
	root := t.TempDir()
	make := func(name string) string {
		path := filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		return path
	}
	for line := range strings.Lines(lines) {
		line = strings.TrimSpace(line)
		var err error
		if name, target, found := strings.Cut(line, " -> "); found {
			err = os.Symlink(target, make(name))
		} else if name, content, found := strings.Cut(line, ": "); found {
			err = os.WriteFile(make(name), []byte(content+"\n"), 0o644)
		} else if line != "" {
			err = os.WriteFile(make(line), nil, 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	return system{root: root, mayOpen: func(string) error { return nil }, groupFor: func(string) string { return "" }}
}

// benchComputer has two USB scopes of one model, a third without a serial
// number, an adapter with a stable name, two adapters that share theirs, one
// real port of its own, one without a chip, and a terminal.
const benchComputer = `
	sys/class/usbmisc/usbtmc0 -> ../../devices/usb1/1-1/1-1:1.0/usbmisc/usbtmc0
	sys/class/usbmisc/usbtmc10 -> ../../devices/usb1/1-3/1-3:1.0/usbmisc/usbtmc10
	sys/class/usbmisc/usbtmc2 -> ../../devices/usb1/1-2/1-2:1.2/usbmisc/usbtmc2
	sys/class/usbmisc/usbtmc3 -> ../../devices/usb1/1-2/1-2:1.1/usbmisc/usbtmc3
	sys/devices/usb1/1-1/1-1:1.0/usbmisc/usbtmc0/device -> ../..
	sys/devices/usb1/1-3/1-3:1.0/usbmisc/usbtmc10/device -> ../..
	sys/devices/usb1/1-2/1-2:1.2/usbmisc/usbtmc2/device -> ../..
	sys/devices/usb1/1-2/1-2:1.1/usbmisc/usbtmc3/device -> ../..
	sys/devices/usb1/idVendor: 1d6b
	sys/devices/usb1/serial: 0000:00:14.0
	sys/devices/usb1/1-1/idVendor: 1234
	sys/devices/usb1/1-1/idProduct: 5678
	sys/devices/usb1/1-1/manufacturer: Bench Works
	sys/devices/usb1/1-1/product: Scope Two
	sys/devices/usb1/1-1/serial: A22-5
	sys/devices/usb1/1-1/1-1:1.0/bInterfaceNumber: 00
	sys/devices/usb1/1-2/idVendor: 1234
	sys/devices/usb1/1-2/idProduct: 5678
	sys/devices/usb1/1-2/manufacturer: Bench Works
	sys/devices/usb1/1-2/product: Scope Two
	sys/devices/usb1/1-2/serial: A22 6&7
	sys/devices/usb1/1-2/1-2:1.2/bInterfaceNumber: 02
	sys/devices/usb1/1-2/1-2:1.1/bInterfaceNumber: 01
	sys/devices/usb1/1-3/idVendor: abcd
	sys/devices/usb1/1-3/idProduct: 0001
	sys/devices/usb1/1-3/1-3:1.0/bInterfaceNumber: 00
	sys/class/tty/ttyUSB0 -> ../../devices/usb1/1-4/1-4:1.0/ttyUSB0/tty/ttyUSB0
	sys/devices/usb1/1-4/1-4:1.0/ttyUSB0/tty/ttyUSB0/device -> ../..
	sys/devices/usb1/1-4/idVendor: 0403
	sys/devices/usb1/1-4/idProduct: 6001
	sys/devices/usb1/1-4/manufacturer: Adapter Works
	sys/devices/usb1/1-4/product: Serial Adapter
	sys/devices/usb1/1-4/serial: 77
	sys/class/tty/ttyUSB1 -> ../../devices/usb1/1-5/1-5:1.0/ttyUSB1/tty/ttyUSB1
	sys/devices/usb1/1-5/1-5:1.0/ttyUSB1/tty/ttyUSB1/device -> ../..
	sys/devices/usb1/1-5/idVendor: 0403
	sys/devices/usb1/1-5/idProduct: 6001
	sys/class/tty/ttyS0/device/resource
	sys/class/tty/ttyS0/type: 4
	sys/class/tty/ttyS1/device/resource
	sys/class/tty/ttyS1/type: 0
	sys/class/tty/tty1/dev: 4:1
	dev/usbtmc0
	dev/ttyUSB0
	dev/ttyUSB1
	dev/ttyS0
	dev/ttyS1
	dev/tty1
	dev/serial/by-id/usb-Adapter_Works_77-if00-port0 -> ../../ttyUSB0
	dev/serial/by-path/pci-usb-0:4:1.0-port0 -> ../../ttyUSB0
	dev/serial/by-path/pci-usb-0:5:1.0-port0 -> ../../ttyUSB1
`

func TestPorts(t *testing.T) {
	s := computer(t, benchComputer)
	s.mayOpen = func(path string) error {
		if strings.HasSuffix(path, "/ttyS0") || strings.HasSuffix(path, "/usbtmc0") {
			return fs.ErrPermission
		}
		return nil
	}
	s.groupFor = func(path string) string {
		if strings.HasSuffix(path, "/ttyS0") {
			return "dialout"
		}
		return ""
	}
	want := []Port{
		{"usbtmc:serial=A22-5", USBTMC, "Bench Works Scope Two at /dev/usbtmc0", "Bench Works", "Scope Two", "A22-5", &PermissionError{Path: "/dev/usbtmc0"}},
		{"usbtmc:/dev/usbtmc2", USBTMC, "Bench Works Scope Two at /dev/usbtmc2", "Bench Works", "Scope Two", "A22 6&7", nil},
		{"usbtmc:serial=A22 6%267", USBTMC, "Bench Works Scope Two at /dev/usbtmc3", "Bench Works", "Scope Two", "A22 6&7", nil},
		{"usbtmc:/dev/usbtmc10", USBTMC, "USB device abcd:0001 at /dev/usbtmc10", "", "", "", nil},
		{"serial:/dev/ttyS0?baud=9600", Serial, "/dev/ttyS0", "", "", "", &PermissionError{Path: "/dev/ttyS0", Group: "dialout"}},
		{"serial:/dev/serial/by-id/usb-Adapter_Works_77-if00-port0?baud=9600", Serial, "Adapter Works Serial Adapter at /dev/ttyUSB0", "Adapter Works", "Serial Adapter", "77", nil},
		{"serial:/dev/serial/by-path/pci-usb-0:5:1.0-port0?baud=9600", Serial, "USB device 0403:6001 at /dev/ttyUSB1", "", "", "", nil},
	}
	if diff := cmp.Diff(want, s.portList()); diff != "" {
		t.Errorf("ports (- want, + got):\n%s", diff)
	}
	if none := computer(t, "").portList(); len(none) != 0 {
		t.Errorf("a computer without anything has %+v", none)
	}
	if _, err := Ports(); err != nil {
		t.Errorf("this computer's ports: %v", err)
	}
}

func TestFindUSBTMC(t *testing.T) {
	s := computer(t, benchComputer)
	for _, c := range []struct{ address, want string }{
		{"usbtmc:/dev/usbtmc7", "/dev/usbtmc7"},
		{"usbtmc:serial=A22-5", "/dev/usbtmc0"},
		{"USB0::0x1234::0x5678::A22-5::INSTR", "/dev/usbtmc0"},
		{"USB0::0x1234::0x5678::A22 6&7::INSTR", "/dev/usbtmc3"}, // the lowest interface
		{"USB0::0x1234::0x5678::A22 6&7::2::INSTR", "/dev/usbtmc2"},
		{"USB0::0x1235::0x5678::A22-5::INSTR", ""},
		{"usbtmc:serial=A22-5&product=1", ""},
		{"usbtmc:serial=A22-5&interface=1", ""},
		{"usbtmc:serial=B1", ""},
	} {
		a, err := Parse(c.address)
		if err != nil {
			t.Fatal(err)
		}
		path, err := s.findUSBTMC(a)
		if path != c.want || (err == nil) != (c.want != "") || err != nil && (!errors.Is(err, ErrGone) || !strings.Contains(err.Error(), "/dev/usbtmc0: serial=A22-5 vendor=0x1234")) {
			t.Errorf("%s is %q, %v, want %q", c.address, path, err, c.want)
		}
	}
	if _, err := computer(t, "").findUSBTMC(Address{Kind: USBTMC, SerialNumber: "A22-5", Interface: anyInterface}); !errors.Is(err, ErrGone) || !strings.Contains(err.Error(), "modprobe usbtmc") {
		t.Errorf("on a computer without any: %v", err)
	}
}

// TestFindUSBTMCTwins has two instruments with one serial number.
func TestFindUSBTMCTwins(t *testing.T) {
	twins := strings.ReplaceAll(benchComputer, "1-3/idProduct: 0001", "1-3/idProduct: 0001\n\tsys/devices/usb1/1-3/serial: A22-5")
	s := computer(t, twins)
	_, err := s.findUSBTMC(Address{Kind: USBTMC, SerialNumber: "A22-5", Interface: anyInterface})
	if err == nil || !strings.Contains(err.Error(), "/dev/usbtmc0") || !strings.Contains(err.Error(), "/dev/usbtmc10") || !strings.Contains(err.Error(), "vendor=") {
		t.Errorf("twins: %v, want both named and what to add", err)
	}
	if path, err := s.findUSBTMC(Address{Kind: USBTMC, SerialNumber: "A22-5", Vendor: 0xabcd, Interface: anyInterface}); err != nil || path != "/dev/usbtmc10" {
		t.Errorf("with the vendor: %s, %v", path, err)
	}
	for _, p := range s.portList() {
		if p.SerialNumber == "A22-5" && !strings.HasPrefix(p.Address, "usbtmc:/dev/") {
			t.Errorf("a twin is listed as %s, which means both", p.Address)
		}
	}
}

func TestPermissionError(t *testing.T) {
	if err := (&PermissionError{Path: "/dev/ttyUSB0", Group: "dialout"}).Error(); !strings.Contains(err, "join the group dialout") || !strings.Contains(err, "sudo usermod -aG dialout $USER") {
		t.Errorf("with a group: %s", err)
	}
	err := (&PermissionError{Path: "/dev/usbtmc0"}).Error()
	for _, part := range []string{"/dev/usbtmc0", UdevRulesPath, "udevadm", "usermod -aG dialout"} {
		if !strings.Contains(err, part) {
			t.Errorf("without a group: %s\nlacks %q", err, part)
		}
	}
	if err := (&PermissionError{Path: "/dev/ttyUSB0"}).Error(); !strings.Contains(err, "sudo chgrp dialout /dev/ttyUSB0 && sudo chmod g+rw /dev/ttyUSB0") || strings.Contains(err, "udev") {
		t.Errorf("a serial port without a group: %s; the udev rules are not for it", err)
	}
	for _, part := range []string{`SUBSYSTEM=="usbmisc"`, `KERNEL=="usbtmc[0-9]*"`, `GROUP="` + usersGroup + `"`, `MODE="0660"`} {
		if !strings.Contains(UdevRules, part) {
			t.Errorf("the udev rules lack %s", part)
		}
	}
}

// TestDeviceGroup makes device files of ordinary ones.
func TestDeviceGroup(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("only root may give files away")
	}
	path := filepath.Join(t.TempDir(), "port")
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		group int
		mode  os.FileMode
		want  string
	}{{0, 0o660, ""}, {54321, 0o600, ""}, {54321, 0o640, ""}, {54321, 0o660, "54321"}, {1, 0o660, "daemon"}} {
		if err := errors.Join(os.Chown(path, 0, c.group), os.Chmod(path, c.mode)); err != nil {
			t.Fatal(err)
		}
		if got := deviceGroup(path); got != c.want {
			t.Errorf("group %d, mode %o: %q, want %q", c.group, c.mode, got, c.want)
		}
	}
}
