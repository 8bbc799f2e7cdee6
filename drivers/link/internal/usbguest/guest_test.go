//go:build linux

package usbguest_test

import (
	"testing"

	"ringup/drivers/link/internal/usbguest"
)

func TestMain(m *testing.M) { usbguest.Main(m) }

// TestGuest boots the guest, in which all tests whose names begin with
// TestInside run.
func TestGuest(t *testing.T) { usbguest.Run(t, "TestInside") }
