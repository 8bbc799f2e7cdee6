package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ringup/runner/crystal"
)

// say carries out a command line in this process.
func say(t *testing.T, arguments ...string) outcome {
	t.Helper()
	var out, errOut bytes.Buffer
	status := run(t.Context(), arguments, strings.NewReader(""), &out, &errOut)
	return outcome{status, out.String(), errOut.String()}
}

// calculated is what ringup crystal --json says.
func calculated(t *testing.T, arguments ...string) crystalObject {
	t.Helper()
	o := say(t, append([]string{"crystal", "--json"}, arguments...)...)
	if o.status != exitDone {
		t.Fatalf("crystal %v: exit status %d\n%s", arguments, o.status, o.err)
	}
	return decode[crystalObject](t, o.out)
}

func TestCrystalJSONKeys(t *testing.T) {
	t.Parallel()
	o := say(t, "crystal", "--json", "CA=22pF")
	keys := slices.Sorted(maps.Keys(decode[map[string]any](t, o.out)))
	want := strings.Fields("assumed critical_gm_siemens drive_watts gain_margin growth_seconds load_farads negative_resistance_ohms pulling_ppm resistance_margin safe_range_farads start_seconds")
	if !slices.Equal(keys, want) {
		t.Errorf("keys %v, want %v", keys, want)
	}
	// What does not exist is null, never a number: no start with a film of 1 kohm, no range with R1 = 60 ohm.
	raw := decode[map[string]any](t, say(t, "crystal", "--json", "Rleak=1kohm", "R1=60ohm").out)
	for _, key := range strings.Fields("start_seconds growth_seconds drive_watts safe_range_farads critical_gm_siemens") {
		if v, there := raw[key]; v != nil || !there {
			t.Errorf("%s is %v for a circuit that cannot start, want null", key, v)
		}
	}
}

// TestCrystalTable compares the calculator with testdata/crystal_calculator.csv, within the last printed digit.
func TestCrystalTable(t *testing.T) {
	t.Parallel()
	f, err := os.Open("../../testdata/crystal_calculator.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 10 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, cells := range rows[1:] {
		x := make([]float64, len(cells))
		for i, cell := range cells {
			if x[i], err = strconv.ParseFloat(cell, 64); err != nil {
				t.Fatal(err)
			}
		}
		check := func(what string, got *float64, want, within float64) {
			t.Helper()
			if got == nil || math.Abs(*got-want) > within {
				t.Errorf("%g pF: %s %v, want %g", x[0], what, got, want)
			}
		}
		load := "CA,CB=" + cells[0] + "pF"
		o := calculated(t, load)
		check("load", o.Load, 1e-12*x[1], 0.006e-12)
		check("pulling", o.Pulling, x[2], 0.06)
		check("gain margin", o.GainMargin, x[3], 0.006)
		check("negative resistance", o.NegativeResistance, x[7], 0.6)
		check("drive", o.Drive, 1e-6*x[8], 0.6e-6)
		for i, v := range []string{"3.0V", "2.6V", "2.2V"} {
			check("gain margin at "+v, calculated(t, load, "V="+v).GainMargin, x[4+i], 0.006)
		}
	}
}

// The safe range of the sound unit is from 23.2 to 36.6 pF (network solved apart, as above); of a crystal at 60 ohm
// there is none. For a microcontroller's 4 MHz clock it covers 10 to 20 pF (common practice).
func TestCrystalSafeRange(t *testing.T) {
	t.Parallel()
	r := calculated(t).SafeRange
	if r == nil || math.Abs(r[0]-23.2e-12) > 0.06e-12 || math.Abs(r[1]-36.6e-12) > 0.06e-12 {
		t.Errorf("sound unit: safe from 23.2 to 36.6 pF, found %v", r)
	}
	if r := calculated(t, "R1=60ohm").SafeRange; r != nil {
		t.Errorf("R1 = 60 ohm: found a safe range %v, there is none", r)
	}
	if o := say(t, "crystal", "R1=60ohm"); !strings.Contains(o.out, "none. A gain margin of 5 needs at most 22.3 pF") {
		t.Errorf("R1 = 60 ohm does not say why there is no value:\n%s", o.out)
	}
	if r := calculated(t, "--typical", "4MHz").SafeRange; r == nil || r[0] > 10e-12 || r[1] < 20e-12 {
		t.Errorf("typical 4 MHz: safe range %v does not cover 10 to 20 pF", r)
	}
}

func TestCrystalAssumed(t *testing.T) {
	t.Parallel()
	base := calculated(t).Assumed
	if !slices.Contains(base, "R1") || !slices.Contains(base, "CA") || slices.Contains(base, "CpA") || slices.Contains(base, "Q") {
		t.Errorf("assumed without any value given: %v", base)
	}
	some := calculated(t, "CA=22pF", "r1=40ohm", "--typical", "8MHz").Assumed
	if slices.Contains(some, "CA") || slices.Contains(some, "R1") || slices.Contains(some, "fL") || !slices.Contains(some, "CB") {
		t.Errorf("assumed with CA, R1 and a typical frequency given: %v", some)
	}
	// What follows from a given value is neither given nor assumed.
	if follows := calculated(t, "Q=20e3", "fs=7.3704MHz").Assumed; slices.Contains(follows, "R1") || slices.Contains(follows, "fL") {
		t.Errorf("assumed with Q and fs given: %v", follows)
	}
	if o := say(t, "crystal", "Q=20e3", "ro=open"); !strings.Contains(o.out, "given    Q = 20000, ro = open\nso       R1 = 77.12 ohm\n") || !strings.Contains(o.out, "leave ro out") {
		t.Errorf("Q and ro given:\n%s", o.out)
	}
	path := filepath.Join(t.TempDir(), "net.toml")
	if err := os.WriteFile(path, []byte("[crystal]\nR1 = \"40 ohm\"\n[load]\nCA = \"22 pF\"\nCB = \"22 pF\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	// The command line wins over the file.
	file, line := calculated(t, "--file", path, "CA=24pF"), calculated(t, "CA=24pF", "CB=22pF", "R1=40ohm")
	if *file.GainMargin != *line.GainMargin || !slices.Equal(file.Assumed, line.Assumed) {
		t.Errorf("from a file %+v, from the command line %+v", file, line)
	}
}

// TestCrystalText looks for what an engineer has to be told, in the order in which it is needed.
func TestCrystalText(t *testing.T) {
	t.Parallel()
	o := say(t, "crystal")
	if o.status != exitDone {
		t.Fatal(o.err)
	}
	at := 0
	for _, part := range []string{
		"assumed", "CA = CB = 27 pF: load 17.05 pF, +14.6 ppm, gain margin 7.7 at 3.60 V, 4.6 at 2.60 V", "267 ohm", "resistance margin 9.5", "356 ohm in series",
		"Safe to fit", "at 3.60 V: 23.2 to 36.6 pF; E24: 24, 27, 30, 33, 36 pF; E12: 27, 33 pF", "28.8 pF", "at 2.60 V: 22.3 to 25.1 pF; E24: 24 pF; E12: none", "60 ohm",
		"Lowest with gain margin 5: 2.70 V at 25 °C", "Lowest that starts within the time-out: 2.00 V at 25 °C, 2.09 V at -20 °C",
		"cost 14.9 ohm", "10x at A", "margin 7.7 → 6.0", "10x at B", "margin 7.7 → 6.6", "1x at A", "stops the clock at any supply",
		"film across the crystal", "crack in CA", "contact resistance", "no substitute for the margin test",
	} {
		next := strings.Index(o.out[at:], part)
		if next < 0 {
			t.Errorf("after %d characters there is no %q in\n%s", at, part, o.out)
			continue
		}
		at += next
	}
	if o := say(t, "crystal", "gm=60mS", "ro=667ohm"); !strings.Contains(o.out, "more gm makes the negative resistance smaller") {
		t.Errorf("no warning of too much gm:\n%s", o.out)
	}
}

func TestCrystalMistakes(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "net.toml")
	if err := os.WriteFile(path, []byte("[crystal]\nR1 = \"40 ohm\"\n[board]\nCA = 100\nC7 = \"3 pF\"\nCB = \"1 kg\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	huge := filepath.Join(t.TempDir(), "huge.toml")
	if err := os.WriteFile(huge, []byte("CA = \"100 uF\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, test := range []struct {
		arguments string
		parts     []string
	}{
		{"CA=27kg", []string{"CA", `"kg"`, "27 pF", "usual are 5 pF to 47 pF"}},
		{"CA=27", []string{"without a unit"}},
		{"CX=3pF", []string{`no symbol "CX"`, "Cs Cfb"}},
		{"C7=27pF", []string{"did you mean CA?"}},
		{"RLEEK=3Mohm", []string{"did you mean Rleak?"}},
		{"CA=-3pF", []string{"CA = -3 pF", "negative", "5 pF to 47 pF"}},
		{"CA=0pF CB=0pF", []string{"CA = 0 F", "CB = 0 F", "zero"}},
		{"CA=100uF", []string{"CA = 100 uF", "too large", "usual: 5 pF to 47 pF"}},
		{"C0=60fF C1=100fF", []string{"C0 = 60 fF", "inconsistent crystal", "smaller than C1"}},
		{"L1=33mH", []string{"L1 = 33 mH", "without C1"}},
		{"CpA=12pF", []string{"CpA = 12 pF", "without RpA"}},
		{"CA=27pF CA=22pF", []string{"given twice"}},
		{"hello", []string{`found "hello"`, "SYMBOL=VALUE"}},
		{"--file " + path, []string{path + ":4:6: board.CA: found the bare number 100", path + `:5:6: there is no symbol "C7"; did you mean CA?`, path + `:6:6: CB: found "1 kg"`}},
		{"--file " + huge, []string{huge + ":1:6: CA = 100 uF: too large"}},
		{"--file nowhere.toml", []string{"nowhere.toml"}},
		{"--margin 0", []string{"--margin", "from 1 to 100"}},
		{"--within 5", []string{"--within", "without a unit"}},
		{"--typical 500kHz", []string{"--typical", "tuning fork"}},
		{"-o x.svg", []string{"--vary"}},
		{"--vary CA,R1=8pF..47pF", []string{"different units"}},
		{"--vary CA=47pF..8pF", []string{"smaller value first"}},
		{"--vary CA=8pF", []string{"CA,CB=8pF..47pF"}},
		{"--vary CA=8pF..100uF", []string{"too large"}},
		{"mark zz", []string{`"zz"`, "4R7"}},
		{"predict foo", []string{"cracked-capacitor"}},
		{"predict healthy --volts 3,x", []string{"--volts", `"x`}},
		{"predict healthy --probe 3x@A", []string{"--probe", "10x"}},
		{"predict healthy --draws 0", []string{"--draws"}},
		{"from growth CA=27pF", []string{"nothing measured"}},
		{"from growth 2.4V=3F", []string{"2.4V=3F", "VOLTS=TIME"}},
		{"from frequency 8MHz", []string{"+8.5 %", "give fL"}},
		{"from resistor 30ohm=4", []string{"STARTS/CYCLES"}},
		{"from resistor 30ohm=40/30", []string{"40 of 30"}},
	} {
		o := say(t, append([]string{"crystal"}, strings.Fields(test.arguments)...)...)
		if o.status != exitUsage || o.out != "" {
			t.Errorf("%s: exit status %d, want %d; printed\n%s", test.arguments, o.status, exitUsage, o.out)
		}
		for _, part := range test.parts {
			if !strings.Contains(o.err, part) {
				t.Errorf("%s does not say %q; it says\n%s", test.arguments, part, o.err)
			}
		}
	}
}

func TestCrystalVary(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "chart.svg")
	o := say(t, "crystal", "--vary", "CA,CB=18pF..39pF", "-o", path)
	if o.status != exitDone {
		t.Fatal(o.err)
	}
	for _, part := range []string{"clock too fast", "safe (as given)", "27 pF    17.05   +14.6         7.74", "clock too slow", "█ at both", "│", "no substitute"} {
		if !strings.Contains(o.out, part) {
			t.Errorf("no %q in\n%s", part, o.out)
		}
	}
	svg, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, part := range []string{"safe at 3.60 V: 23.2 to 36.6 pF", "as given: 27 pF", "10x probe on A", "gain margin", "no substitute"} {
		if !strings.Contains(string(svg), part) {
			t.Errorf("no %q in the chart", part)
		}
	}
	for d := xml.NewDecoder(bytes.NewReader(svg)); ; {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatalf("the chart is no XML: %v", err)
		}
	}
	varied := calculated(t, "--vary", "CA,CB=18pF..39pF").Vary
	if len(varied) != 9 || math.Abs(varied[5].Value-30e-12) > 1e-18 || math.Abs(*varied[5].GainMargin-6.94) > 0.006 {
		t.Errorf("varied %d values, the sixth %+v; want 18 to 39 pF of E24, with 6.94 at 30 pF", len(varied), varied[min(5, len(varied)-1)])
	}
	// The second gain margin's column says what it is of.
	for arguments, column := range map[string]string{
		"": "at 2.60 V", "--typical 8MHz": "10x on A", "--typical 8MHz CpA=12pF RpA=10Mohm": "no probe", "CpA=12pF RpA=10Mohm": "at 2.60 V",
	} {
		if o := say(t, append([]string{"crystal", "--vary", "CA,CB=10pF..20pF"}, strings.Fields(arguments)...)...); !strings.Contains(o.out, "gain margin  "+column+"  ") {
			t.Errorf("%s: no column %q in\n%s%s", arguments, column, o.out, o.err)
		}
	}
	// Whatever is varied, there is a picture.
	for _, vary := range []string{"V=1.8V..5V", "T=-40C..85C", "R1=10ohm..500ohm", "gm=0.1mS..60mS", "RA=0.3ohm..30kohm", "C0=1pF..7pF", "Q=20e3..100e3", "Rleak=1kohm..10Mohm", "CpA=1pF..20pF CpA=12pF RpA=10Mohm"} {
		span, rest, _ := strings.Cut(vary, " ")
		o := say(t, append([]string{"crystal", "--vary", span, "-o", path}, strings.Fields(rest)...)...)
		if svg, err := os.ReadFile(path); o.status != exitDone || err != nil || bytes.Contains(svg, []byte("NaN")) || bytes.Contains(svg, []byte("Inf")) {
			t.Errorf("%s: exit status %d, %v, %s", vary, o.status, err, o.err)
		}
	}
}

// TestCrystalPredict compares with 10,000 trials of a second program with a generator of its own: shares of failures.
func TestCrystalPredict(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		unit, celsius, rest string
		volts               []string
		failures            []float64
	}{
		{"cracked-capacitor", "-10", "1h", []string{"3.0", "2.6", "2.2"}, []float64{0.0294, 0.1860, 0.8779}},
		{"sleepy-crystal", "25", "1h", []string{"2.8", "2.4"}, []float64{0.1010, 0.8975}},
		{"healthy", "25", "5s", []string{"3.6", "2.1", "1.9"}, []float64{0, 0, 1}},
	} {
		o := say(t, "crystal", "predict", test.unit, "--json", "--volts", strings.Join(test.volts, ","), "--celsius", test.celsius, "--rest", test.rest)
		if o.status != exitDone {
			t.Fatal(o.err)
		}
		var found struct {
			Cells []struct {
				Volts      float64 `json:"volts"`
				Draws      int     `json:"draws"`
				StartShare float64 `json:"start_share"`
			} `json:"cells"`
		}
		if err := json.Unmarshal([]byte(o.out), &found); err != nil || len(found.Cells) != len(test.volts) {
			t.Fatalf("%d cells, %v", len(found.Cells), err)
		}
		for i, c := range found.Cells {
			p := test.failures[i]
			// Two samples of 10,000, each with its own binomial error.
			within := 4*math.Sqrt(2*p*(1-p)/10000) + 0.002
			if c.Draws != 10000 || math.Abs(1-c.StartShare-p) > within {
				t.Errorf("%s at %g V: %d draws, %.4f fail; want 10000, %.4f ± %.4f", test.unit, c.Volts, c.Draws, 1-c.StartShare, p, within)
			}
		}
	}
	if o := say(t, "crystal", "predict", "healthy", "--volts", "3.6,2.0", "--draws", "200"); !strings.Contains(o.out, "100 %") || !strings.Contains(o.out, "35 s") {
		t.Errorf("table:\n%s", o.out)
	}
}

func TestCrystalMark(t *testing.T) {
	t.Parallel()
	o := say(t, "crystal", "mark", "106", "01C")
	for _, part := range []string{"10 uF", "10 Mohm", "10 kohm", "More than one reading for 106"} {
		if !strings.Contains(o.out, part) {
			t.Errorf("no %q in\n%s", part, o.out)
		}
	}
	var read map[string][]struct {
		Kind  string
		Value float64
	}
	if err := json.Unmarshal([]byte(say(t, "crystal", "mark", "106", "--json").out), &read); err != nil || len(read["106"]) != 2 {
		t.Errorf("106 as JSON: %v, %v", read, err)
	}
}

// TestCrystalFrom goes forth and back: what the calculator says of a circuit leads back to that circuit.
func TestCrystalFrom(t *testing.T) {
	t.Parallel()
	odd := func(arguments ...string) string {
		hertz := 7372800 * (1 + 1e-6**calculated(t, append(arguments, "CA=20pF")...).Pulling)
		return fmt.Sprintf("%.1fHz±2Hz", hertz)
	}
	var load struct {
		Suspect string
		CA      struct {
			Farads struct{ Value, Low, High float64 }
		} `json:"ca"`
	}
	o := say(t, "crystal", "from", "frequency", "--json", odd(), odd("CpA=12pF", "RpA=10Mohm")+"@10x@A", odd("CpB=12pF", "RpB=10Mohm")+"@10x@B")
	if err := json.Unmarshal([]byte(o.out), &load); err != nil || load.Suspect != "CA" || !(load.CA.Farads.Low < 20e-12 && load.CA.Farads.High > 20e-12) {
		t.Errorf("CA is 20 pF; found %+v, %v\n%s", load, err, o.err)
	}

	growth := func(v string) string {
		return fmt.Sprintf("%sV=%.3fus", v, 1e6**calculated(t, "V="+v+"V", "R1=45ohm").Growth)
	}
	var tau struct {
		Loss struct{ Value, Low, High float64 } `json:"loss_ohms"`
	}
	o = say(t, "crystal", "from", "growth", "--json", growth("2.4"), growth("3.0"), growth("3.6"))
	if err := json.Unmarshal([]byte(o.out), &tau); err != nil || !(tau.Loss.Low < 45 && tau.Loss.High > 45) {
		t.Errorf("R1 is 45 ohm; found losses %+v, %v\n%s", tau.Loss, err, o.err)
	}

	o = say(t, "crystal", "from", "resistor", "330ohm=30/30", "390ohm=12/30")
	if o.status != exitDone || !strings.Contains(o.out, "Margin 9.") || !strings.Contains(o.out, "356 ohm") || !strings.Contains(o.out, "no substitute") {
		t.Errorf("from resistor: %s%s", o.out, o.err)
	}
}

func TestCrystalCompletion(t *testing.T) {
	t.Parallel()
	o := say(t, "__complete", "crystal", "R")
	for _, s := range crystal.Symbols() {
		if got := strings.Contains(o.out, "\n"+s.Name+"=\t") || strings.HasPrefix(o.out, s.Name+"=\t"); got != strings.HasPrefix(strings.ToLower(s.Name), "r") {
			t.Errorf("completion of R offers %s: %v", s.Name, got)
		}
	}
}
