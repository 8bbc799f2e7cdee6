//go:build !linux

package link

import (
	"fmt"
	"runtime"
)

// openUSBTMC refuses: the driver behind it is the Linux kernel's.
func openUSBTMC(a Address) (Link, error) {
	return nil, fmt.Errorf("%s: USB-TMC works on Linux alone, not on %s; use the instrument's serial or LAN port", a, runtime.GOOS)
}
