package main

import (
	"strings"
	"testing"
)

// TestCheckNotOff has a supply of another process that does not obey off while it is on. The check says so at once, hands
// it over to its guard, which sees it obey at last, and ends in the exit status of a supply that is not confirmed off.
func TestCheckNotOff(t *testing.T) {
	t.Parallel()
	eachWire(t, func(t *testing.T, transport string) {
		f := folder(t.TempDir())
		// The check sends off five times after the first On and five times more at its end.
		serveBench(t, f, "bench.toml", "--transport", transport, "--no-unit", "--ignore-off", "11")
		o := f.ringup(t, "check", "--energise", "--yes")
		o.wantSays(t, exitNotOff, []string{"pass", "supply off", "read back as off"})
		at := 0
		for _, part := range []string{
			"THE SUPPLY IS NOT CONFIRMED OFF: switch it off by hand. Its guard goes on trying.",
			"ringup guard: the supply is off, read back",
			"ringup: THE SUPPLY IS NOT CONFIRMED OFF: switch it off by hand and disconnect the unit. ",
			"off was sent 5 times and never read back as off",
		} {
			i := strings.Index(o.err[at:], part)
			if i < 0 {
				t.Fatalf("no %q, or not in this order, in\n%s", part, o.err)
			}
			at += i
		}
		if strings.Contains(o.out, "supply at 3.90 V") {
			t.Errorf("it went on after the supply did not obey:\n%s", o.out)
		}

		// Now it obeys.
		f.ringup(t, "check", "--energise", "--yes").wantSays(t, exitDone, []string{"pass", "supply at 3.90 V"})
	})
}

// TestCheckLateOff has a supply that obeys, but only when it is told again and again: it is off, and nothing to rely on.
func TestCheckLateOff(t *testing.T) {
	t.Parallel()
	f := folder(t.TempDir())
	serveBench(t, f, "bench.toml", "--transport", "tcp", "--no-unit", "--ignore-off", "7")
	f.ringup(t, "check", "--energise", "--yes").wantSays(t, exitFailed, []string{"WRONG", "supply off", "it is off now", "sent 5 times", "do not leave this supply alone"})
	f.wantRefused(t, exitUsage, []string{"simbench", "--ignore-off", "-2"}, "--ignore-off -2", "-1 for all")
}
