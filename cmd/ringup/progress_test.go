package main

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

// TestProgressFits holds the progress line to the width of a terminal: a line that wraps cannot be written over.
func TestProgressFits(t *testing.T) {
	at := time.Date(2026, 1, 14, 18, 33, 0, 0, time.UTC)
	c := failrate.Condition{Volts: 2.2, Cycles: 200, Failures: 23}
	c.Estimate, c.Low, c.High, c.Confidence = 0.115, 0.0744, 0.1675, 0.95
	e := runner.Event{
		At: at, Cycle: logbook.Cycle{SetVolts: 2.2, Judgement: verdict.Judgement{Verdict: verdict.Started}},
		Progress: runner.Progress{Done: 1101, Planned: 1200, ExpectedEnd: at.Add(11*time.Hour + 27*time.Minute), Conditions: []failrate.Condition{c}},
	}
	for width, want := range map[int][]string{
		200: {"1101 of 1200 cycles", "11 h 27 min left", "ends Thu 06:00", "2.20 V: started", "23 of 200 failed", "7.4 % to 16.8 %"},
		80:  {"18:33", "1101 of 1200", "ends Thu 06:00", "2.20 V: 23 of 200 failed", "7.4 % to 16.8 %"},
		40:  {"18:33", "1101 of 1200", "ends Thu 06:00"},
		12:  {"18:33"},
		1:   {},
	} {
		got := fitting(progressLines(e), width)
		if utf8.RuneCountInString(got) >= width {
			t.Errorf("%d columns: %q does not leave the last one free", width, got)
		}
		for _, part := range want {
			if !strings.Contains(got, part) {
				t.Errorf("%d columns: no %q in %q", width, part, got)
			}
		}
	}
	e.Progress.ExpectedEnd = at.Add(40 * 24 * time.Hour)
	if got := progressLines(e)[0]; !strings.Contains(got, "ends Mon 23 Feb 18:33") {
		t.Errorf("an end in 40 days is worded %q", got)
	}
}

// TestProgressInAFile: what a night leaves in a file is lines, without a terminal's control characters.
func TestProgressInAFile(t *testing.T) {
	t.Parallel()
	f := newFolder(t, twoSoaks)
	o := f.ringup(t, "run", "night.lua", "--listen", "none")
	if o.status != exitDone || strings.ContainsAny(o.out+o.err, "\r\x1b") {
		t.Errorf("exit status %d\n%q\n%q", o.status, o.out, o.err)
	}
}
