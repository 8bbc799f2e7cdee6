//go:build unix

package link

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// system is where the device files and the kernel's account of them are. None
// of its methods opens a port: to open a serial port is to switch its modem
// lines and to spoil the settings of whoever uses it.
type system struct {
	root     string                   // "/" but in tests
	mayOpen  func(path string) error  // whether this user may open a device file
	groupFor func(path string) string // the group that may, or ""
}

// usbDevice is what a USB device says of itself.
type usbDevice struct {
	vendor, product            uint16
	maker, model, serialNumber string
}

// usbtmcNode is one device file of the usbtmc driver.
type usbtmcNode struct {
	path        string // as in /dev, without the root
	usb         string // folder of its USB device, for telling devices apart
	interfaceNo int
	usbDevice
}

func (s system) path(elements ...string) string {
	return filepath.Join(append([]string{s.root}, elements...)...)
}

// attribute reads one of the kernel's one-line files; "" if it has none.
func attribute(folder, name string) string {
	text, err := os.ReadFile(filepath.Join(folder, name))
	if err != nil {
		return ""
	}
	return strings.TrimSpace(strings.ToValidUTF8(string(text), "?"))
}

// usbOf looks for the USB device that something in sysfs hangs on, upwards. It
// returns its folder, "" if there is none, and that of its interface.
func (s system) usbOf(folder string) (usb, usbInterface string, d usbDevice) {
	folder, err := filepath.EvalSymlinks(folder)
	if err != nil {
		return "", "", d
	}
	for ; len(folder) > len(s.path("sys")); folder = filepath.Dir(folder) {
		if attribute(folder, "bInterfaceNumber") != "" {
			usbInterface = folder
		}
		if attribute(folder, "idVendor") == "" {
			continue
		}
		hex := func(name string) uint16 {
			n, _ := strconv.ParseUint(attribute(folder, name), 16, 16) // 0 for one that cannot be read
			return uint16(n)
		}
		return folder, usbInterface, usbDevice{hex("idVendor"), hex("idProduct"),
			attribute(folder, "manufacturer"), attribute(folder, "product"), attribute(folder, "serial")}
	}
	return "", usbInterface, d
}

// usbtmcNodes lists the device files of the usbtmc driver by number.
func (s system) usbtmcNodes() []usbtmcNode {
	var nodes []usbtmcNode
	entries, _ := os.ReadDir(s.path("sys/class/usbmisc")) // none without the driver
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), "usbtmc") {
			continue
		}
		n := usbtmcNode{path: "/dev/" + e.Name()}
		var at string
		n.usb, at, n.usbDevice = s.usbOf(s.path("sys/class/usbmisc", e.Name(), "device"))
		number, _ := strconv.ParseInt(attribute(at, "bInterfaceNumber"), 16, 0)
		n.interfaceNo = int(number)
		nodes = append(nodes, n)
	}
	slices.SortFunc(nodes, func(a, b usbtmcNode) int {
		return cmp.Or(cmp.Compare(len(a.path), len(b.path)), cmp.Compare(a.path, b.path))
	})
	return nodes
}

// findUSBTMC returns the device file that an address means now.
func (s system) findUSBTMC(a Address) (string, error) {
	if a.Path != "" {
		return a.Path, nil
	}
	var found, others []usbtmcNode
	for _, n := range s.usbtmcNodes() {
		if n.serialNumber == strings.TrimSpace(a.SerialNumber) && (a.Vendor == 0 || a.Vendor == n.vendor) && (a.Product == 0 || a.Product == n.product) &&
			(a.Interface == anyInterface || a.Interface == n.interfaceNo) {
			found = append(found, n)
		} else {
			others = append(others, n)
		}
	}
	list := func(nodes []usbtmcNode) string {
		var names []string
		for _, n := range nodes {
			names = append(names, fmt.Sprintf("%s: serial=%s vendor=0x%04x product=0x%04x interface=%d (%s)", n.path, n.serialNumber, n.vendor, n.product, n.interfaceNo, n.describe()))
		}
		return strings.Join(names, "; ")
	}
	if len(found) == 0 {
		if len(others) == 0 {
			return "", fmt.Errorf("%w: there is no USB-TMC instrument; check that it is on and plugged in, and that the kernel has its driver (sudo modprobe usbtmc)", ErrGone)
		}
		return "", fmt.Errorf("%w: no USB-TMC instrument is the one meant; there are: %s", ErrGone, list(others))
	}
	slices.SortFunc(found, func(a, b usbtmcNode) int { return cmp.Compare(a.interfaceNo, b.interfaceNo) })
	if i := slices.IndexFunc(found, func(n usbtmcNode) bool { return n.usb != found[0].usb }); i > 0 {
		return "", fmt.Errorf("%d USB-TMC instruments fit the address: %s; add vendor= and product=, or give the path", len(found), list(found))
	}
	return found[0].path, nil
}

// describe is maker and model, or what is known instead.
func (d usbDevice) describe() string {
	if d.maker == "" && d.model == "" {
		return fmt.Sprintf("USB device %04x:%04x", d.vendor, d.product)
	}
	return strings.TrimSpace(d.maker + " " + d.model)
}

// usbtmcPorts lists the USB-TMC instruments.
func (s system) usbtmcPorts() []Port {
	var ports []Port
	nodes := s.usbtmcNodes()
	for _, n := range nodes {
		a := Address{Kind: USBTMC, SerialNumber: n.serialNumber, Interface: anyInterface}
		if path, err := s.findUSBTMC(a); n.serialNumber == "" || err != nil || path != n.path {
			a = Address{Kind: USBTMC, Path: n.path}
		}
		ports = append(ports, s.port(a, n.path, n.usbDevice))
	}
	return ports
}

func (s system) port(a Address, path string, d usbDevice) Port {
	p := Port{Address: a.String(), Kind: a.Kind, Description: path, Maker: d.maker, Model: d.model, SerialNumber: d.serialNumber}
	if d != (usbDevice{}) {
		p.Description = d.describe() + " at " + path
	}
	if err := s.mayOpen(s.path(path)); errors.Is(err, fs.ErrPermission) {
		p.Problem = s.permission(path)
	}
	return p
}

// permission is the error for a device file that this user may not open.
func (s system) permission(path string) *PermissionError {
	return &PermissionError{Path: path, Group: s.groupFor(s.path(path))}
}

// serialPorts lists the serial ports that have hardware behind them.
func (s system) serialPorts() []Port {
	stable := map[string]string{} // device file to its stable name
	for _, folder := range []string{"dev/serial/by-path", "dev/serial/by-id"} {
		entries, _ := os.ReadDir(s.path(folder)) // none without USB adapters
		for _, e := range entries {
			if target, err := os.Readlink(s.path(folder, e.Name())); err == nil {
				stable["/dev/"+filepath.Base(target)] = "/" + folder + "/" + e.Name()
			}
		}
	}
	var ports []Port
	entries, _ := os.ReadDir(s.path("sys/class/tty"))
	for _, e := range entries {
		folder := s.path("sys/class/tty", e.Name())
		if _, err := os.Stat(filepath.Join(folder, "device")); err != nil {
			continue // a console or a pseudo-terminal
		}
		// The kernel keeps ttyS0 to ttyS31 ready; of those without a chip the
		// type is 0, unknown.
		if attribute(folder, "type") == "0" {
			continue
		}
		path := "/dev/" + e.Name()
		if _, err := os.Lstat(s.path(path)); err != nil {
			continue
		}
		a := serialAddress(cmp.Or(stable[path], path))
		_, _, usb := s.usbOf(filepath.Join(folder, "device"))
		ports = append(ports, s.port(a, path, usb))
	}
	return ports
}
