//go:build linux

package usbguest_test

import (
	"errors"
	"os"
	"os/exec"
	"syscall"
	"testing"

	"ringup/drivers/link"
	"ringup/drivers/link/internal/usbguest"
)

// ordinaryVariable marks the process of TestInsidePermission that is not root.
const ordinaryVariable = "RINGUP_ORDINARY_USER"

// TestInsidePermission is an ordinary user at a device file as the kernel makes
// it: root's alone.
func TestInsidePermission(t *testing.T) {
	usbguest.Inside(t)
	if os.Getenv(ordinaryVariable) == "" {
		usbguest.Connect(t).Plug(first)
		c := exec.Command("/proc/self/exe", "-test.v", "-test.run=^TestInsidePermission$")
		c.Env = append(os.Environ(), ordinaryVariable+"=1")
		c.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
		if out, err := c.CombinedOutput(); err != nil {
			t.Errorf("as an ordinary user: %v\n%s", err, out)
		}
		return
	}
	check := func(what string, err error) {
		t.Helper()
		var permission *link.PermissionError
		if !errors.As(err, &permission) || permission.Path == "" || permission.Group != "" {
			t.Errorf("%s: %v, want a PermissionError without a group", what, err)
		}
	}
	for _, address := range []string{"usbtmc:serial=" + first.SerialNumber, uart} {
		l, err := link.Open(address)
		if err == nil {
			l.Close()
		}
		check(address, err)
	}
	ports, err := link.Ports()
	if err != nil || len(ports) == 0 {
		t.Errorf("Ports = %v, %v", ports, err)
	}
	for _, p := range ports {
		check("Ports, "+p.Address, p.Problem)
	}
}
