package dialect

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"ringup/drivers/scpi"
)

func TestParseReply(t *testing.T) {
	for _, c := range []struct {
		text string
		st   step
		want Reply
	}{
		{"500MSa/s", step{reply: QuantityReply}, Reply{Number: 5e8}},
		{"OUT 1", step{reply: BooleanReply, prefix: "OUT"}, Reply{Yes: true, Number: 1}},
		{"vset  3.300", step{reply: NumberReply, prefix: "VSET "}, Reply{Number: 3.3}},
		{"00000100", step{reply: BitsReply, mask: 4}, Reply{Yes: true, Number: 1}},
		{"11111011", step{reply: BitsReply, mask: 4}, Reply{}},
		{"anything", step{reply: TextReply}, Reply{}},
	} {
		r, err := parseReply(c.text, c.st)
		if err != nil || r.Number != c.want.Number || r.Yes != c.want.Yes {
			t.Errorf("%q: %+v, %v, want %+v", c.text, r, err, c.want)
		}
	}
	for text, st := range map[string]step{
		"3.3 V":                           {reply: NumberReply},
		"three":                           {reply: QuantityReply},
		"3.3":                             {reply: NumberReply, prefix: "VSET"},
		"OUTPUT1":                         {reply: BooleanReply, prefix: "VSET"},
		"012":                             {reply: BitsReply, mask: 1},
		"":                                {reply: BitsReply, mask: 1},
		"1" + strings.Repeat("0", 70):     {reply: BitsReply, mask: 1},
		`A 1;B`:                           {reply: NamedReply},
		`A "1;B 2`:                        {reply: NamedReply},
		`A 1;:PRE:A 2`:                    {reply: NamedReply},
		`:PRE: 1`:                         {reply: NamedReply},
		`+3.3E+00;` + "0,\"No error\"":    {reply: NamedReply},
		"1,2,x":                           {reply: NumbersReply},
		"2":                               {reply: BooleanReply},
		strings.Repeat("V", 200) + " 1.0": {reply: NumberReply, prefix: "VSET"},
	} {
		if r, err := parseReply(text, st); !errors.Is(err, scpi.ErrGarbled) {
			t.Errorf("%s %q: %+v, %v, want ErrGarbled", st.reply, text, r, err)
		}
	}
}

// TestUnitHint: a reply with a unit says what to write in the dialect.
func TestUnitHint(t *testing.T) {
	if _, err := parseReply("3.300V", step{reply: NumberReply}); !errors.Is(err, scpi.ErrGarbled) || !strings.Contains(err.Error(), `reply = "quantity"`) {
		t.Errorf("%v", err)
	}
}

// The reply that TDS5000B Online Programmer Guide p. 813 prints for WFMOutpre?.
const wfmoutpre = `:WFMOUTPRE:BYT_NR 2;BIT_NR 16;ENCDG BINARY;BN_FMT RI;BYT_OR MSB;` +
	`WFID "Ch1, DC coupling, 200.0mV/div, 10.00us/div, 1250 points, Sample mode";NR_PT 1000;PT_FMT Y;XUNIT "s";` +
	`XINCR 80.0000E-9;XZERO 0.0000;PT_OFF 625;YUNIT "V";YMULT 31.2500E-6;YOFF 0.0000;YZERO 0.0000;NR_FR 3`

func TestNamed(t *testing.T) {
	got, err := parseNamed(wfmoutpre)
	if err != nil || got["byt_nr"] != "2" || got["xincr"] != "80.0000E-9" || got["pt_off"] != "625" || got["xunit"] != "s" ||
		got["wfid"] != "Ch1, DC coupling, 200.0mV/div, 10.00us/div, 1250 points, Sample mode" || len(got) != 17 {
		t.Errorf("%v, %v", got, err)
	}
	d := embeddedDialect(t, Scope, "tektronix-mso")
	run := func(reply string) (Reply, error) {
		s := &script{replies: map[string]string{"WFMOutpre?": reply, "*ESR?": "0"}}
		return d.Run(t.Context(), s, "preamble", Settings{"channel": 1})
	}
	r, err := run(wfmoutpre)
	// The trigger is at sample 625 of 1000, 80 ns apart; two bytes are not what
	// the dialect asked for, so there is no valid record.
	if err != nil || r.Fields["points"] != 1000 || math.Abs(r.Fields["start_seconds"]+50e-6) > 1e-15 || r.Fields["valid"] != 0 {
		t.Errorf("%v, %v", r.Fields, err)
	}
	if _, err := run(strings.Replace(wfmoutpre, "YMULT", "YMUL", 1)); !errors.Is(err, scpi.ErrGarbled) {
		t.Errorf("a field is missing: %v", err)
	}
	if _, err := run(strings.Replace(wfmoutpre, "31.2500E-6", "much", 1)); !errors.Is(err, scpi.ErrGarbled) {
		t.Errorf("a field is no number: %v", err)
	}
}

// TestPrintedExamples are volts and times that programming guides work out.
func TestPrintedExamples(t *testing.T) {
	preamble := func(name string, replies map[string]string) map[string]float64 {
		t.Helper()
		d := embeddedDialect(t, Scope, name)
		replies["SYSTem:ERRor?"] = `0,"No error"`
		r, err := d.Run(t.Context(), &script{replies: replies}, "preamble", Settings{"channel": 1})
		if err != nil {
			t.Fatal(err)
		}
		return r.Fields
	}
	volts := func(f map[string]float64, code float64) float64 {
		return (code-f["code_zero"])*f["volts_per_code"] + f["offset_volts"]
	}
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-12 {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	// HP 1660 series user's reference p. 35-6: the third point with XORIGIN 16 ns,
	// XREFERENCE 0 and XINCREMENT 2 ns is at 22 ns.
	f := preamble("keysight-infiniivision", map[string]string{"WAVeform:PREamble?": "+0,+0,+1000,+1,+2E-09,+16E-09,+0,+1E-02,+0E+00,+128"})
	near("time of the third point", f["start_seconds"]+3*f["step_seconds"], 22e-9)
	// DS1000Z Programming Guide p. 2-139 and DS1000Z-E p. 2-181.
	f = preamble("rigol-ds1000z", map[string]string{":ACQuire:TYPE?": "NORM", "ACQuire:TYPE?": "NORM", "WAVeform:PREamble?": "0,2,600,2,0.000000,-0.000006,0,0.008000,50,127"})
	near("0x8E", volts(f, 0x8e), (0x8e-50-127)*0.008)
	near("time of the first point", f["start_seconds"], -6e-6)
	// SDS1104X-E Programming Guide p. 142.
	f = preamble("siglent-sds1000", map[string]string{
		"C1:VDIV?": "5.00E-01V", "C1:OFST?": "-5.00E-01V", "TDIV?": "5.00E-04S", "TRDL?": "0.00E+00S", "SARA?": "1.00GSa/s", "SANU? C1": "7Mpts", "ACQW?": "SAMPLING",
	})
	near("code 2", volts(f, 2), 0.54)
	near("time of the first point", f["start_seconds"], -0.0035)
	near("step", f["step_seconds"], 1e-9)
}

func TestSamples(t *testing.T) {
	block := []byte{0x00, 0x01, 0x7f, 0xff, 0x80, 0x00, 0xff, 0xfe}
	for form, want := range map[sampleForm][]int32{
		"u8":    {0, 1, 127, 255, 128, 0, 255, 254},
		"s8":    {0, 1, 127, -1, -128, 0, -1, -2},
		"u16be": {1, 0x7fff, 0x8000, 0xfffe},
		"s16be": {1, 0x7fff, -0x8000, -2},
		"u16le": {0x0100, 0xff7f, 0x0080, 0xfeff},
		"s16le": {0x0100, -129, 0x0080, -257},
	} {
		if got := form.codes(block); !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", form, got, want)
		}
	}
}

const chunkedScope = `
[operations.data]
chunk_samples = 4
sample = "s16le"
steps = [{ send = "FROM {first_sample:d} TO {last_sample:d}" }, { ask = "DATA? {chunk_samples:d},{first_sample - 1:d}", reply = "block" }]
`

// TestChunks fetches ten samples, four at a time.
func TestChunks(t *testing.T) {
	text := string(must(embedded.ReadFile("files/simulated-scope.toml")))
	text = text[:strings.Index(text, "[operations.data]")] + chunkedScope
	d, err := Parse("f.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	replies := map[string]string{
		"DATA? 4,0": "\x01\x00\x02\x00\x03\x00\x04\x00", "DATA? 4,4": "\x05\x00\x06\x00\x07\x00\x08\x00", "DATA? 2,8": "\x09\x00\xff\xff",
	}
	s := &script{replies: replies}
	r, err := d.Run(t.Context(), s, "data", Settings{"channel": 1, "samples": 10})
	if err != nil || !slices.Equal(r.Samples, []int32{1, 2, 3, 4, 5, 6, 7, 8, 9, -1}) || r.LowestCode != -32768 || r.HighestCode != 32767 {
		t.Errorf("%+v, %v", r, err)
	}
	if want := []string{"FROM 1 TO 4", "DATA? 4,0", "FROM 5 TO 8", "DATA? 4,4", "FROM 9 TO 10", "DATA? 2,8"}; !slices.Equal(s.sent, want) {
		t.Errorf("sent %q", s.sent)
	}
	for _, short := range []string{"", "\x05\x00", "\x05\x00\x06\x00\x07\x00\x08\x00\x09\x00"} {
		wrong := maps.Clone(replies)
		wrong["DATA? 4,4"] = short
		s := &script{replies: wrong}
		if _, err := d.Run(t.Context(), s, "data", Settings{"channel": 1, "samples": 10}); !errors.Is(err, scpi.ErrGarbled) || s.torn == nil {
			t.Errorf("a piece of %d bytes: %v, torn %v", len(short), err, s.torn)
		}
	}
	for _, n := range []float64{0, -1, math.NaN()} {
		if _, err := d.Run(t.Context(), s, "data", Settings{"channel": 1, "samples": n}); err == nil {
			t.Errorf("%g samples were fetched", n)
		}
	}
}

// TestEventStatus: an instrument without a queue says by *ESR? what was wrong.
func TestEventStatus(t *testing.T) {
	d := embeddedDialect(t, Scope, "tektronix-mso")
	for reply, want := range map[string]error{"0": nil, "1": nil, "16": &scpi.Refused{}, "x": scpi.ErrGarbled, "256": scpi.ErrGarbled} {
		s := &script{replies: map[string]string{"*ESR?": reply}}
		_, err := d.Run(t.Context(), s, "start", nil)
		var refused *scpi.Refused
		if errors.As(want, new(*scpi.Refused)) != errors.As(err, &refused) || want == nil && err != nil || errors.Is(want, scpi.ErrGarbled) && !errors.Is(err, scpi.ErrGarbled) {
			t.Errorf("*ESR? %s: %v", reply, err)
		}
	}
}

// FuzzReply has any text interpreted in every form and by every scope's
// preamble and state: no panic, and an error is a garbled reply.
func FuzzReply(f *testing.F) {
	for _, seed := range []string{
		wfmoutpre, "0,2,600,2,0.000000,-0.000006,0,0.008000,50,127", "500MSa/s", "OUT 1", "11010110", "9.91E37", "-9.9E37,1", "#HFF", `0,"No error"`, "Trig'd",
		"146", "-1.23E-03", "#Q62", "#15HELLO", "NINF", "1,2,3,4,5,6,7,8,9,10",
	} {
		f.Add(seed)
	}
	all, err := Load("")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, form := range replyTypes {
			if _, err := parseReply(text, step{reply: form, mask: 1, prefix: ""}); err != nil && !errors.Is(err, scpi.ErrGarbled) {
				t.Fatalf("%s: %v", form, err)
			}
		}
		for _, d := range all {
			if d.Kind != Scope {
				continue
			}
			for _, operation := range []string{"preamble", "state"} {
				r, err := d.Run(t.Context(), echo(text), operation, Settings{"channel": 1})
				if err == nil && operation == "preamble" {
					for _, name := range PreambleFields {
						if _, ok := r.Fields[name]; !ok {
							t.Fatalf("%s: %q gives no %s", d.Name, text, name)
						}
					}
				}
				if err != nil && !errors.Is(err, scpi.ErrGarbled) && !errors.As(err, new(*scpi.Refused)) {
					t.Fatalf("%s %s: %v", d.Name, operation, err)
				}
			}
		}
	})
}

// echo answers every query with the same text, and the error query with none.
func echo(text string) *script { return &script{same: &text} }

func TestDescribe(t *testing.T) {
	all, err := Load("")
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range all {
		examples, err := d.Describe()
		if err != nil || len(examples) != len(operations[d.Kind]) {
			t.Errorf("%s: %d operations, %v", d.Name, len(examples), err)
		}
		for _, e := range examples {
			if e.Missing == d.Has(e.Operation) || !e.Missing && len(e.Messages) == 0 {
				t.Errorf("%s: %+v", d.Name, e)
			}
		}
	}
	d := embeddedDialect(t, Supply, "scpi99-supply")
	examples, err := d.Describe()
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	for _, e := range examples {
		fmt.Fprintln(&text, e)
	}
	for _, want := range []string{
		"set_volts (channel 1, volts 3.3): \"SOURce:VOLTage 3.3000\", \"SOURce:VOLTage?\"\n",
		"output_off (channel 1, on 0): \"OUTPut OFF\", \"OUTPut?\"\n",
		"prepare (channel 1): \"*CLS\", \"SYSTem:ERRor?\"\n",
		"wake: not in this dialect\n",
	} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("%q is not in\n%s", want, text.String())
		}
	}
}
