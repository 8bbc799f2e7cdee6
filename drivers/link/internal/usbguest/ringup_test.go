//go:build linux

package usbguest_test

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"

	"ringup/drivers/link"
	"ringup/drivers/link/internal/usbguest"
	"ringup/runner"
	"ringup/runner/simbench"
)

// ringup is the program as a user has it, in a folder of its own.
type ringup struct {
	t      *testing.T
	folder string
	user   uint32 // root, unless set
}

// attempts is how often a command is given: on a busy computer, which plays another one here, an instrument may not say
// in time who it is.
const attempts = 3

// says gives a command until its exit status is the one wanted and what it prints has, for each list, a line with all of
// the list's parts. It returns what it prints. A file that the command writes is not there before.
func (r ringup) says(status int, arguments []string, lines ...[]string) string {
	r.t.Helper()
	for last := attempts; ; last-- {
		if n := slices.Index(arguments, "-o"); n >= 0 {
			os.Remove(filepath.Join(r.folder, arguments[n+1]))
		}
		got, text := r.run(arguments)
		missing := slices.DeleteFunc(slices.Clone(lines), func(parts []string) bool { return hasLine(text, parts) })
		switch {
		case got == status && len(missing) == 0:
			return text
		case last == 1:
			r.t.Fatalf("ringup %s: exit status %d, want %d; no lines with %q in\n%s", arguments, got, status, missing, text)
		}
		r.t.Logf("ringup %s: exit status %d, no lines with %q: once more", arguments, got, missing)
	}
}

func (r ringup) run(arguments []string) (status int, text string) {
	r.t.Helper()
	c := exec.Command(filepath.Join(usbguest.Files, "ringup"), arguments...)
	c.Dir = r.folder
	if r.user != 0 {
		c.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: r.user, Gid: r.user}}
	}
	var out bytes.Buffer
	c.Stdout, c.Stderr = &out, &out
	err := c.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		r.t.Fatal(err)
	}
	return c.ProcessState.ExitCode(), out.String()
}

// hasLine says whether a line has all of the parts.
func hasLine(text string, parts []string) bool {
	for line := range strings.Lines(text) {
		if !slices.ContainsFunc(parts, func(part string) bool { return !strings.Contains(line, part) }) {
			return true
		}
	}
	return false
}

// nobody is a user without any permission.
const nobody = 65534

// TestInsideFindAndCheck goes the way of somebody with a new bench: find, fill in, check, check --energise. Supply and
// scope are USB-TMC instruments, and the scope's status byte never says that a reply waits.
func TestInsideFindAndCheck(t *testing.T) {
	usbguest.Inside(t)
	instruments := usbguest.Connect(t)
	supply := newUSBWire(instruments, "SUP 9", usbguest.StatusTells)
	scope := newUSBWire(instruments, "OSC-9", usbguest.StatusZero)
	sim, err := simbench.New(simbench.Options{
		Unit: "healthy", Seed: 7, Clock: runner.WallClock{}, NoUnit: true, OnCompensation: []int{simbench.ClockChannel},
		Climate:    simbench.Climate{MeanCelsius: 20, Still: true},
		ClockProbe: simbench.Probe{Node: simbench.NodeB, Farads: 12e-12, Ohms: 10e6, Attenuation: 10},
		Wires:      map[simbench.Instrument]simbench.Wire{simbench.Supply: supply, simbench.Scope: scope},
	})
	must(t, err)
	at, err := sim.Serve(simbench.TCP)
	must(t, err)
	t.Cleanup(func() { sim.Close() })
	var messages, on atomic.Int64 // to either instrument; to switch the supply on
	for _, i := range []simbench.Instrument{simbench.Supply, simbench.Scope} {
		sim.Faults().Listen(i, func(message string) {
			messages.Add(1)
			if strings.Contains(message, "OUTPut ON") {
				on.Add(1)
			}
		})
	}
	const supplyAddress, scopeAddress = "usbtmc:serial=SUP 9", "usbtmc:serial=OSC-9"
	r := ringup{t: t, folder: publicFolder(t)}
	dialects := filepath.Join(r.folder, "dialects")
	must(t, os.Mkdir(dialects, 0o755))
	writeDialects(t, dialects, late, matrixQuiet)

	r.says(0, []string{"find"},
		[]string{supplyAddress + "  ", "ringup emulated instrument", "not asked: name it, or --ask"}, []string{scopeAddress + "  ", "not asked"})
	if n := messages.Load(); n > 0 {
		t.Errorf("unasked, find sent the instruments %d messages", n)
	}
	r.says(0, []string{"find", supplyAddress, scopeAddress, at.Thermometer, "-o", "proposed.toml"},
		[]string{"supply", supplyAddress + "  ", "SUP-7"}, []string{"scope", scopeAddress + "&mav=off  ", "OSC-7", "asked straight away"},
		[]string{"thermometer", at.Thermometer, "THM-7"}, []string{"proposed.toml is written"})
	text, err := os.ReadFile(filepath.Join(r.folder, "proposed.toml"))
	must(t, err)
	filled := replaced(t, string(text),
		`name      = ""`, `name = "river-level logger 0231"`, `clock     = ""`, `clock = "7.3728 MHz"`, `max_volts = ""`, `max_volts = "3.9 V"`,
		`max_amps  = ""`, `max_amps = "150 mA"`, `start_within  = ""`, `start_within = "68 ms"`, `amplitude_min = ""`, `amplitude_min = "6 %"`)
	must(t, os.WriteFile(filepath.Join(r.folder, "bench.toml"), []byte(filled), 0o644))
	heeding := replaced(t, filled, "&mav=off", "")
	must(t, os.WriteFile(filepath.Join(r.folder, "heeding.toml"), []byte(heeding), 0o644))

	r.says(1, []string{"check", "-b", "heeding.toml"},
		[]string{"pass", "supply ", "SUP-7"}, []string{"pass", "supply off"}, []string{"pass", "supply limits"}, []string{"supply round trip"},
		[]string{"WRONG", "scope", "heeding.toml:13:11: ", "asked straight away", "OSC-7", `write "` + scopeAddress + `&mav=off"`})
	if n := on.Load(); n > 0 {
		t.Errorf("check without --energise switched the supply on %d times", n)
	}
	r.says(0, []string{"check", "--energise", "--yes"},
		[]string{"pass", "supply ", "SUP-7"}, []string{"pass", "scope ", "OSC-7"}, []string{"pass", "clock probe "}, []string{"scope round trip"},
		[]string{"pass", "supply at 1.56 V"}, []string{"pass", "supply at 2.73 V"}, []string{"pass", "supply at 3.90 V", "triggered at 1.95 V"},
		[]string{"pass", "clock probe trim", "1000 Hz"})
	if on.Load() == 0 {
		t.Error("check --energise did not switch the supply on")
	}
	if on, volts := sim.SupplyOutput(); on {
		t.Errorf("THE SUPPLY IS ON at %g V after check --energise", volts)
	}

	r.user = nobody
	rules := strings.TrimSpace(link.UdevRules)
	if text := r.says(0, []string{"find"}, []string{supplyAddress, "this user may not open /dev/usbtmc"}, []string{"Save these udev rules as " + link.UdevRulesPath}); !strings.Contains(text, rules) {
		t.Errorf("find without permission prints no rules:\n%s", text)
	}
	r.says(1, []string{"check"}, []string{"WRONG", "supply", "bench.toml:10:11: ", "nor may any but root", "udev rules", "dialout"})
}

// publicFolder is one that any user may enter.
func publicFolder(t *testing.T) string {
	t.Helper()
	folder, err := os.MkdirTemp("", "public-")
	must(t, err)
	t.Cleanup(func() { os.RemoveAll(folder) })
	must(t, os.Chmod(folder, 0o755))
	return folder
}

// replaced replaces texts, each of which must be there.
func replaced(t *testing.T, text string, pairs ...string) string {
	t.Helper()
	for i := 0; i < len(pairs); i += 2 {
		if !strings.Contains(text, pairs[i]) {
			t.Fatalf("no %q in\n%s", pairs[i], text)
		}
		text = strings.ReplaceAll(text, pairs[i], pairs[i+1])
	}
	return text
}
