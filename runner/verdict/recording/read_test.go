package recording

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
)

func read(t *testing.T, text string) *File {
	t.Helper()
	f, err := Read("f", strings.NewReader(text), Options{})
	if err != nil {
		t.Fatalf("%v", err)
	}
	return f
}

// volts are all samples of a plain channel.
func volts(c Channel) []float64 {
	v := make([]float64, c.Record.Len())
	for i := range v {
		v[i] = c.Record.At(i)
	}
	return v
}

// One record in many layouts: always the same samples at the same times.
func TestLayouts(t *testing.T) {
	for name, text := range map[string]string{
		"plain":                   "time,CH1,CH2\n0,1,-0.5\n0.1,2,-0.25\n0.2,3,0\n",
		"no names":                "0,1,-0.5\n0.1,2,-0.25\n0.2,3,0\n",
		"no line end":             "time,CH1,CH2\n0,1,-0.5\n0.1,2,-0.25\n0.2,3,0",
		"CRLF and byte-order":     "\xef\xbb\xbftime,CH1,CH2\r\n0,1,-0.5\r\n0.1,2,-0.25\r\n0.2,3,0\r\n",
		"CR":                      "time,CH1,CH2\r0,1,-0.5\r0.1,2,-0.25\r0.2,3,0\r",
		"quotes":                  "\"time\",\"CH1\",\"CH2\"\n\"0\",\"1\",\"-0.5\"\n\"0.1\",\"2\",\"-0.25\"\n\"0.2\",\"3\",\"0\"\n",
		"quoted decimal comma":    "time,CH1,CH2\n\"0,0\",\"1,0\",\"-0,5\"\n\"0,1\",\"2,0\",\"-0,25\"\n\"0,2\",\"3,0\",\"0,0\"\n",
		"semicolon":               "time;CH1;CH2\n0;1;-0,5\n0,1;2;-0,25\n0,2;3;0\n",
		"semicolon and point":     "time;CH1;CH2;\n0;1;-0.5;\n0.1;2;-0.25;\n0.2;3;0;\n",
		"tab":                     "time\tCH1\tCH2\n0\t1\t-.5\n1e-1\t2\t-.25\n2E-01\t3\t0\n",
		"blanks":                  "  0    1  -0.5\n  0.1  2  -0.25\n  0.2  3   0\n",
		"comma and blank":         "time, CH1, CH2\n0, 1, -0.5\n0.1, 2, -0.25\n0.2, 3, 0\n",
		"exponents, comma":        "time;CH1;CH2\n0,000E+00;1,000E+00;-5,000E-01\n1,000E-01;2,000E+00;-2,500E-01\n2,000E-01;3,000E+00;0,000E+00\n",
		"units in names":          "time (ms),CH1 [V],CH2_mV\n0,1,-500\n100,2,-250\n200,3,0\n",
		"units after a word":      "Time in ms;CH1 in V;CH2 in mV\n0;1;-500\n100;2;-250\n200;3;0\n",
		"units after a comma":     "\"Time, ms\",\"CH1, V\",\"CH2, mV\"\n0,1,-500\n100,2,-250\n200,3,0\n",
		"names beside a key":      "Channel,CH1,CH2\nSampling Period,100 ms,100 ms\n,1,-0.5\n,2,-0.25\n,3,0\n",
		"a separator is said":     "sep=;\nTime;CH1;CH2\n0;1;-0,5\n0,1;2;-0,25\n0,2;3;0\n",
		"header of a wide scope":  "Model,None\n\nPoint Format,Y,,\nHorizontal Units,ms,,\nSample Interval,100,,\nVertical Units,V,V,\nLabel,,,\nTIME,CH1,CH2,\n0,1,-0.5,\n100,2,-0.25,\n200,3,0,\n",
		"a text column":           "Date,Time (s),CH1,CH2\n2026-11-25,0,1,-0.5\n2026-11-25,0.1,2,-0.25\n2026-11-25,0.2,3,0\n",
		"row of units":            "time,CH1,CH2\nms,V,mV\n0,1,-500\n100,2,-250\n200,3,0\n",
		"row of units, brackets":  "time;CH1;CH2\n(us);(V);(mV)\n\n0;1;-500\n100000;2;-250\n200000;3;0\n",
		"Latin-1 micro":           "t [\xb5s],CH1 [V],CH2 [V]\n0,1,-0.5\n100000,2,-0.25\n200000,3,0\n",
		"interval":                "Sample Interval,0.1\nCH1,CH2\n1,-0.5\n2,-0.25\n3,0\n",
		"interval with unit":      "Sample Interval,100,ms\nCH1,CH2\n1,-0.5\n2,-0.25\n3,0\n",
		"interval, one cell":      "Sample Interval: 100ms\nCH1,CH2\n1,-0.5\n2,-0.25\n3,0\n",
		"interval in a remark":    "# interval: 0.1 s\nCH1,CH2\n1,-0.5\n2,-0.25\n3,0\n",
		"rate":                    "\"Sampling rate\";\"0,01 kS/s\"\n\"CH1\";\"CH2\"\n1;-0,5\n2;-0,25\n3;0\n",
		"index":                   "Interval (s),0.1\nsample,CH1,CH2\n0,1,-0.5\n1,2,-0.25\n2,3,0\n",
		"index, increment":        "X,CH1,CH2,Start,Increment,\nSequence,Volt,Volt,0,1.0e-1,\n0,1,-0.5,,,\n1,2,-0.25,,,\n2,3,0,,,\n",
		"keys beside the rows":    "Model,None,,0,1,-0.5\nSample Interval,0.1,s,0.1,2,-0.25\n,,,0.2,3,0\n,,,0.3,4,0\n,,,0.4,5,0\n",
		"two times":               "time,CH1,time,CH2\n0,1,0,-0.5\n0.1,2,0.1,-0.25\n0.2,3,0.2,0\n",
		"remarks among the rows":  "# a remark\ntime,CH1,CH2\n0,1,-0.5\n# another\n0.1,2,-0.25\n\n0.2,3,0\n",
		"a trigger in the header": "Sample Interval,0.1\nTrigger Point,0\nCH1,CH2\n1,-0.5\n2,-0.25\n3,0\n",
		"interleaved floats":      `{"format":"f32le","step_seconds":0.1,"channels":[{"name":"CH1"},{"name":"CH2"}]}` + "\n" + "\x00\x00\x80\x3f\x00\x00\x00\xbf\x00\x00\x00\x40\x00\x00\x80\xbe\x00\x00\x40\x40\x00\x00\x00\x00",
		"sequential 16 bits":      `{"format":"i16be","order":"sequential","step_seconds":0.1,"channels":[{"name":"CH1","volts_per_code":1},{"name":"CH2","volts_per_code":0.25}]}` + "\n" + "\x00\x01\x00\x02\x00\x03\xff\xfe\xff\xff\x00\x00",
		"interleaved 8 bits":      `{"format":"i8","step_seconds":0.1,"channels":[{"name":"CH1","volts_per_code":1},{"name":"CH2","volts_per_code":0.25}]}` + "\n" + "\x01\xfe\x02\xff\x03\x00",
	} {
		t.Run(name, func(t *testing.T) {
			f := read(t, text)
			if len(f.Channels) != 2 {
				t.Fatalf("%d channels: %+v", len(f.Channels), f.Channels)
			}
			for i, want := range [][]float64{{1, 2, 3}, {-.5, -.25, 0}} {
				c := f.Channels[i]
				if got := volts(c); !slices.Equal(got[:min(3, len(got))], want) {
					t.Errorf("channel %d is %v, want %v", i+1, got, want)
				}
				if c.Record.StartSeconds != 0 || math.Abs(c.Record.StepSeconds-0.1) > 1e-15 {
					t.Errorf("starts at %v s, steps of %v s", c.Record.StartSeconds, c.Record.StepSeconds)
				}
			}
			if n := f.Channels[0].Name; n != "CH1" && name != "no names" && name != "blanks" && name != "keys beside the rows" {
				t.Errorf("the first channel is named %q", n)
			}
		})
	}
}

// Numbers of one cell, with a decimal comma that only the header tells from a separator.
func TestOneColumn(t *testing.T) {
	f := read(t, "Sample interval;1 us\nClock\n0,5\n0,25\n0,75\n")
	if got := volts(f.Channels[0]); len(f.Channels) != 1 || !slices.Equal(got, []float64{.5, .25, .75}) || f.Channels[0].Record.StepSeconds != 1e-6 {
		t.Errorf("got %v in %d channels, steps of %v s", got, len(f.Channels), f.Channels[0].Record.StepSeconds)
	}
}

// Numbers that no bench shows come from a unit that the file does not name.
func TestImplausible(t *testing.T) {
	f := read(t, "time,u1\n0,3300\n4000,3300\n8000,-20\n")
	if len(f.Warnings) != 2 || !strings.Contains(f.Warnings[0], `"u1 (mV)"`) || !strings.Contains(f.Warnings[1], `"time (ns)"`) {
		t.Errorf("warnings %q", f.Warnings)
	}
}

func TestPeakDetect(t *testing.T) {
	for name, text := range map[string]string{
		"columns":       "time,CH1 min,CH1 max\n0,-1,1\n0.1,-2,2\n0.2,-3,3\n0.3,-4,4\n",
		"columns, swap": "time;Max CH1;Min CH1\n0;1;-1\n0,1;2;-2\n0,2;3;-3\n0,3;4;-4\n",
		"two rows":      "time,CH1\n0,-1\n0,1\n0.1,-2\n0.1,2\n0.2,-3\n0.2,3\n0.3,-4\n0.3,4\n",
		"two rows down": "time,CH1\n0,1\n0,-1\n0.1,2\n0.1,-2\n0.2,3\n0.2,-3\n0.3,4\n0.3,-4\n",
		"raw":           `{"format":"i8","peak_detect":true,"step_seconds":0.1,"channels":[{"name":"CH1","volts_per_code":1}]}` + "\n" + "\xff\x01\xfe\x02\xfd\x03\xfc\x04",
	} {
		t.Run(name, func(t *testing.T) {
			f := read(t, text)
			c := f.Channels[0]
			if len(f.Channels) != 1 || !slices.Equal(c.Peaks.Min, []float64{-1, -2, -3, -4}) || !slices.Equal(c.Peaks.Max, []float64{1, 2, 3, 4}) {
				t.Fatalf("channels %+v", f.Channels)
			}
			if c.Name != "CH1" || math.Abs(c.Peaks.StepSeconds-.1) > 1e-15 || c.Peaks.StartSeconds != 0 {
				t.Errorf("%q from %v s by %v s", c.Name, c.Peaks.StartSeconds, c.Peaks.StepSeconds)
			}
		})
	}
}

// Times on two rows each, whose voltages are in no order, are plain samples whose
// times have too few digits.
func TestCoarseTimesAreNoPeaks(t *testing.T) {
	f := read(t, "time,CH1\n0,1\n0,3\n1,2\n1,0\n2,5\n2,4\n3,1\n3,2\n")
	c := f.Channels[0]
	if !c.Plain() || c.Len() != 8 || math.Abs(c.Record.StepSeconds-.5) > .1 {
		t.Errorf("%d samples of %v s, plain %v", c.Len(), c.Record.StepSeconds, c.Plain())
	}
}

func TestGaps(t *testing.T) {
	f := read(t, "time,CH1\n0,1\n1,2\n2,\n3,4\n4,5\n8,6\n9,7\n10,\n")
	r := f.Channels[0].Record
	if r.Len() != 10 || r.At(8) != 6 || r.At(9) != 7 {
		t.Errorf("samples %v", volts(f.Channels[0]))
	}
	if len(r.Gaps) != 2 || r.Gaps[0].From != 2 || r.Gaps[0].To != 3 || r.Gaps[1].From != 5 || r.Gaps[1].To != 8 {
		t.Errorf("gaps %v, want samples 2 and 5 to 7", r.Gaps)
	}
}

// A row cut off at the end of the file is the stick's fault, not the record's.
func TestTornEnd(t *testing.T) {
	f := read(t, "time,CH1,CH2\n0,1,1\n1,2,2\n2,3")
	if f.Channels[0].Len() != 2 || len(f.Warnings) != 1 || !strings.Contains(f.Warnings[0], "row 3") {
		t.Errorf("%d samples, warnings %q", f.Channels[0].Len(), f.Warnings)
	}
}

// Every malformed file is refused with its place and what was expected there.
func TestMalformed(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"empty":             {"", "f:1:1: found an empty file; expected a CSV file"},
		"binary":            {"time,CH1\n0,1\n\x00\x01\x02", "f:3:1: found the byte 0x00"},
		"beyond any number": {"time,CH1\n0,1\n1,1e999\n2,1\n", "f:3:3: found \"1e999\""},
		"rail is no time":   {"rail,clock\n0,0\n1,1\n2,0\n", "f:2:1: found no time column and no sample interval (columns: \"rail\", \"clock\")"},
		"prose":             {"Dear colleague,\nthe unit is dead.\n", "f:1:1: found no rows of numbers"},
		"UTF-16":            {"\xff\xfet\x00,\x00", "f:1:1: found text in UTF-16"},
		"no time":           {"CH1,CH2\n3,1\n3,2\n3,1\n", "f:2:1: found no time column and no sample interval"},
		"text in a row":     {"time,CH1\n0,1\n1,oops\n2,3\n3,4\n", `f:3:3: found "oops"; expected a number for CH1`},
		"NaN":               {"time,CH1\n0,1\n1,NaN\n2,3\n3,4\n", `f:3:3: found "NaN"; expected a number for CH1, or an empty cell`},
		"no value":          {"time,CH1\n0,1\n1,9.91E+37\n2,3\n3,4\n", "f:3:3: found 9.91e+37, which is no voltage"},
		"column missing":    {"time,CH1,CH2\n0,1,1\n1,2\n2,3,3\n", "f:3:4: found the end of the line after 2 of 3 cells; expected 3 cells a row, with time, CH1, CH2"},
		"column too many":   {"time,CH1\n0,1\n1,2,7\n2,3\n", "f:3:5: found a cell beyond the 2 of the rows before"},
		"backwards":         {"time,CH1\n0,1\n1,2\n2,3\n1,4\n", "f:5:1: found the time 1 s after 2 s: it goes backwards"},
		"uneven":            {"time,CH1\n0.0,1\n1.0,2\n2.0,3\n3.0,3\n4.0,3\n5.7,4\n", "f:7:1: found the time 5.7 s, 1.7 s after the row before; expected even steps of 1 s"},
		"standing still":    {"time,CH1\n0.00,1\n1.00,2\n2.00,3\n2.00,3\n3.00,4\n", "f:5:1: found the time 2 s, 0 s after the row before"},
		"no time in a row":  {"time,CH1\n0,1\n1,2\n,3\n3,4\n", "f:4:1: found no time"},
		"same name":         {"time,CH1,CH2,CH1\n0,1,1,1\n1,2,2,2\n", `f:1:14: found the name "CH1" on columns 2 and 4`},
		"same name, case":   {"time,clk,CLK\n0,1,1\n1,2,2\n", `f:1:10: found the name "CLK" on columns 2 and 3`},
		"two minima":        {"time,CH1 min,CH1 min\n0,1,1\n1,2,2\n", `f:1:14: found a second column named "CH1 min"`},
		"half a bin":        {"time,CH1 min,CH1 max\n0,1,2\n1,2,\n2,1,2\n", "f:3:5: found an empty cell; expected both CH1 min and CH1 max"},
		"min above max":     {"time,CH1 min,CH1 max\n0,1,2\n1,2,1\n2,1,2\n", "f:3:3: found a lowest voltage of 2 V above the highest of 1 V"},
		"one row of a pair": {"time,CH1\n0,1\n0,2\n1,1\n1,2\n2,1\n2,2\n3,1\n4,2\n", "f:9:1: found the time 4 s on one row only"},
		"bad interval":      {"Sample Interval,fast\nCH1,CH2\n1,2\n1,2\n", `f:1:1: found Sample Interval "fast"`},
		"interval of 0":     {"Sample Interval,0\nCH1,CH2\n1,2\n1,2\n", `f:1:1: found Sample Interval "0"; expected a time above 0`},
		"only a time":       {"time\n0\n1\n2\n", "f:1:1: found no column of voltages"},
		"huge line":         {"time,CH1\n0,1\n1," + strings.Repeat("1", 70000) + "\n", "f:3:1: found a line of "},
		"huge jump":         {"time,CH1\n0,1\n1,2\n2,2\n1000000000,3\n", "f:5:1: found a jump of"},
		"JSON":              {`{"format": u8}`, "f:1:12: found no JSON"},
		"JSON cut":          {`{"format": "u8"`, "f:1:16: found the end of the file"},
		"JSON kind":         {"{\n\"step_seconds\": \"1\"}", "f:2:19: found a string for step_seconds; expected a float64"},
		"JSON key":          {"{\n \"stepp\": 1}", `f:2:2: found the key "stepp"; expected the keys samples, format`},
		"JSON format":       {`{"format": "u12", "step_seconds": 1}`, `f:1:2: found the format "u12"; expected one of u8`},
		"JSON step":         {`{"format": "u8", "step_seconds": 0}`, "f:1:18: found step_seconds 0"},
		"JSON channels":     {`{"format": "u8", "step_seconds": 1}`, "found 0 channels"},
		"JSON scale":        {`{"format": "u8", "step_seconds": 1, "channels": [{"name": "a"}]}`, `found volts_per_code 0 for channel "a"`},
		"JSON names":        {`{"format": "f32le", "step_seconds": 1, "channels": [{"name": "a"}, {"name": "A"}]}`, `found the name "A" for channel 2`},
		"JSON file outside": {`{"samples": "../x", "format": "f32le", "step_seconds": 1, "channels": [{"name": "a"}]}`, `found the file "../x"; expected a file in the folder`},
		"JSON no file":      {`{"samples": "absent.bin", "format": "f32le", "step_seconds": 1, "channels": [{"name": "a"}]}`, "f:1:2: found open absent.bin"},
		"table's step":      {"# record: envelope start_seconds=0\nclock_v\n1\n", "f:1:3: found a table without step_seconds above 0"},
		"table's name":      {"# record: other step_seconds=1\nclock_v\n1\n", `f:1:3: found the table "other"`},
		"table twice":       {"# record: lamp step_seconds=1\nlamp_v\n1\n# record: lamp step_seconds=1\nlamp_v\n1\n", `f:4:3: found the table "lamp"`},
		"table's column":    {"# record: envelope step_seconds=1\nclock_v,knob_v\n1,1\n", `f:2:9: found "knob_v"`},
		"table's converter": {"# record: envelope step_seconds=1\n# channel: clock zero_v=1\nclock_v\n1\n", "f:2:3: found a converter without code_v"},
		"table's cell":      {"# record: envelope step_seconds=1\nclock_v\n1\nx\n", `f:4:1: found "x"`},
	} {
		t.Run(name, func(t *testing.T) {
			f, err := Read("f", strings.NewReader(c.text), Options{})
			if err == nil {
				t.Fatalf("accepted: %+v", f)
			}
			if !strings.Contains(err.Error(), c.want) {
				t.Errorf("says  %v\nwant  %s", err, c.want)
			}
			var place *Error
			if !errors.As(err, &place) || place.Expected == "" {
				t.Errorf("%v does not say what was expected", err)
			}
		})
	}
}
