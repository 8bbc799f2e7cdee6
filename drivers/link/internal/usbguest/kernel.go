//go:build linux

package usbguest

import (
	"cmp"
	"fmt"
	"os"
	"path/filepath"
)

// modules are what stands between USB/IP and /dev/usbtmc0, in the order in
// which they must be loaded.
var modules = []string{"usb-common", "usbcore", "usbip-core", "vhci-hcd", "usbtmc"}

// kernel is what .ci/guest-kernel has fetched.
type kernel struct {
	image   string
	modules []string // files, in loading order
}

// findKernel looks into $RINGUP_GUEST_KERNEL, or else the user's cache folder.
func findKernel() (kernel, error) {
	folder := os.Getenv("RINGUP_GUEST_KERNEL")
	if folder == "" {
		cache, err := os.UserCacheDir()
		if err != nil {
			return kernel{}, err
		}
		folder = filepath.Join(cache, "ringup-guest-kernel")
	}
	var k kernel
	for _, name := range []string{"vmlinuz", "vmlinux"} { // the latter is unpacked and boots faster
		if _, err := os.Stat(filepath.Join(folder, name)); err == nil {
			k.image = filepath.Join(folder, name)
		}
	}
	missing := ""
	if k.image == "" {
		missing = "vmlinux"
	}
	for _, name := range modules {
		files, err := filepath.Glob(filepath.Join(folder, name+".ko*"))
		if err != nil {
			return kernel{}, err
		}
		if len(files) != 1 {
			missing = cmp.Or(missing, name+".ko")
			continue
		}
		k.modules = append(k.modules, files[0])
	}
	if missing != "" {
		return kernel{}, fmt.Errorf("%s is not in %s: run .ci/guest-kernel, which fetches Debian's package linux-image-amd64 and unpacks it there", missing, folder)
	}
	return k, nil
}
