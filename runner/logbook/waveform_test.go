package logbook

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
	"ringup/runner/verdict"
)

// sampleTrace is a growing oscillation as a converter with that many codes sees it, peak-detected.
func sampleTrace(points, codes int) verdict.Trace {
	t := verdict.Trace{StartSeconds: -1e-3, StepSeconds: 2e-4, LowVolts: -2.04, HighVolts: 2.04, Codes: codes}
	rng := rand.New(rand.NewPCG(1, uint64(points)))
	for i := range points {
		envelope := min(1.4, 1e-3*math.Exp(float64(i)/40)) + 0.01*rng.Float64()
		t.Min, t.Max = append(t.Min, quantised(t, -envelope)), append(t.Max, quantised(t, envelope))
	}
	return t
}

func quantised(t verdict.Trace, volts float64) float64 {
	step := (t.HighVolts - t.LowVolts) / float64(t.Codes-1)
	return t.LowVolts + step*math.Round((volts-t.LowVolts)/step)
}

func TestTraceRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(-50, 50).Draw(t, "low")
		want := verdict.Trace{
			StartSeconds: rapid.Float64Range(-1, 0).Draw(t, "start"), StepSeconds: rapid.Float64Range(1e-9, 1e-3).Draw(t, "step"),
			LowVolts: low, HighVolts: low + rapid.Float64Range(1e-3, 100).Draw(t, "span"),
			Codes: rapid.SampledFrom([]int{2, 256, 255, 1024, 65536}).Draw(t, "codes"),
		}
		codes := rapid.SliceOfN(rapid.IntRange(0, want.Codes-1), 1, 50).Draw(t, "samples")
		step := (want.HighVolts - want.LowVolts) / float64(want.Codes-1)
		for _, c := range codes {
			want.Min = append(want.Min, want.LowVolts+float64(c)*step)
		}
		want.Max = want.Min
		wide := rapid.Bool().Draw(t, "peak")
		if wide {
			want.Max = slices.Clone(want.Min)
			slices.Reverse(want.Max)
		}
		p, err := pack("clock", want)
		if err != nil {
			t.Fatal(err)
		}
		got, err := p.unpack()
		if err != nil {
			t.Fatal(err)
		}
		if (&got.Min[0] != &got.Max[0]) != wide {
			t.Fatalf("peak-detect record = %v, want %v", !wide, wide)
		}
		gotCodes, ok := toCodes(got.Min, got)
		wantCodes, _ := toCodes(want.Min, want)
		if !ok || !slices.Equal(gotCodes, wantCodes) {
			t.Fatalf("codes %v, want %v", gotCodes, wantCodes)
		}
		for i := range want.Max {
			if math.Abs(got.Max[i]-want.Max[i]) > 1e-6*step {
				t.Fatalf("Max[%d] = %g, want %g", i, got.Max[i], want.Max[i])
			}
		}
	})
}

// Samples that are no converter codes keep single precision, NaN and clipping included.
func TestTraceOffTheCodes(t *testing.T) {
	want := verdict.Trace{StepSeconds: 1e-6, LowVolts: -1, HighVolts: 1, Codes: 256, Min: []float64{0.1234567, math.NaN(), -7}}
	want.Max = want.Min
	p, err := pack("clock", want)
	if err != nil {
		t.Fatal(err)
	}
	got, err := p.unpack()
	if err != nil || p.encoding != "f32" {
		t.Fatalf("encoding %s, %v", p.encoding, err)
	}
	if math.Abs(got.Min[0]-0.1234567) > 1e-8 || !math.IsNaN(got.Min[1]) || got.Min[2] != -7 {
		t.Errorf("got %v", got.Min)
	}
}

func FuzzUnpack(f *testing.F) {
	for _, codes := range []int{0, 256, 4096} {
		p, err := pack("clock", sampleTrace(20, max(codes, 2)))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(p.samples, p.encoding, p.points, codes)
	}
	f.Fuzz(func(t *testing.T, samples []byte, encoding string, points, codes int) {
		trace, err := packed{trace: verdict.Trace{Codes: codes}, points: points, encoding: encoding, samples: samples}.unpack()
		if err == nil && (len(trace.Min) != points || len(trace.Max) != points) {
			t.Errorf("%d and %d samples for %d points", len(trace.Min), len(trace.Max), points)
		}
	})
}

func TestWaveformsRoundTrip(t *testing.T) {
	b := openBook(t)
	run := begin(t, b)
	addCycles(t, b, run, 1, 7)
	got, err := b.Waveforms(run, 7)
	if err != nil || len(got) != 1 || got[0].Kind != "clock" || got[0].Cycle != 7 {
		t.Fatalf("Waveforms = %d, %v", len(got), err)
	}
	want := sampleTrace(400, 256)
	for i := range want.Min {
		if math.Abs(got[0].Min[i]-want.Min[i]) > 1e-9 || math.Abs(got[0].Max[i]-want.Max[i]) > 1e-9 {
			t.Fatalf("sample %d: %g %g, want %g %g", i, got[0].Min[i], got[0].Max[i], want.Min[i], want.Max[i])
		}
	}
	if none, err := b.Waveforms(run, 6); err != nil || len(none) != 0 {
		t.Errorf("cycle 6 has %d waveforms, %v; want none", len(none), err)
	}
}

// Kept are: the first of each verdict in each of the three conditions (1, 2, 3),
// every 7th cycle, which fails, and every 50th success: 58 (50 successes after 8
// failures) and 116 (100 after 16).
func TestWhichWaveformsAreKept(t *testing.T) {
	b := openBook(t)
	run := begin(t, b)
	want := []int{1, 2, 3, 58, 116}
	for n := 7; n <= 120; n += 7 {
		want = append(want, n)
	}
	slices.Sort(want)
	addCycles(t, b, run, 1, 60)
	// What counts must survive a restart.
	b.seen = map[int64]*seen{}
	addCycles(t, b, run, 61, 120)
	got, err := b.WaveformCycles(run)
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("kept %v, want %v (%v)", got, want, err)
	}
	start := sampleCycle(121) // like those before it
	start.Run = run
	plain := b.Keep(start)
	start.Disagree = true
	if flagged := b.Keep(start); plain || !flagged {
		t.Errorf("a start is kept: %v, one whose witnesses disagree: %v", plain, flagged)
	}
	if b.Keep(Cycle{Run: run, Judgement: sampleCycle(1).Judgement}) != true {
		t.Error("the first success of another condition is not to be kept")
	}
}

func TestBudgetDropsOldestSuccessesFirst(t *testing.T) {
	b := openBook(t)
	run := begin(t, b)
	addCycles(t, b, run, 1, 116)
	one := b.stored / 21 // three first ones, 16 failures, two samples
	b.SetWaveformBudget(18*one + one/2)
	addCycles(t, b, run, 117, 119) // the last fails
	got, err := b.WaveformCycles(run)
	if err != nil {
		t.Fatal(err)
	}
	// 22 due, 18 fit: the samples 58 and 116 go, then the first ones 1 and 2.
	want := []int{3}
	for n := 7; n <= 119; n += 7 {
		want = append(want, n)
	}
	if !slices.Equal(got, want) {
		t.Errorf("kept %v, want %v", got, want)
	}
	if r, err := b.Run(run); err != nil || r.WaveformsDropped != 4 {
		t.Errorf("the run says that %d were dropped, want 4 (%v)", r.WaveformsDropped, err)
	}
	if sum, err := storedBytes(b.read); err != nil || sum != b.stored {
		t.Errorf("%d bytes accounted for, %d in the book (%v)", b.stored, sum, err)
	}

	b.SetWaveformBudget(0)
	addCycles(t, b, run, 120, 126)
	if r, err := b.Run(run); err != nil || r.WaveformsDropped != 5 {
		t.Errorf("with no budget at all: %d dropped, want 5 (%v)", r.WaveformsDropped, err)
	}
}

func TestUnevenTraceIsRefused(t *testing.T) {
	_, err := pack("rail", verdict.Trace{Min: []float64{1, 2}, Max: []float64{1}})
	if want := `waveform "rail" has 2 lowest and 1 highest samples; they must be as many`; fmt.Sprint(err) != want {
		t.Errorf("%v, want %s", err, want)
	}
}
