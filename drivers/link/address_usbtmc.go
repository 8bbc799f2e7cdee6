package link

import (
	"fmt"
	"strconv"
	"strings"
)

// usbtmcString is the canonical form of a USB-TMC address.
func (a Address) usbtmcString() string {
	if a.Path != "" && a.MAVOff {
		return "usbtmc:" + a.Path + "?mav=off"
	}
	if a.Path != "" {
		return "usbtmc:" + a.Path
	}
	options := []string{"serial=" + strings.NewReplacer("%", "%25", "&", "%26").Replace(a.SerialNumber)}
	if a.Vendor != 0 {
		options = append(options, fmt.Sprintf("vendor=0x%04x", a.Vendor))
	}
	if a.Product != 0 {
		options = append(options, fmt.Sprintf("product=0x%04x", a.Product))
	}
	if a.Interface != anyInterface {
		options = append(options, fmt.Sprintf("interface=%d", a.Interface))
	}
	if a.MAVOff {
		options = append(options, "mav=off")
	}
	return "usbtmc:" + strings.Join(options, "&")
}

// parseUSBTMC reads PATH[?mav=off] or
// serial=…[&vendor=…][&product=…][&interface=…][&mav=off].
func parseUSBTMC(s string) (Address, error) {
	if s == "" {
		return Address{}, fmt.Errorf("which USB instrument is missing: serial=NUMBER or the path of its device file")
	}
	if strings.HasPrefix(s, "/") {
		path, query, _ := strings.Cut(s, "?")
		if control(path) || query != "" && query != "mav=off" {
			return Address{}, fmt.Errorf("a USB instrument's path has no control characters, and mav=off is the only option it may have")
		}
		return Address{Kind: USBTMC, Path: path, Interface: anyInterface, MAVOff: query != ""}, nil
	}
	options, err := parseOptions(s)
	if err != nil {
		return Address{}, err
	}
	a := Address{Kind: USBTMC, Interface: anyInterface}
	for name, value := range options {
		switch name {
		case "serial":
			a.SerialNumber = value
		case "vendor":
			a.Vendor, err = usbNumber(name, value)
		case "product":
			a.Product, err = usbNumber(name, value)
		case "interface":
			a.Interface, err = usbInterface(value)
		case "mav":
			if a.MAVOff = value == "off"; !a.MAVOff {
				err = fmt.Errorf("mav=%s: only off can be asked for (without it the status byte's bit MAV is heeded)", value)
			}
		default:
			err = fmt.Errorf("option %q is not known: serial, vendor, product, interface and mav are", name)
		}
		if err != nil {
			return Address{}, err
		}
	}
	return a, checkSerialNumber(a.SerialNumber)
}

func checkSerialNumber(s string) error {
	if s == "" || control(s) {
		return fmt.Errorf("serial number %q: what the instrument says of itself is needed (ringup find lists it)", s)
	}
	return nil
}

// usbNumber reads a vendor's or product's number, decimal or with 0x.
func usbNumber(name, s string) (uint16, error) {
	base, digits := 10, s
	if hex, found := strings.CutPrefix(strings.ToLower(s), "0x"); found {
		base, digits = 16, hex
	}
	n, err := strconv.ParseUint(digits, base, 16)
	if err != nil || n == 0 {
		return 0, fmt.Errorf("%s %q: a number from 0x0001 to 0xffff is needed", name, s)
	}
	return uint16(n), nil
}

func usbInterface(s string) (int, error) {
	n, err := strconv.ParseUint(s, 10, 8)
	if err != nil {
		return 0, fmt.Errorf("interface %q: a number from 0 to 255 is needed", s)
	}
	return int(n), nil
}
