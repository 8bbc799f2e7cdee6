package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// TestCrystalReadme lives through the README's section: every line that it shows of ringup crystal is printed, in order.
func TestCrystalReadme(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	shown := 0
	blocks := strings.Split(string(text), "\n```\n")
	for _, block := range blocks {
		command, lines, _ := strings.Cut(block, "\n")
		arguments, ok := strings.CutPrefix(command, "$ ringup crystal")
		if !ok {
			continue
		}
		shown++
		arguments = strings.Replace(arguments, "chart.svg", filepath.Join(t.TempDir(), "chart.svg"), 1)
		o := say(t, append([]string{"crystal"}, strings.Fields(arguments)...)...)
		if o.status != exitDone {
			t.Errorf("%s: exit status %d\n%s", command, o.status, o.err)
			continue
		}
		printed := strings.Split(o.out, "\n")
		for line := range strings.SplitSeq(lines, "\n") {
			if line == "…" {
				continue
			}
			at := slices.Index(printed, line)
			if at < 0 {
				t.Errorf("%s does not print, at its place,\n%s", command, line)
				continue
			}
			printed = printed[at+1:]
		}
	}
	if shown < 3 {
		t.Errorf("the README shows %d calls of ringup crystal, want at least 3", shown)
	}
}
