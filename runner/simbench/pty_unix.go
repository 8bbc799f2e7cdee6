//go:build linux || darwin

package simbench

import (
	"cmp"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// plugPTY opens a pseudo-terminal pair in raw mode and serves its master side. The slave is kept open here, too: a
// master whose last slave closes reads EIO, and the next program that opens the port would find it dead.
func (p *port) plugPTY() error {
	master, slave, err := pty.Open()
	if err != nil {
		return fmt.Errorf("%w: %w", ErrNoPTY, err)
	}
	wire, err := pollable(master)
	if err == nil {
		err = makeRaw(slave)
	}
	path := slave.Name()
	if err == nil && p.bench.linkDir != "" {
		path, err = p.relink(path)
	}
	if err != nil {
		master.Close()
		slave.Close()
		return err
	}
	baud := p.bench.baud
	p.address = fmt.Sprintf("serial:%s?baud=%d", path, cmp.Or(baud, 115200))
	p.ends[wire], p.ends[slave] = struct{}{}, struct{}{}
	gone := p.gone
	var spoken io.ReadWriter = wire
	if baud != 0 {
		spoken = &uart{wire: wire, baud: baud, line: func() (int, error) { return lineSpeed(slave) }}
	}
	p.bench.served.Go(func() { p.bench.serve(p.name, spoken, gone) })
	return nil
}

// pollable gives the master a descriptor on which Close ends a blocked Read or Write: opening the pair has left it in
// blocking mode. The original is closed.
func pollable(master *os.File) (*os.File, error) {
	fd, err := unix.FcntlInt(master.Fd(), unix.F_DUPFD_CLOEXEC, 0)
	if err != nil {
		return nil, os.NewSyscallError("fcntl", err)
	}
	if err := unix.SetNonblock(fd, true); err != nil {
		unix.Close(fd)
		return nil, os.NewSyscallError("set non-blocking", err)
	}
	name := master.Name()
	master.Close()
	return os.NewFile(uintptr(fd), name), nil
}

// makeRaw switches echo, line editing and every translation off.
func makeRaw(slave *os.File) error {
	t, err := unix.IoctlGetTermios(int(slave.Fd()), ioctlGetTermios)
	if err != nil {
		return os.NewSyscallError("read terminal mode", err)
	}
	t.Iflag &^= unix.IGNBRK | unix.BRKINT | unix.PARMRK | unix.ISTRIP | unix.INLCR | unix.IGNCR | unix.ICRNL | unix.IXON
	t.Oflag &^= unix.OPOST
	t.Lflag &^= unix.ECHO | unix.ECHONL | unix.ICANON | unix.ISIG | unix.IEXTEN
	t.Cflag = t.Cflag&^(unix.CSIZE|unix.PARENB) | unix.CS8
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	return os.NewSyscallError("set terminal mode", unix.IoctlSetTermios(int(slave.Fd()), ioctlSetTermios, t))
}

// relink points the port's stable name at the device.
func (p *port) relink(device string) (string, error) {
	name := filepath.Join(p.bench.linkDir, string(p.name))
	p.link = name
	if err := p.unlink(); err != nil {
		return "", err
	}
	p.link = name
	return name, os.Symlink(device, name)
}

// unlink removes the stable name.
func (p *port) unlink() error {
	if p.link == "" {
		return nil
	}
	name := p.link
	p.link = ""
	if err := os.Remove(name); err != nil && !os.IsNotExist(err) {
		return err
	}
	return nil
}

// lineSpeed is the speed that whoever opened the port has set, bits per second.
func lineSpeed(slave *os.File) (int, error) {
	t, err := unix.IoctlGetTermios(int(slave.Fd()), ioctlGetTermios)
	if err != nil {
		return 0, os.NewSyscallError("read terminal mode", err)
	}
	return speedOf(t), nil
}
