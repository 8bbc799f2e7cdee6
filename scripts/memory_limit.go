//go:build linux && !race

package scripts

import (
	"fmt"
	"os"
	"runtime/debug"

	"golang.org/x/sys/unix"
)

// limitMemory lets this process grow by extra bytes from where it stands. The
// system's limit counts reserved address space, of which a Go process holds much
// before it has done anything, so it is set relative to the present size. An
// allocation beyond it ends the process: nothing in a script can catch that.
func limitMemory(extra int64) error {
	text, err := os.ReadFile("/proc/self/statm")
	if err != nil {
		return err
	}
	var pages uint64
	if _, err := fmt.Sscan(string(text), &pages); err != nil {
		return fmt.Errorf("/proc/self/statm: %w", err)
	}
	limit := pages*uint64(os.Getpagesize()) + uint64(extra)
	// Collect more often when the end is near: garbage is not use.
	debug.SetMemoryLimit(extra / 4 * 3)
	return unix.Setrlimit(unix.RLIMIT_AS, &unix.Rlimit{Cur: limit, Max: limit})
}
