package main

import (
	"bytes"
	"os"
	"os/exec"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"ringup/runner/benchcheck"
)

// serveBench starts a simulated bench as a process of its own and writes the bench file that it prints.
func serveBench(t *testing.T, f folder, file string, arguments ...string) *process {
	t.Helper()
	from, to, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer from.Close()
	p := f.start(t, to, append([]string{"simbench"}, arguments...)...)
	to.Close()
	p.await("up")
	text := make([]byte, 4096) // written at once, before the line that has been read
	n, err := from.Read(text)
	if err != nil {
		t.Fatal(err)
	}
	f.write(t, file, string(text[:n]))
	t.Cleanup(func() { p.wait() }) // the end of the test's context kills it
	return p
}

// read returns a file of the folder.
func (f folder) read(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(f.path(name))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// edit writes a copy of a file with texts replaced, each of which must be there.
func (f folder) edit(t *testing.T, from, to string, pairs ...string) {
	t.Helper()
	text := f.read(t, from)
	for i := 0; i < len(pairs); i += 2 {
		if !strings.Contains(text, pairs[i]) {
			t.Fatalf("no %q in\n%s", pairs[i], text)
		}
		text = strings.ReplaceAll(text, pairs[i], pairs[i+1])
	}
	f.write(t, to, text)
}

// addressOf reads an instrument's address from a bench file.
func (f folder) addressOf(t *testing.T, file, role string) string {
	t.Helper()
	m := regexp.MustCompile(`(?s)\[` + role + `\]\s*address = "([^"]+)"`).FindStringSubmatch(f.read(t, file))
	if m == nil {
		t.Fatalf("no address of the %s in %s", role, file)
	}
	return m[1]
}

// withInput runs a command line to its end with a person's answers.
func (f folder) withInput(t *testing.T, input string, arguments ...string) outcome {
	t.Helper()
	c := f.command(t, arguments...)
	var out, errOut bytes.Buffer
	c.Stdin, c.Stdout, c.Stderr = strings.NewReader(input), &out, &errOut
	err := c.Run()
	if _, exited := err.(*exec.ExitError); err != nil && !exited {
		t.Fatal(err)
	}
	return outcome{c.ProcessState.ExitCode(), out.String(), errOut.String()}
}

// wantSays checks an outcome's status and that standard output holds a line with all of each list's parts.
func (o outcome) wantSays(t *testing.T, status int, lines ...[]string) {
	t.Helper()
	if o.status != status {
		t.Errorf("exit status %d, want %d; it says\n%s%s", o.status, status, o.out, o.err)
	}
	for _, parts := range lines {
		found := false
		for line := range strings.Lines(o.out) {
			all := true
			for _, p := range parts {
				all = all && strings.Contains(line, p)
			}
			found = found || all
		}
		if !found {
			t.Errorf("no line with %q in\n%s", parts, o.out)
		}
	}
}

// eachWire runs a test with simulated benches on pseudo-terminals and on TCP.
func eachWire(t *testing.T, test func(t *testing.T, transport string)) {
	for _, transport := range []string{"pty", "tcp"} {
		t.Run(transport, func(t *testing.T) {
			t.Parallel()
			test(t, transport)
		})
	}
}

func TestCheck(t *testing.T) {
	t.Parallel()
	eachWire(t, func(t *testing.T, transport string) {
		f := folder(t.TempDir())
		serveBench(t, f, "bench.toml", "--transport", transport, "--no-unit", "--probes", "compensation")
		o := f.ringup(t, "check")
		o.wantSays(t, exitDone, []string{"pass", "supply ", "SUP-1"}, []string{"pass", "scope ", "OSC-1"}, []string{"pass", "lamp probe", "channel 3"})
		if !strings.Contains(o.err, "never charge a lithium primary cell") {
			t.Error("no cautions")
		}
		if strings.Contains(o.out, "WRONG") || strings.Contains(o.out, "supply at") {
			t.Errorf("check of a sound bench:\n%s", o.out)
		}

		o = f.withInput(t, "yes\nskip\n\n", "check", "--energise")
		o.wantSays(t, exitDone,
			[]string{"pass", "supply at 1.56 V"}, []string{"pass", "supply at 2.73 V"}, []string{"pass", "supply at 3.90 V", "triggered at 1.95 V"},
			[]string{"note", "rail probe trim", "skipped"}, []string{"pass", "clock probe trim", "1000 Hz"})
		for _, question := range []string{"disconnected", "Clip the rail probe (channel 1)", "Clip the clock probe (channel 2)"} {
			if !strings.Contains(o.err, question) {
				t.Errorf("it did not ask %q", question)
			}
		}

		r := decode[checkReport](t, f.must(t, "check", "--energise", "--yes", "--json"))
		if r.Wrong != 0 || !r.Energised || len(r.Findings) < 20 || r.Findings[0].Result != benchcheck.Pass {
			t.Errorf("--json says %+v", r)
		}
	})
}

func TestCheckAsksFirst(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	serveBench(t, f, "bench.toml", "--no-unit")
	for _, answer := range []string{"", "y\n", "no\n"} {
		o := f.withInput(t, answer, "check", "--energise")
		if o.status != exitStopped || strings.Contains(o.out, "supply at") {
			t.Errorf("answered %q: exit status %d\n%s%s", answer, o.status, o.out, o.err)
		}
	}
}

func TestCheckSeesTheUnit(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	serveBench(t, f, "bench.toml", "--transport", "tcp", "--unit", "healthy", "--ambient", "20")
	o := f.ringup(t, "check", "--energise", "--yes")
	o.wantSays(t, exitFailed, []string{"WRONG", "no unit", "mA", "disconnect the unit"})
	if supply := dial(t, strings.TrimPrefix(f.addressOf(t, "bench.toml", "supply"), "tcp:")); supply.on() {
		t.Error("THE SUPPLY IS ON")
	}
}

// TestCheckBadBenches puts instruments where they do not belong.
func TestCheckBadBenches(t *testing.T) {
	t.Parallel()
	eachWire(t, func(t *testing.T, transport string) {
		f := folder(t.TempDir())
		serveBench(t, f, "bench.toml", "--transport", transport, "--no-unit")
		supply, scope := f.addressOf(t, "bench.toml", "supply"), f.addressOf(t, "bench.toml", "scope")

		f.edit(t, "bench.toml", "swapped.toml", supply, "hold", scope, supply, "hold", scope)
		f.ringup(t, "check", "-b", "swapped.toml").wantSays(t, exitFailed,
			[]string{"WRONG", "swapped.toml:8:11: ", "no supply: this is a scope", "OSC-1"},
			[]string{"WRONG", "swapped.toml:11:11: ", "no scope: this is a supply", "SUP-1"})
		o := f.ringup(t, "check", "-b", "swapped.toml", "--energise", "--yes")
		if o.status != exitFailed || !strings.Contains(o.err, "nothing was energised") {
			t.Errorf("--energise with the wrong instruments: exit status %d\n%s", o.status, o.err)
		}

		f.edit(t, "bench.toml", "same.toml", scope, supply)
		f.wantRefused(t, exitUsage, []string{"check", "-b", "same.toml"}, "same.toml:11:11: scope.address: found "+strconv.Quote(supply)+", where the supply is already")
	})
}

// TestCheckOneInstrumentTwice reaches one scope under two addresses.
func TestCheckOneInstrumentTwice(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	serveBench(t, f, "bench.toml", "--transport", "tcp", "--no-unit")
	// The dialect of any thermometer would take the scope for one.
	f.write(t, "any.toml", anyThermometer)
	if err := os.Mkdir(f.path("dialects"), 0o755); err != nil {
		t.Fatal(err)
	}
	f.write(t, "dialects/any.toml", anyThermometer)
	other := strings.Replace(f.addressOf(t, "bench.toml", "scope"), "127.0.0.1", "localhost", 1)
	f.edit(t, "bench.toml", "twice.toml", f.addressOf(t, "bench.toml", "thermometer")+`"`, other+"\"\ndialect = \"any-thermometer\"")
	f.ringup(t, "check", "-b", "twice.toml").wantSays(t, exitFailed,
		[]string{"WRONG", "thermometer", "twice.toml:14:11: ", "lead to one and the same instrument", "OSC-1"})
}

const anyThermometer = `kind           = "thermometer"
name           = "any-thermometer"
identity       = '^ringup,'
guide          = "SCPI-99 volume 2, chapter 3 (MEASure)"
hardware_tried = "no"

[operations.read]
steps = [{ ask = "MEASure:TEMPerature?", reply = "number" }]
`

// TestCheckWrongBaud opens the instruments' ports at a speed that is not theirs.
func TestCheckWrongBaud(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	serveBench(t, f, "bench.toml", "--no-unit", "--baud", "57600")
	supply := f.addressOf(t, "bench.toml", "supply")
	slow := strings.Replace(supply, "57600", "9600", 1)
	f.edit(t, "bench.toml", "slow.toml", supply, slow)
	f.ringup(t, "check", "-b", "slow.toml").wantSays(t, exitFailed,
		[]string{"WRONG", "slow.toml:8:11: ", "no readable *IDN? at 9600 baud; at 57600 baud answers ringup,simulated supply", supply})
}

// TestCheckGuard kills the check while the supply is on, and interrupts it.
func TestCheckGuard(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	serveBench(t, f, "bench.toml", "--transport", "tcp", "--no-unit")
	supply := dial(t, strings.TrimPrefix(f.addressOf(t, "bench.toml", "supply"), "tcp:"))
	energised := func() *process {
		p := f.start(t, nil, "check", "--energise", "--yes")
		p.await("Cautions")
		for !supply.on() {
			if p.ended() {
				t.Fatalf("it ended without switching the supply on; it said\n%s", strings.Join(p.seen, "\n"))
			}
		}
		return p
	}

	p := energised()
	p.kill()
	p.await("the supply is off, read back")
	if supply.on() {
		t.Error("the guard says that the supply is off, and it is on")
	}
	for range p.lines {
		// The pipe closes when the guard has ended, too.
	}

	p = energised()
	if status := p.interrupt(); status != exitStopped {
		t.Errorf("Ctrl-C: exit status %d, want %d", status, exitStopped)
	}
	if supply.on() {
		t.Error("THE SUPPLY IS ON after Ctrl-C")
	}
}

func TestCheckDialect(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	f.write(t, "mine.toml", anyThermometer)
	f.ringup(t, "check", "--dialect", "mine.toml").wantSays(t, exitDone,
		[]string{"pass", "mine.toml", `thermometer dialect "any-thermometer"`}, []string{"read", `"MEASure:TEMPerature?"`})
	r := decode[dialectReport](t, f.must(t, "check", "--dialect", "mine.toml", "--json"))
	if r.Name != "any-thermometer" || len(r.Operations) == 0 {
		t.Errorf("--json says %+v", r)
	}
	f.edit(t, "mine.toml", "bad.toml", `"thermometer"`, `"thermometre"`)
	f.wantRefused(t, exitUsage, []string{"check", "--dialect", "bad.toml"}, "bad.toml:1:", "thermometre")
	f.wantRefused(t, exitUsage, []string{"check", "--dialect", "none.toml"}, "none.toml")
	f.wantRefused(t, exitUsage, []string{"check", "--dialect", "mine.toml", "--energise"}, "without --energise")
	f.wantRefused(t, exitUsage, []string{"check", "--dialect", "mine.toml", "-b", "bench.toml"}, "without -b")
	f.wantRefused(t, exitUsage, []string{"check", "--yes"}, "--energise")
}

// TestCheckSimulated checks the bench of the demo, which lives in the program itself.
func TestCheckSimulated(t *testing.T) {
	t.Parallel()
	f := newFolder(t, "")
	f.ringup(t, "check", "--energise", "--yes").wantSays(t, exitDone, []string{"pass", "supply at 3.90 V"}, []string{"note", "probe trim"})
}
