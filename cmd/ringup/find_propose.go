package main

import (
	"fmt"
	"slices"
	"strings"
)

// propose words a bench file for what was found. What only the unit's owner can know is left empty, which the bench
// file's check refuses with line and column: a limit must not be guessed.
func propose(all []*instrument) string {
	var b strings.Builder
	b.WriteString(`# Proposed by ringup find. What is empty is yours to fill in; ringup check lists it.

[unit]
name      = ""  # the unit under test
clock     = ""  # the frequency its clock should have, like "7.3728 MHz"
max_volts = ""  # what the unit can bear, like "3.9 V"; nothing exceeds it
max_amps  = ""  # what it may draw, like "150 mA": the supply's current limit

`)
	found := func(role string) bool {
		return slices.ContainsFunc(all, func(i *instrument) bool { return i.Role == role })
	}
	if found("switch") && !found("supply") {
		b.WriteString(`[supply]
set_by_hand = ""  # the voltage to which the supply is set, like "3.6 V": the relay below only switches it

` + proposeTable("switch", all))
	} else {
		b.WriteString(proposeTable("supply", all))
	}
	b.WriteString(proposeTable("scope", all) + proposeTable("thermometer", all))
	b.WriteString(`[probes.rail]      # on the unit's supply rail; the scope triggers on it
channel     = 1
attenuation = 10   # as the probe's body says

[probes.clock]
channel     = 2
attenuation = 10
loads       = "crystal output"   # or "crystal input", "buffered", "near field"

[expect]
start_within  = ""  # a start that takes longer is late, like "65 ms"
amplitude_min = ""  # least peak amplitude of a running clock, like "0.8 V" or "25 %"
`)
	return b.String()
}

// proposeTable is the table of one role: the first instrument found for it, and the others as comments. A thermometer
// may be missing.
func proposeTable(role string, all []*instrument) string {
	var lines []string
	for _, i := range all {
		if i.Role != role {
			continue
		}
		line := fmt.Sprintf("address = %q  # %s", i.Address, i.Identity)
		if len(lines) > 0 {
			line = "# or: " + line
		}
		lines = append(lines, line)
	}
	if len(lines) == 0 && role == "thermometer" {
		return ""
	}
	if len(lines) == 0 {
		lines = []string{fmt.Sprintf("address = \"\"  # no %s was found", role)}
	}
	return fmt.Sprintf("[%s]\n%s\n\n", role, strings.Join(lines, "\n"))
}
