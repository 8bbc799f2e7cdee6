//go:build !linux || race

package scripts

import (
	"context"
	"fmt"
	"os"
	"runtime/debug"
)

// limitMemory ends this process when its heap exceeds extra bytes. Without a
// limit of the system's own (or under the race detector, which needs more address
// space than any such limit) this is a watch on the heap: a single huge
// allocation between two looks gets through, which is why string.rep and
// table.concat are bounded themselves.
func limitMemory(extra int64) error {
	debug.SetMemoryLimit(extra / 4 * 3)
	go watchHeap(context.Background(), uint64(extra), func() {
		fmt.Fprintln(os.Stderr, outOfMemory)
		os.Exit(2)
	})
	return nil
}
