package link

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"golang.org/x/sys/windows/registry"
)

// Ports lists the serial ports that Windows' registry has and opens none of
// them.
func Ports() ([]Port, error) {
	key, err := registry.OpenKey(registry.LOCAL_MACHINE, `HARDWARE\DEVICEMAP\SERIALCOMM`, registry.QUERY_VALUE)
	if errors.Is(err, registry.ErrNotExist) {
		return nil, nil // no serial port, ever
	}
	if err != nil {
		return nil, fmt.Errorf("listing serial ports in the registry: %w", err)
	}
	defer key.Close()
	names, err := key.ReadValueNames(0)
	if err != nil {
		return nil, fmt.Errorf("listing serial ports in the registry: %w", err)
	}
	var ports []Port
	for _, name := range names {
		path, _, err := key.GetStringValue(name)
		if err != nil {
			return nil, fmt.Errorf("serial port %s in the registry: %w", name, err)
		}
		a := serialAddress(path)
		ports = append(ports, Port{Address: a.String(), Kind: Serial, Description: path})
	}
	slices.SortFunc(ports, func(a, b Port) int { return strings.Compare(a.Address, b.Address) })
	return ports, nil
}
