package link

import (
	_ "embed" // for UdevRules
	"fmt"
	"path/filepath"
	"strings"
)

// Port is a port at which an instrument may be.
type Port struct {
	// Address opens it. It is the most lasting one there is: an adapter's
	// stable name, an instrument's serial number.
	Address string
	Kind    Kind
	// Description is one line for a person: maker and model, or the device
	// file where nothing more is known.
	Description string
	// Maker, Model and SerialNumber are what the USB device says of itself:
	// with a serial port that is the adapter, not the instrument behind it.
	Maker, Model, SerialNumber string
	// Problem is why this user cannot open it, a *PermissionError, or nil.
	Problem error
}

// UdevRules lets ordinary users at USB-TMC instruments, whose device files are
// the administrator's alone otherwise.
//
//go:embed 70-ringup-usbtmc.rules
var UdevRules string

// UdevRulesPath is where UdevRules belong.
const UdevRulesPath = "/etc/udev/rules.d/70-ringup-usbtmc.rules"

// usersGroup is the group that UdevRules give the device files to. It is also
// that of serial ports on the common distributions.
const usersGroup = "dialout"

// PermissionError says that this user may not open a device file.
type PermissionError struct {
	Path string
	// Group is the group that may; empty if there is none but the
	// administrator.
	Group string
}

// Error names the group and the command that helps.
func (e *PermissionError) Error() string {
	switch {
	case e.Group != "":
		return fmt.Sprintf("this user may not open %s: join the group %s, which may: \"sudo usermod -aG %[2]s $USER\", then log in anew", e.Path, e.Group)
	case strings.HasPrefix(filepath.Base(e.Path), "usbtmc"):
		return fmt.Sprintf("this user may not open %s, nor may any but root: save the udev rules that ringup find prints as %s, "+
			"run \"sudo udevadm control --reload && sudo udevadm trigger\", and join the group %s: "+
			"\"sudo usermod -aG %[3]s $USER\", then log in anew", e.Path, UdevRulesPath, usersGroup)
	}
	return fmt.Sprintf("this user may not open %s, nor may any but root: give it to the group %s until it is plugged in anew, "+
		"\"sudo chgrp %[2]s %[1]s && sudo chmod g+rw %[1]s\", and join that group: \"sudo usermod -aG %[2]s $USER\", then log in anew", e.Path, usersGroup)
}
