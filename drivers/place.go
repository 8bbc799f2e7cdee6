package drivers

import (
	"fmt"
	"path/filepath"
	"strings"

	"ringup/drivers/link"
)

// Place is an address in a form that is the same however the address is
// written, to tell whether two lead to one port: a device's stable names lead
// to its file. The error is link.Parse's.
func Place(address string) (string, error) {
	a, err := link.Parse(address)
	switch {
	case err != nil:
		return "", err
	case a.Kind == link.TCP:
		return strings.ToLower(fmt.Sprintf("tcp:%s:%d", a.Host, a.Port)), nil
	case a.Path == "":
		a.MAVOff = false // says how to talk to it, not where it is
		return a.String(), nil
	}
	if device, err := filepath.EvalSymlinks(a.Path); err == nil {
		return device, nil
	}
	return a.Path, nil // not there at present
}
