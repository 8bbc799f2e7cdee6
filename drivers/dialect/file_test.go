package dialect

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// thermometer is the shortest dialect that is right.
const rightFile = `kind = "thermometer"
name = "mine"
identity = '^ACME,'
guide = "ACME THM guide, p. 3"
hardware_tried = "no"

[operations.read]
steps = [{ ask = "MEASure:TEMPerature?", reply = "number" }]
`

func TestParse(t *testing.T) {
	d, err := Parse("mine.toml", []byte("\xef\xbb\xbf"+rightFile)) // as some editors begin a file
	if err != nil {
		t.Fatal(err)
	}
	if d.Kind != Thermometer || d.Name != "mine" || !d.Has("read") || d.Has("prepare") || !d.Matches("ACME,THM,1,1") || d.Matches("x") {
		t.Errorf("read as %+v", d)
	}
}

// TestMistakes gives each mistake's place, counted by eye.
func TestMistakes(t *testing.T) {
	replace := func(old, new string) string {
		if !strings.Contains(rightFile, old) {
			t.Fatalf("%q is not in the right file", old)
		}
		return strings.Replace(rightFile, old, new, 1)
	}
	supply := strings.Replace(string(must(embedded.ReadFile("files/simulated-supply.toml"))), "# The", "# A", 1)
	scope := string(must(embedded.ReadFile("files/simulated-scope.toml")))
	for _, c := range []struct{ name, text, want string }{
		{"not TOML", replace(`"mine"`, `mine`), "f.toml:2:8: "},
		{"wrong type", replace(`"mine"`, `7`), "f.toml:2:8: name: found TOML's integer where text in quotes is needed"},
		{"wrong type of a switch", replace("[operations.read]", "[session]\necho = \"yes\"\n[operations.read]"), "f.toml:8:8: session.echo: found TOML's string where true or false is needed"},
		{"wrong type of steps", replace(`[{ ask = "MEASure:TEMPerature?", reply = "number" }]`, `"MEASure:TEMPerature?"`), "f.toml:8:9: operations.read.steps: found TOML's string where a list of steps"},
		{"text for a table", replace("[operations.read]", "session = \"LF\"\n[operations.read]"), "session: found TOML's string, which this key does not take"},
		{"unknown key", replace("guide", "guides"), "f.toml:4:1: guides: this key is not known"},
		{"unknown key in a step", replace("reply", "answer"), "f.toml:8:42: operations.read.answer: this key is not known"},
		{"kind", replace(`"thermometer"`, `"toaster"`), `f.toml:1:1: kind: "toaster"; allowed are scope, supply, switch, thermometer`},
		{"name", replace(`"mine"`, `"My own"`), `f.toml:2:1: name: "My own"`},
		{"name auto", replace(`"mine"`, `"auto"`), `f.toml:2:1: name: "auto"`},
		{"identity", replace(`'^ACME,'`, `'^(ACME,'`), "f.toml:3:1: identity: "},
		{"no guide", replace(`"ACME THM guide, p. 3"`, `" "`), "f.toml:4:1: guide: missing"},
		{"not tried", replace(`hardware_tried = "no"`, ``), "f.toml:1:1: hardware_tried: missing"},
		{"operation", replace("operations.read", "operations.reed"), "f.toml:7:13: operations.reed: a thermometer has no such operation; allowed are prepare, read, wake"},
		{"missing operation", replace("operations.read", "operations.prepare"), `f.toml:7:2: operations: operation "read" is missing`},
		{"no steps", replace(`{ ask = "MEASure:TEMPerature?", reply = "number" }`, ``), "f.toml:8:1: operations.read.steps: missing"},
		{"reply", replace(`"number" }`, `"float" }`), "f.toml:8:42: operations.read.steps[0].reply: \"float\"; allowed are"},
		{"other reply", replace(`"number" }`, `"text" }`), `f.toml:7:13: operations.read: it gives reply "text", "number" is needed`},
		{"ask and send", replace(`reply = "number"`, `reply = "number", send = "X"`), "f.toml:8:12: operations.read.steps[0]: a step has either send or ask"},
		{"placeholder", replace(`TEMPerature?"`, `TEMPerature? {channel:d}"`), "f.toml:8:12: operations.read.steps[0].ask: {channel} has no value here; allowed are none"},
		{"brace", replace(`TEMPerature?"`, `TEMPerature? {channel}"`), "f.toml:8:12: operations.read.steps[0].ask: "},
		{"format", replace(`TEMPerature?"`, `TEMPerature? {channel:%d}"`), `f.toml:8:12: operations.read.steps[0].ask: format "%d" of {channel} is not known`},
		{"fields", rightFile + "fields = [\"a\"]\n", "f.toml:9:1: operations.read.fields: "},
		{"meaning", rightFile + "meaning = [{ equals = \"0\", means = \"done\" }]\n", "f.toml:9:1: operations.read.meaning: "},
		{"optional", rightFile + "optional = true\n", "f.toml:9:1: operations.read.optional: "},
		{"terminator", replace("[operations.read]", "[session]\nsend = \"x\"\n[operations.read]"), "f.toml:8:1: session.send: "},
		{"duration", replace("[operations.read]", "[session]\npause = \"2\"\n[operations.read]"), "f.toml:8:1: session.pause: "},
		{"acknowledged and joined", replace("[operations.read]", "[session]\njoin = \";\"\nacknowledgement = \"OK\"\n[operations.read]"), "f.toml:8:1: session.join: "},
		{"not read back", strings.Replace(supply, `  { ask = "SOURce:VOLTage?", reply = "number", verify = "volts", within = 0.001 },`, "", 1), `f.toml:15:13: operations.set_volts: it must end by asking the value back, with verify = "volts"`},
		{"verify", strings.Replace(supply, `verify = "amps"`, `verify = "ohms"`, 1), `operations.set_amps.steps[1].verify: "ohms" has no value here; allowed are channel, amps`},
		{"verify nothing", strings.Replace(supply, `verify = "amps"`, `verify = "1 / "`, 1), `operations.set_amps.steps[1].verify: "1 / " is no expression`},
		{"verify what is unknown", strings.Replace(supply, `verify = "amps"`, `verify = "amps / ohms"`, 1), `operations.set_amps.steps[1].verify: "ohms" has no value here; allowed are channel, amps`},
		{"tolerance", strings.Replace(supply, `within = 0.0001`, `within = -1`, 1), "operations.set_amps.steps[1]: a tolerance cannot be negative"},
		{"unterminated and terminated", replace("[operations.read]", "[session]\nsend = \"\\r\"\nunterminated = true\n[operations.read]"), "f.toml:9:1: session.unterminated: without ends of line"},
		{"refusal without acknowledgement", replace("[operations.read]", "[session]\nrefusal = 'E'\n[operations.read]"), "f.toml:8:1: session.refusal: it comes instead of an acknowledgement"},
		{"refusal", replace("[operations.read]", "[session]\nacknowledgement = \"OK\"\nrefusal = '('\n[operations.read]"), "f.toml:9:1: session.refusal: \"(\" is no regular expression"},
		{"silence", replace("[operations.read]", "[session]\nsilence = \"soon\"\n[operations.read]"), "f.toml:8:1: session.silence: "},
		{"expression", strings.Replace(supply, "{volts:.4f}", "{volts +:.4f}", 1), `f.toml:17:5: operations.set_volts.steps[0].send: {volts +}: "volts +" is no expression; allowed are`},
		{"mask", replace(`reply = "number"`, `reply = "number", mask = 4`), "f.toml:8:60: operations.read.steps[0].mask: "},
		{"no mask", replace(`reply = "number"`, `reply = "bits"`), "operations.read.steps[0].mask: a reply of bits or a byte needs one"},
		{"as", replace(`reply = "number"`, `reply = "number", as = "celsius"`), "f.toml:8:60: operations.read.steps[0].as: nothing is computed"},
		{"prefix without ask", strings.Replace(supply, `{ send = "OUTPut ON" }`, `{ send = "OUTPut ON", prefix = "X" }`, 1), "operations.output_on.steps[0]: reply, prefix, mask, as and verify belong to a step with ask"},
		{"values where none", rightFile + "[operations.read.values]\nx = \"1\"\n", "f.toml:9:18: operations.read.values: this operation has no values"},
		{"sample where none", rightFile + "sample = \"u8\"\n", "f.toml:9:1: operations.read.sample: "},
		{"chunks where none", rightFile + "chunk_samples = 4\n", "f.toml:9:1: operations.read.chunk_samples: "},
		{"sample", scope + "sample = \"u9\"\n", `operations.data.sample: "u9"; allowed are s16be, s16le, s8, u16be, u16le, u8`},
		{"chunks", scope + "chunk_samples = -1\n", "operations.data.chunk_samples: -1"},
		{"a value too few", strings.Replace(scope, `"detector", "valid",`, `"detector",`, 1), `operations.preamble.fields: "valid" is missing; needed are points,`},
		{"a name twice", strings.Replace(scope, `"detector", "valid",`, `"detector", "valid", "valid",`, 1), `operations.preamble.fields: "valid" is there twice`},
		{"a reserved name", strings.Replace(scope, `"detector", "valid",`, `"detector", "valid", "type",`, 1), `operations.preamble.fields: name "type"`},
		{"an unknown value", scope + "[operations.preamble.values]\nohms = \"1\"\n", "operations.preamble.values.ohms: not asked for; needed are points"},
		{"an unknown name", scope + "[operations.preamble.values]\nvalid = \"ohms > 0\"\n", "operations.preamble.values.valid: ohms has no value here; there are points"},
		{"a bad value", scope + "[operations.preamble.values]\nvalid = \"a b\"\n", `operations.preamble.values.valid: "a b" is no expression`},
		{"a list without names", strings.Replace(scope, "fields = [", "nothing = [", 1), "nothing: this key is not known here"},
		{"two meanings", strings.Replace(scope, "bits = 32, means", "bits = 32, clear = 1, means", 1), "operations.state.meaning[0]: one of bits, clear and equals is needed"},
		{"clear nothing", strings.Replace(scope, "bits = 32, means", "clear = 0, means", 1), "operations.state.meaning[0].clear: no bit is named by 0"},
	} {
		_, err := Parse("f.toml", []byte(c.text))
		if err == nil {
			t.Errorf("%s: accepted", c.name)
			continue
		}
		var e *FileError
		if !strings.Contains(err.Error(), c.want) || !errors.As(err, &e) || strings.Contains(err.Error(), "dialect.") {
			t.Errorf("%s: %v\nwant %s", c.name, err, c.want)
		}
	}
}

// TestAllMistakesAtOnce: nobody should have to mend a file line by line.
func TestAllMistakesAtOnce(t *testing.T) {
	_, err := Parse("f.toml", []byte("kind = \"supply\"\nname = \"A\"\nidentity = '('\n[operations.set_ohms]\nsteps = []\n"))
	if err == nil {
		t.Fatal("accepted")
	}
	lines := strings.Split(err.Error(), "\n")
	for _, part := range []string{"f.toml:2:1: name", "f.toml:3:1: identity", "guide", "hardware_tried", "set_ohms", `"set_volts" is missing`, `"output_off" is missing`} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("%q is not among them:\n%v", part, err)
		}
	}
	if len(lines) < 10 {
		t.Errorf("only %d mistakes reported", len(lines))
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// TestCorpora: a fuzz target whose stored inputs have gone would run without
// anybody noticing.
func TestCorpora(t *testing.T) {
	for _, target := range []string{"FuzzParse", "FuzzExpression", "FuzzReply"} {
		if files, err := os.ReadDir(filepath.Join("testdata", "fuzz", target)); err != nil || len(files) == 0 {
			t.Errorf("%s has no stored inputs: %v", target, err)
		}
	}
}

func FuzzParse(f *testing.F) {
	files, err := embedded.ReadDir("files")
	if err != nil || len(files) == 0 {
		f.Fatalf("no dialects embedded: %v", err)
	}
	for _, file := range files {
		f.Add(string(must(embedded.ReadFile("files/" + file.Name()))))
	}
	f.Add(rightFile)
	f.Add("a.b = [[{c = 1}]]\n[[d]]\n[[d]]\ne = {}\n")
	f.Fuzz(func(t *testing.T, text string) {
		d, err := Parse("f.toml", []byte(text))
		if (d == nil) == (err == nil) {
			t.Fatalf("dialect %v, error %v", d, err)
		}
		if err != nil {
			return
		}
		// What was accepted can be described and spoken, whatever comes back.
		examples, err := d.Describe()
		if err != nil {
			return // a whole number was wanted where the example is none
		}
		for _, e := range examples {
			for _, reply := range []string{"1", "garbage", "1,2,3", "A 1;B 2"} {
				if !e.Missing {
					d.Run(t.Context(), echo(reply), e.Operation, e.Settings)
				}
			}
		}
	})
}
