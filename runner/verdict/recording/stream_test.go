package recording

import (
	"bytes"
	"io"
	"math"
	"runtime"
	"strconv"
	"testing"
	"time"

	"ringup/runner/verdict"
)

// generated is a CSV file that exists nowhere: a name row, then rows of a time,
// a rail and a clock of 8-bit codes, made as they are read.
type generated struct {
	rows, done int
	left       []byte
	line       []byte
}

func (g *generated) Read(b []byte) (int, error) {
	n := 0
	for n < len(b) {
		if len(g.left) == 0 {
			if g.done == g.rows {
				if n == 0 {
					return 0, io.EOF
				}
				return n, nil
			}
			g.line = g.line[:0]
			if g.done == 0 {
				g.line = append(g.line, "Time (s),Rail (V),Clock (V)\n"...)
			}
			rail, clock := generatedVolts(g.done)
			g.line = strconv.AppendFloat(g.line, -1e-3+float64(g.done)*1e-8, 'e', 8, 64)
			g.line = append(g.line, ',')
			g.line = strconv.AppendFloat(g.line, rail, 'f', 2, 64)
			g.line = append(g.line, ',')
			g.line = strconv.AppendFloat(g.line, clock, 'f', 2, 64)
			g.line = append(g.line, '\n')
			g.left = g.line
			g.done++
		}
		k := copy(b[n:], g.left)
		g.left = g.left[k:]
		n += k
	}
	return n, nil
}

func generatedVolts(i int) (rail, clock float64) {
	if i >= 50_000 { // half a percent of the record
		rail = 3.3
		clock = 1.65 + 1.2*math.Sin(2*math.Pi*7.3728e6*float64(i)*1e-8)
	}
	return math.Round(rail*50) / 50, math.Round(clock*50) / 50
}

// A file much longer than memory would like streams: what is allocated in all
// stays near the two bytes that a sample of a long record takes.
func TestStream(t *testing.T) {
	const rows, rowBytes = 10_000_000, 28
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	begun := time.Now()
	f, err := Read("generated.csv", &generated{rows: rows}, Options{Bytes: int64(rows) * rowBytes})
	if err != nil {
		t.Fatal(err)
	}
	took := time.Since(begun)
	runtime.ReadMemStats(&after)
	allocated := int(after.TotalAlloc - before.TotalAlloc)
	t.Logf("%d rows in %v, generating included: %.1f million rows/s; %.0f MB allocated in all, text %.0f MB",
		rows, took.Round(1e6), float64(rows)/took.Seconds()/1e6, float64(allocated)/1e6, float64(rows*rowBytes)/1e6)
	// 2 channels of 2 bytes, the first 2^20 samples of each as float64, and some for the layout.
	if most := 2*2*rows*115/100 + 2*8*exactSamples + 8<<20; allocated > most {
		t.Errorf("%d bytes allocated, want at most %d", allocated, most)
	}
	for i, c := range f.Channels {
		if c.Len() != rows || len(c.Record.Codes16) != rows {
			t.Fatalf("channel %d holds %d samples", i, c.Len())
		}
		for _, k := range []int{0, 49_999, 50_000, 50_003, 1 << 20, rows - 1} {
			rail, clock := generatedVolts(k)
			if want := []float64{rail, clock}[i]; math.Abs(c.Record.At(k)-want) > 0.001 {
				t.Errorf("channel %d, sample %d is %v V, want %v V", i, k, c.Record.At(k), want)
			}
		}
		if c.Record.StepSeconds != 1e-8 || math.Abs(c.Record.StartSeconds+1e-3) > 1e-12 {
			t.Errorf("starts at %v s by %v s", c.Record.StartSeconds, c.Record.StepSeconds)
		}
	}
	e, _, err := f.Evidence(Roles{})
	if err != nil {
		t.Fatal(err)
	}
	j := verdict.Judge(e, verdict.Expect{SetVolts: 3.3, RailFraction: .5, ClockHertz: 7.3728e6, FrequencyWithin: .01})
	if j.Verdict != verdict.Started || math.Abs(j.FrequencyHertz-7.3728e6) > 1 {
		t.Errorf("%s at %v Hz: %s", j.Verdict, j.FrequencyHertz, j.Reason)
	}
}

// A record that is silent for a million samples and then swings keeps its small
// and its large samples.
func TestStoreWidens(t *testing.T) {
	var s store
	want := func(i int) float64 {
		v := 1e-3 * float64(i%3-1)
		if i > exactSamples+1000 {
			v *= 2000 * float64(i%2*2-1)
		}
		return v
	}
	for i := range exactSamples + 5000 {
		s.add(want(i))
	}
	r := s.record(0, 1)
	for _, i := range []int{0, 1, 2, exactSamples - 1, exactSamples + 1001, exactSamples + 4999} {
		if got := r.At(i); math.Abs(got-want(i)) > 4./(1<<14) {
			t.Errorf("sample %d is %v V, want %v V", i, got, want(i))
		}
	}
	if r.VoltsPerCode > 4./(1<<14) {
		t.Errorf("a code is %v V; the record spans 4 V", r.VoltsPerCode)
	}
}

// A peak-detect record of too many bins is merged, and keeps its extremes.
func TestPeaksMerge(t *testing.T) {
	var p peaks
	for i := range mostBins + mostBins/2 {
		v := float64(i % 1000)
		p.add(-v, v)
	}
	tr := p.trace(0, 1)
	if tr.StepSeconds != 2 || len(tr.Min) != mostBins*3/4 || tr.Max[0] != 1 || tr.Min[0] != -1 || tr.Max[len(tr.Max)-1] != float64((mostBins+mostBins/2-1)%1000) {
		t.Errorf("%d bins of %v s, first to %v V, last to %v V", len(tr.Min), tr.StepSeconds, tr.Max[0], tr.Max[len(tr.Max)-1])
	}
}

func BenchmarkCSV(b *testing.B) {
	const rows = 200_000
	text, err := io.ReadAll(&generated{rows: rows})
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		if _, err := Read("f", bytes.NewReader(text), Options{Bytes: int64(len(text))}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(rows*b.N)/b.Elapsed().Seconds(), "rows/s")
}
