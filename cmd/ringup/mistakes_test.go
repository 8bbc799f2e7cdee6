package main

import (
	"strings"
	"testing"

	"ringup/runner"
)

func TestBadFiles(t *testing.T) {
	t.Parallel()
	run := []string{"run", "night.lua", "--listen", "none"}
	t.Run("every mistake of a bench file is listed", func(t *testing.T) {
		t.Parallel()
		f := newFolder(t, "cycle { volts = 3.6 }\n")
		f.write(t, "bench.toml", strings.NewReplacer(
			`"3.9 V"`, `"3.9 A"`, // line 6
			`"sim:scope"`, `"sim:scope"`+"\n"+`adress = "again"`, // line 13
			`"near field"`, `"nearby"`,
		).Replace(demoBench))
		f.wantRefused(t, exitUsage, run, "bench.toml:6:", "bench.toml:14:1: ", "adress", "nearby")
	})
	t.Run("there is no bench file", func(t *testing.T) {
		t.Parallel()
		newFolder(t, "").wantRefused(t, exitUsage, append(run, "-b", "other.toml"), "other.toml", "-b")
	})
	t.Run("the syntax of a script", func(t *testing.T) {
		t.Parallel()
		newFolder(t, "cycle { volts = 3.6 }\nfor i = 1, 3 o\n").wantRefused(t, exitUsage, run, "night.lua:2: ")
	})
	t.Run("an address that does not open", func(t *testing.T) {
		t.Parallel()
		f := newFolder(t, "cycle { volts = 3.6 }\n")
		text, _, _ := strings.Cut(demoBench, "[simulation]")
		for _, role := range []string{"supply", "scope", "thermometer"} {
			text = strings.ReplaceAll(text, "sim:"+role, "tcp:"+freePort(t))
		}
		f.write(t, "bench.toml", text)
		f.wantRefused(t, exitFailed, run, "bench.toml:10:", "supply")
	})
}

// TestBadScripts runs scripts that compile and are wrong all the same: each must say where, and fail its run.
func TestBadScripts(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		script string
		cycles int
		says   []string
	}{
		"an unknown option": {"soak { volts = { 3.6 }, cycles = 2, reps = 3 }", 0, []string{"night.lua:1: ", "reps"}},
		"too many volts":    {"local v = 5.5\ncycle { volts = v }", 0, []string{"night.lua:2: ", "5.5", "3.9"}},
		"too many volts in a soak": {
			"soak { volts = { 3.6, 5.5 }, cycles = 2 }", 0, []string{"night.lua:1: ", "5.5", "3.9"},
		},
		"an error of its own": {"cycle { volts = 3.6 }\nerror('no lamp')", 1, []string{"night.lua:2: no lamp"}},
		"a memory bomb": {
			"local hoard = {}\ncycle { volts = 3.6 }\nwhile true do hoard[#hoard + 1] = string.rep('x', 1e6) .. #hoard end",
			1, []string{"night.lua:2: ", "MiB"},
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := newFolder(t, c.script+"\n")
			f.wantRefused(t, exitFailed, []string{"run", "night.lua", "--listen", "none"}, c.says...)
			s := decode[runner.Summary](t, f.must(t, "show", "--json"))
			if s.State != "failed" || s.Cycles != c.cycles || !strings.Contains(s.Reason, "night.lua:") {
				t.Errorf("the run is %s with %d cycles (%s), want failed with %d and the line", s.State, s.Cycles, s.Reason, c.cycles)
			}
			f.wantSound(t)
		})
	}
}
