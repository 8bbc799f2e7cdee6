package benchcheck

import (
	"fmt"
	"path/filepath"
	"strings"

	"ringup/drivers/link"
)

// Place is an address in a form that is the same however the address is written: stable names of one port lead to one
// device.
func Place(address string) (string, error) {
	a, err := link.Parse(address)
	if err != nil {
		return "", err
	}
	if a.Kind == link.TCP {
		return strings.ToLower(fmt.Sprintf("tcp:%s:%d", a.Host, a.Port)), nil
	}
	if a.Path != "" {
		if device, err := filepath.EvalSymlinks(a.Path); err == nil {
			return device, nil
		}
		return a.Path, nil
	}
	return a.String(), nil
}
