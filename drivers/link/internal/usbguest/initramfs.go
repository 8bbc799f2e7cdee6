//go:build linux

package usbguest

import (
	"cmp"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
)

// File types and permissions of the archive's entries.
const (
	modeFolder = 0o040755
	modeDevice = 0o020600
	modeFile   = 0o100755
)

// archive writes a cpio archive of the kind "newc", as the kernel's
// documentation "initramfs buffer format" lays it out.
type archive struct {
	w     io.Writer
	inode int
	err   error
}

func (a *archive) entry(name string, mode, major, minor int, data []byte) {
	a.inode++
	// Magic, inode, mode, user, group, links, time, size, device, device of a
	// device file, length of the name, checksum.
	header := fmt.Sprintf("070701%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%s\x00",
		a.inode, mode, 0, 0, 1, 0, len(data), 0, 0, major, minor, len(name)+1, 0, name)
	for _, part := range [][]byte{[]byte(header), data} {
		part = append(part, make([]byte, (4-len(part)%4)%4)...)
		if a.err == nil {
			_, a.err = a.w.Write(part)
		}
	}
}

// copy enters a file of this computer.
func (a *archive) copy(name, file string) {
	data, err := os.ReadFile(file)
	if err != nil {
		a.err = cmp.Or(a.err, err)
		return
	}
	a.entry(name, modeFile, 0, 0, data)
}

// Files is the guest's folder of the files that Run was given.
const Files = "/files"

// writeInitramfs writes the guest's whole file system: init, modules and files.
// The device files are entries in the archive, so this needs no root.
func writeInitramfs(to, init string, modules, files []string) (err error) {
	f, err := os.Create(to)
	if err != nil {
		return err
	}
	a := &archive{w: f}
	a.entry("dev", modeFolder, 0, 0, nil)
	a.entry("dev/console", modeDevice, 5, 1, nil)
	a.entry("dev/null", modeDevice, 1, 3, nil)
	a.entry("modules", modeFolder, 0, 0, nil)
	a.entry(Files[1:], modeFolder, 0, 0, nil)
	a.copy("init", init)
	for i, module := range modules {
		a.copy(fmt.Sprintf("modules/%02d-%s", i, filepath.Base(module)), module)
	}
	for _, file := range files {
		a.copy(path.Join(Files[1:], filepath.Base(file)), file)
	}
	a.entry("TRAILER!!!", 0, 0, 0, nil)
	if err := f.Close(); err != nil {
		return err
	}
	return a.err
}
