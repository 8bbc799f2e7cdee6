package vectors

import (
	"bytes"
	"reflect"
	"strings"
	"testing"
)

// TestFileRoundTrip: what is written is read back the same, gaps, missing
// channels, short columns and all, and writes the same text again.
func TestFileRoundTrip(t *testing.T) {
	r := fast(5.5, 300).entry("trip", "started", "every kind of column", func(r *recipe) {
		r.steadyRate, r.steadyCount = 100e6, 50
		r.lamp, r.amps = func(float64) float64 { return 2 }, 4e-3
		r.limits.RunningAmps, r.limits.UseAlias, r.limits.LampHertz = Amps{3e-3, 6e-3}, true, 1
		r.spoil = func(r *Records) {
			r.Clock.gap(100, 120)
			r.Clock = r.Clock.cut(0, 250)
		}
		r.adjust = func(e *Expect) { e.Lamp, e.Disagree, e.Warning = "lit", "no", "missing" }
	})
	r.count = 300
	want := r.vector().File
	text := want.Bytes()
	got, err := Read(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	if again := got.Bytes(); !bytes.Equal(again, text) {
		t.Errorf("read and written again the file differs")
	}
	for _, c := range []struct{ got, want Channel }{
		{got.Records.Rail, want.Records.Rail}, {got.Records.Clock, want.Records.Clock},
		{got.Records.Steady, want.Records.Steady}, {got.Records.Lamp, want.Records.Lamp},
	} {
		if !bytes.Equal(c.got.Low, c.want.Low) || !bytes.Equal(c.got.High, c.want.High) || c.got.Plain() != c.want.Plain() {
			t.Errorf("codes differ: %d samples, want %d", len(c.got.Low), len(c.want.Low))
		}
		if !reflect.DeepEqual(c.got.Gaps, c.want.Gaps) {
			t.Errorf("gaps %v, want %v", c.got.Gaps, c.want.Gaps)
		}
	}
	if got.Limits.UseAlias != want.Limits.UseAlias || got.Limits.RunningAmps != want.Limits.RunningAmps || len(got.Expect.Measures) != len(want.Expect.Measures) {
		t.Errorf("limits %+v and expectations %+v, want %+v and %+v", got.Limits, got.Expect, want.Limits, want.Expect)
	}
}

// TestReadRefuses: the reader is strict, and says where.
func TestReadRefuses(t *testing.T) {
	const good = "# comment: c\n# expect: verdict=silent start_seconds=none\n# record: envelope start_seconds=0 step_seconds=1e-3\n" +
		"# channel: clock zero_v=-1 code_v=0.01\nclock_v\n0.5\n"
	if _, err := Read(strings.NewReader(good)); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ from, to, reason string }{
		{"# comment: c", "# remark: c", `line 1: key "remark"`},
		{"verdict=silent", "verdict", `line 2: "verdict" is not key=value`},
		{"verdict=silent", "lamp=lit", "names a verdict"},
		{"start_seconds=none", "start=none", `line 2: expect: key "start"`},
		{"start_seconds=none", "start_seconds=0.1", "line 2: start_seconds=0.1 has no tolerance"},
		{"envelope", "watch", `line 3: record "watch"`},
		{"step_seconds=1e-3", "step_seconds=fast", "line 3: step_seconds=fast is not a number"},
		{" step_seconds=1e-3", "", "line 5: channel clock has a step of 0 s"},
		{"# channel: clock", "# channel: lamp", `line 5: columns "clock_v"; channel lamp must have`},
		{"clock_v\n", "clock_v,rail_v\n", `line 5: column "rail_v" has no channel`},
		{"0.5", "0.5,0.5", "line 6: 2 values, the table has 1 columns"},
		{"0.5", "half", `line 6: column 1 (clock): "half" is not a number`},
		{"0.5", "0.505", "line 6: column 1 (clock): 0.505 V is not one of the 256 codes"},
		{"0.5", "2", "line 6: column 1 (clock): 2 V is not one of the 256 codes"},
		{"0.5\n", "0.5\n# channel: rail zero_v=0 code_v=1\n", "line 7: channel: stands between"},
	} {
		_, err := Read(strings.NewReader(strings.Replace(good, c.from, c.to, 1)))
		if err == nil || !strings.Contains(err.Error(), c.reason) {
			t.Errorf("with %q for %q: %v, want %q", c.to, c.from, err, c.reason)
		}
	}
}
