//go:build unix

package link

import (
	"os"
	"os/user"
	"strconv"
	"syscall"

	"golang.org/x/sys/unix"
)

// thisComputer is the system that the process runs on.
var thisComputer = system{
	root:     "/",
	mayOpen:  func(path string) error { return unix.Access(path, unix.R_OK|unix.W_OK) },
	groupFor: deviceGroup,
}

// deviceGroup names the group that may read and write a device file; "" if that
// is root's or none.
func deviceGroup(path string) string {
	info, err := os.Stat(path)
	if err != nil {
		return ""
	}
	status, known := info.Sys().(*syscall.Stat_t)
	if !known || status.Gid == 0 || info.Mode()&0o060 != 0o060 {
		return ""
	}
	id := strconv.FormatUint(uint64(status.Gid), 10)
	if group, err := user.LookupGroupId(id); err == nil {
		return group.Name
	}
	return id
}
