//go:build unix && !linux

package link

import "path/filepath"

// Ports lists the serial ports by their device files and opens none of them.
func Ports() ([]Port, error) {
	paths, err := filepath.Glob("/dev/cu.*")
	if err != nil {
		return nil, err
	}
	var ports []Port
	for _, path := range paths {
		a := serialAddress(path)
		ports = append(ports, thisComputer.port(a, path, usbDevice{}))
	}
	return ports, nil
}
