package main

import (
	"bytes"

	"encoding/xml"
	"errors"
	"io"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

const recordings = "../../testdata/recordings/"

// asked are the expectations under which testdata/recordings/README.md says what
// each file shows.
var asked = strings.Fields("--clock 7.3728MHz --start-within 40us --amplitude-min 0.8V")

// judgedFiles is what ringup judge --json says of one file or several.
func judgedFiles(t *testing.T, arguments ...string) []judgedObject {
	t.Helper()
	o := say(t, append([]string{"judge", "--json"}, arguments...)...)
	if o.status != exitDone {
		t.Fatalf("judge %v: exit status %d\n%s", arguments, o.status, o.err)
	}
	if strings.HasPrefix(o.out, "[") {
		return decode[[]judgedObject](t, o.out)
	}
	return []judgedObject{decode[judgedObject](t, o.out)}
}

func TestJudgeFiles(t *testing.T) {
	t.Parallel()
	want := map[string]string{
		"comma-time.csv": "started", "semicolon-decimal-comma.csv": "late", "tab-units.tsv": "weak", "interval-in-header.csv": "silent",
		"keys-beside-rows.csv": "started", "index-increment.csv": "off-frequency", "blanks-scientific.txt": "started",
		"coarse-time.csv": "started", "gaps.csv": "started", "two-time-columns.csv": "started", "one-column.csv": "started",
		"raw8.json": "started", "raw16.raw": "late",
	}
	names := slices.Sorted(maps.Keys(want))
	var files []string
	for _, name := range names {
		files = append(files, recordings+name)
	}
	all := judgedFiles(t, append(files, asked...)...)
	if len(all) != len(names) {
		t.Fatalf("%d files judged, want %d", len(all), len(names))
	}
	for i, o := range all {
		if o.File != files[i] || o.Verdict != want[names[i]] {
			t.Errorf("%s: %s, want %s of %s", o.File, o.Verdict, want[names[i]], files[i])
		}
		// Made with 7.3728 MHz: see the README there.
		if f := o.Frequency; f != nil && o.Verdict == "started" && !(math.Abs(*f-7.3728e6) < 200 && *o.FrequencySD < 200) {
			t.Errorf("%s: %v ± %v Hz, made with 7372800 Hz", o.File, *f, *o.FrequencySD)
		}
	}
}

func TestJudgeJSONKeys(t *testing.T) {
	t.Parallel()
	o := say(t, append([]string{"judge", "--json", recordings + "interval-in-header.csv"}, asked...)...)
	got := decode[map[string]any](t, o.out)
	keys := strings.Fields("amplitude_v dropout_seconds file frequency_hz frequency_sd growth_seconds start_seconds verdict warnings")
	if !slices.Equal(slices.Sorted(maps.Keys(got)), keys) {
		t.Errorf("keys %v, want %v", slices.Sorted(maps.Keys(got)), keys)
	}
	for _, key := range []string{"start_seconds", "frequency_hz", "frequency_sd", "growth_seconds", "dropout_seconds"} {
		if got[key] != nil {
			t.Errorf("%s of a silent clock is %v, want null", key, got[key])
		}
	}
}

func TestJudgeSays(t *testing.T) {
	t.Parallel()
	o := say(t, append([]string{"judge", recordings + "semicolon-decimal-comma.csv"}, asked...)...)
	for _, want := range []string{
		"semicolon-decimal-comma.csv: late\n", "allowed 40.0 µs", "semicolon-separated, decimal comma, 3200 rows", "VDD, by its name", "XOUT, by its name",
		"clock 7.3728 MHz within 1 %, amplitude at least 0.8 V, start within 40.00 µs (from the flags)", "start time", " ± ", "the set voltage is not said",
		"█ clock   · rail", "| allowed", "| started",
	} {
		if !strings.Contains(o.out, want) {
			t.Errorf("does not say %q; it says\n%s", want, o.out)
		}
	}
	for line := range strings.Lines(o.out) {
		if n := len([]rune(line)); n > 200 {
			t.Errorf("a line of %d characters: %s", n, line)
		}
	}
}

// The file numbers its channels as the scope does; the bench file says what is on them.
func TestJudgeByBench(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	f.write(t, "bench.toml", strings.NewReplacer("channel     = 1", "channel     = 2", "channel     = 2", "channel     = 1").Replace(demoBench))
	// The rail is on CH1 of the file, so a bench with it on channel 2 sees no rise there.
	o := judgedFiles(t, "-b", f.path("bench.toml"), "--volts", "3.3V", "--start-within", "40us", recordings+"comma-time.csv")
	if o[0].Verdict == "started" {
		t.Errorf("channels exchanged by the bench file: %s", o[0].Verdict)
	}
	f.write(t, "bench.toml", demoBench)
	text := say(t, "judge", "-b", f.path("bench.toml"), "--start-within", "40us", recordings+"comma-time.csv")
	for _, want := range []string{": started\n", "CH1, by its number in the bench file", "CH2, by its number", "start within 40.00 µs", "amplitude at least 0.198 V", "bench.toml and the flags)"} {
		if !strings.Contains(text.out, want) {
			t.Errorf("does not say %q; it says\n%s%s", want, text.out, text.err)
		}
	}
}

func TestJudgeRefuses(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	f.write(t, "bad.csv", "time,CH1,CH2\n0,1,1\n1,2,oops\n2,3,3\n")
	f.write(t, "three.csv", "time,CH1,CH2,CH3\n0,1,1,1\n1,1,1,1\n2,1,1,1\n")
	f.write(t, "flat.csv", "time,rail,clock\n0,0,1\n1,0,1\n2,0,1\n")
	good := recordings + "comma-time.csv"
	for _, c := range []struct {
		arguments []string
		want      string
	}{
		{[]string{f.path("bad.csv")}, `bad.csv:3:5: found "oops"; expected a number for CH2`},
		{[]string{f.path("none.csv")}, "none.csv: found no such file"},
		{[]string{string(f)}, "found a folder"},
		{[]string{f.path("three.csv")}, `found more than one channel that may be the clock: "CH1", "CH2", "CH3"; expected its name with --clock-channel`},
		{[]string{f.path("flat.csv")}, "expected the set voltage with --volts"},
		{[]string{good, "--clock-channel", "CH7"}, `found no channel "CH7"; expected one of "CH1", "CH2"`},
		{[]string{good, "--clock", "7.3728"}, `--clock: found "7.3728" without a unit; allowed: a frequency with its unit`},
		{[]string{good, "--start-within", "65V"}, "--start-within: found"},
		{[]string{good, "--amplitude-min", "lots"}, "--amplitude-min: found"},
		{[]string{good, "-o", "chart.png"}, `found the ending ".png"; allowed: .svg, or .html`},
		{[]string{good, good, "-o", "chart.svg"}, "one SVG holds one record, and there are 2 files"},
		{[]string{}, "requires at least 1 arg"},
	} {
		o := say(t, append([]string{"judge"}, c.arguments...)...)
		if o.status != exitUsage || !strings.Contains(o.err, c.want) {
			t.Errorf("judge %v: exit status %d, says\n%s want %d and %q", c.arguments, o.status, o.err, exitUsage, c.want)
		}
	}
	// One bad file does not keep the others from being judged.
	o := say(t, "judge", "--json", f.path("bad.csv"), good)
	if o.status != exitUsage || len(decode[[]judgedObject](t, o.out)) != 1 || !strings.Contains(o.err, "bad.csv:3:5") {
		t.Errorf("exit status %d, says\n%s%s", o.status, o.out, o.err)
	}
}

// What the logbook keeps of a cycle, exported and judged again, gives the same
// verdict and measures.
func TestJudgeExported(t *testing.T) {
	t.Parallel()
	f := newFolder(t, `for _ = 1, 8 do cycle { volts = "2.4 V", rest = "3 s" } end`)
	f.must(t, "run", "night.lua", "-b", "bench.toml")
	book, err := logbook.OpenReadOnly(f.path("logbook.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	kept, err := book.WaveformCycles(1)
	if err != nil || len(kept) < 2 {
		t.Fatalf("waveforms of %v (%v), want those of a start and a failure", kept, err)
	}
	verdicts := map[verdict.Verdict]bool{}
	for _, number := range kept {
		cycles, err := book.Cycles(1, number-1, 1)
		if err != nil {
			t.Fatal(err)
		}
		want := cycles[0]
		verdicts[want.Verdict] = true
		text := f.must(t, "export", "last", "--waveform", strconv.Itoa(number))
		var out, errOut bytes.Buffer
		if status := run(t.Context(), []string{"judge", "--json", "-"}, strings.NewReader(text), &out, &errOut); status != exitDone {
			t.Fatalf("cycle %d: exit status %d\n%s", number, status, errOut.String())
		}
		got := decode[judgedObject](t, out.String())
		if got.Verdict != string(want.Verdict) {
			t.Errorf("cycle %d: judged %s again, was %s", number, got.Verdict, want.Verdict)
		}
		for name, pair := range map[string]struct {
			again *float64
			then  float64
		}{
			"start": {got.Start, want.StartSeconds}, "frequency": {got.Frequency, want.FrequencyHertz}, "amplitude": {got.Amplitude, want.AmplitudeVolts},
			"growth": {got.Growth, want.GrowthSeconds}, "dropout": {got.Dropout, want.DropoutSeconds},
		} {
			if pair.again == nil != math.IsNaN(pair.then) || pair.again != nil && !(math.Abs(*pair.again/pair.then-1) < 1e-6) {
				t.Errorf("cycle %d: %s %v again, was %v", number, name, pair.again, pair.then)
			}
		}
	}
	if len(verdicts) < 2 {
		t.Errorf("only %v among cycles %v", verdicts, kept)
	}
	f.wantRefused(t, exitUsage, []string{"export", "last", "--waveform", "99"}, "run 1 has no cycle 99")
}

func TestJudgeChart(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "chart.svg")
	o := say(t, append([]string{"judge", recordings + "peak-two-rows.csv", "-o", path, "--start-within", "65ms"}, asked[:2]...)...)
	if o.status != exitDone {
		t.Fatalf("exit status %d\n%s", o.status, o.err)
	}
	svg, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	wellFormed(t, svg)
	for _, want := range []string{"dropped-out", "allowed 65 ms", "stopped 4", "90 %"} {
		if !bytes.Contains(svg, []byte(want)) {
			t.Errorf("the chart does not say %q", want)
		}
	}
}

// One page of every vector of testdata/waveforms: all verdicts are on it.
func TestJudgeGallery(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob("../../testdata/waveforms/*.csv")
	if err != nil || len(files) < 150 {
		t.Fatalf("%d vectors (%v), want at least 150", len(files), err)
	}
	few := map[string]int{}
	var some []string
	for _, file := range files { // two of each expected verdict are enough
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		_, after, ok := strings.Cut(string(text), "verdict=")
		if !ok {
			t.Fatalf("%s expects no verdict", file)
		}
		v := strings.Fields(after)[0]
		if few[v]++; few[v] <= 2 {
			some = append(some, file)
		}
	}
	path := filepath.Join(t.TempDir(), "gallery.html")
	o := say(t, append([]string{"judge", "-o", path}, some...)...)
	if o.status != exitDone {
		t.Fatalf("exit status %d\n%s", o.status, o.err)
	}
	page, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range verdict.Verdicts {
		if !bytes.Contains(page, []byte(`<h2 id="`+string(v)+`"`)) {
			t.Errorf("no record is %s", v)
		}
	}
	if n := bytes.Count(page, []byte("<svg ")); n != len(some) {
		t.Errorf("%d charts of %d records", n, len(some))
	}
	for _, chart := range bytes.Split(page, []byte("<svg "))[1:] {
		end := bytes.Index(chart, []byte("</svg>"))
		wellFormed(t, append([]byte("<svg "), chart[:end+6]...))
	}
}

func wellFormed(t *testing.T, svg []byte) {
	t.Helper()
	for d := xml.NewDecoder(bytes.NewReader(svg)); ; {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
	}
}
