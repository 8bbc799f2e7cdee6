package scripts

import (
	"context"
	"runtime/metrics"
	"time"
)

// outOfMemory is what the watched process writes before it ends; the parent also
// looks for the Go runtime's own words.
const outOfMemory = "out of memory"

// watchHeap looks at heap and stacks until ctx ends and calls over once when they
// exceed limit bytes together. It serves where the system has no hard limit for one process.
func watchHeap(ctx context.Context, limit uint64, over func()) {
	const period = 20 * time.Millisecond
	tick := time.NewTicker(period)
	defer tick.Stop()
	samples := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}, {Name: "/memory/classes/heap/stacks:bytes"}}
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			metrics.Read(samples)
			if samples[0].Value.Uint64()+samples[1].Value.Uint64() > limit {
				over()
				return
			}
		}
	}
}
