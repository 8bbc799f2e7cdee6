package logbook

import (
	"path/filepath"
	"testing"
)

// One cycle as the runner records it: the step begun, then step, cycle and, where
// due, waveforms ended together. Each of the two commits waits for the disk.
func BenchmarkRecordCycle(b *testing.B) {
	book, err := Open(filepath.Join(b.TempDir(), "book.db"))
	if err != nil {
		b.Fatal(err)
	}
	defer book.Close()
	run, err := book.Begin(sampleRun())
	if err != nil {
		b.Fatal(err)
	}
	waveforms := []Waveform{{Kind: "rail", Trace: sampleTrace(4000, 256)}, {Kind: "clock", Trace: sampleTrace(4000, 256)}}
	n := 0
	for b.Loop() {
		n++
		c, step := sampleCycle(n), sampleStep(run, n)
		step.Ended = c.Ended
		if err := book.BeginStep(step); err != nil {
			b.Fatal(err)
		}
		if err := book.EndStep(step, &c, waveforms, nil); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(book.Size())/float64(n), "file-bytes/op")
}
