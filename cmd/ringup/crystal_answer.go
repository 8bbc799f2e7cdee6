package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"

	"ringup/runner/crystal"
	"ringup/runner/crystal/marking"
)

// coldCelsius is the temperature that supply limits are told for besides the one asked for.
const coldCelsius = -20

// print says everything about one circuit, the choice of capacitors first.
func (k *calculator) print(w io.Writer, c crystal.Circuit) {
	a := c.Analyse()
	k.printInputs(w, c)
	k.printFitted(w, c, a)
	k.printSafe(w, c)
	k.printSupply(w, c)
	printTimeout(w, c, a)
	printProbes(w, c)
	printFaults(w, c)
	printWarnings(w, a)
}

func (k *calculator) printInputs(w io.Writer, c crystal.Circuit) {
	fmt.Fprintf(w, "Pierce oscillator, %s, at %s and %.3g °C\n", crystal.FormatSI(c.Hertz, "Hz"), crystal.FormatSI(c.SupplyVolts, "V"), c.Celsius)
	var values, derived, assumed []string
	for _, s := range crystal.Symbols() {
		text := valueOf(c, s.Name)
		switch {
		case slices.Contains(k.given, s.Name):
			values = append(values, text)
		case slices.Contains(c.Assumed, s.Name):
			assumed = append(assumed, text)
		case !unsaid(c, s.Name):
			derived = append(derived, text)
		}
	}
	from := " (the sound river-level logger's)"
	if k.typical != "" {
		from = " (typical for " + k.typical + ")"
	}
	for _, line := range []struct {
		what  string
		texts []string
		after string
	}{{"given    ", values, ""}, {"so       ", derived, ""}, {"assumed  ", assumed, from}} {
		if len(line.texts) > 0 {
			paragraph(w, line.what, strings.Join(line.texts, ", ")+line.after)
		}
	}
}

// unsaid is what is no news where nobody gave it: what follows from other values, and parts that are absent.
func unsaid(c crystal.Circuit, name string) bool {
	v := c.Value(name)
	return name == "fs" || name == "L1" || name == "Q" || math.IsInf(v, 1) || v == 0
}

func valueOf(c crystal.Circuit, name string) string {
	s, _ := crystal.LookupSymbol(name)
	text := name + " = " + strings.Replace(crystal.FormatSI(c.Value(name), s.Unit), "degC", "°C", 1)
	return strings.ReplaceAll(text, " ", noBreak)
}

func (k *calculator) printFitted(w io.Writer, c crystal.Circuit, a crystal.Analysis) {
	heading(w, "As fitted")
	margins := fmt.Sprintf("gain margin %s at %s", times(a.GainMargin), volts(c.SupplyVolts))
	if k.flatVolts > 0 {
		margins += fmt.Sprintf(", %s at %s", times(c.At(k.flatVolts, c.Celsius).Analyse().GainMargin), volts(k.flatVolts))
	}
	paragraph(w, "  ", fmt.Sprintf("%s: load %.2f pF, %+.1f ppm, %s.", capacitors(c), 1e12*a.LoadFarads, a.PullingPPM, margins))
	if a.NegativeOhms < 0 {
		paragraph(w, "  ", fmt.Sprintf("The circuit has no negative resistance: it adds %s of loss to the crystal's %s. It cannot start.", resistance(-a.NegativeOhms), resistance(c.Crystal.R1)))
		return
	}
	text := fmt.Sprintf("Negative resistance %s against the crystal's %s: resistance margin %s.", resistance(a.NegativeOhms), resistance(c.Crystal.R1), times(a.ResistanceMargin))
	if a.InsertOhms > 0 {
		text += fmt.Sprintf(" At the crystal's pins it is %s: %s in series there just stop it.", resistance(a.TerminalOhms), resistance(a.InsertOhms))
	}
	paragraph(w, "  ", text)
	least := "no gm starts it"
	if !math.IsNaN(a.CriticalGm.Low) {
		least = "at least " + round3(a.CriticalGm.Low, "S") + " is needed"
	}
	if !math.IsInf(a.CriticalGm.High, 1) && !math.IsNaN(a.CriticalGm.High) {
		least += ", at most " + round3(a.CriticalGm.High, "S") + " is of use"
	}
	paragraph(w, "  ", fmt.Sprintf("gm is %s; %s (the textbook's 4·R1·ω²·(C0+CL)² says %s: it sees no loss but R1).",
		round3(a.Stage.Gm, "S"), least, round3(a.TextbookGm, "S")))
	if !a.Starts || math.IsInf(a.StartSeconds, 1) {
		paragraph(w, "  ", "It does not start.")
		return
	}
	late := "in time"
	if !a.InTime {
		late = "too late"
	}
	paragraph(w, "  ", fmt.Sprintf("Start: grows e-fold in %s, half of the starts reach 90 %% of the amplitude within %s (90 of 100 between %s and %s); usable clock after %s, %s for the firmware's %s. Drive %s.",
		round3(a.GrowthSeconds, "s"), round3(a.Start50Seconds, "s"), round3(a.Start5Seconds, "s"), round3(a.Start95Seconds, "s"),
		round3(a.ClockSeconds, "s"), late, round3(c.TimeoutSeconds, "s"), round3(a.DriveWatts, "W")))
}

// printSafe says which capacitors may be fitted, or why none.
func (k *calculator) printSafe(w io.Writer, c crystal.Circuit) {
	heading(w, "Safe to fit")
	fmt.Fprintf(w, "  CA = CB, gain margin at least %g, within ±%.3g ppm\n", k.margin, k.withinPPM)
	r := c.SafeRange(k.margin, k.withinPPM)
	k.printRange(w, c.SupplyVolts, r)
	if !math.IsNaN(r.ZeroFarads) {
		paragraph(w, "  ", fmt.Sprintf("No error at %.1f pF; nearest to buy: %s of E24, %s of E12.", 1e12*r.ZeroFarads,
			crystal.FormatSI(marking.Nearest(marking.E24, r.ZeroFarads), "F"), crystal.FormatSI(marking.Nearest(marking.E12, r.ZeroFarads), "F")))
	}
	if k.flatVolts > 0 {
		k.printRange(w, k.flatVolts, c.At(k.flatVolts, c.Celsius).SafeRange(k.margin, k.withinPPM))
	}
	if limit := k.crystalLimit(c); limit > 0 {
		worst := c
		worst.Crystal.R1 = limit
		if at := worst.SafeRange(k.margin, k.withinPPM); at.OK {
			paragraph(w, "  ", fmt.Sprintf("With a crystal at %s, the limit of its data sheet: %.1f to %.1f pF at %s.", resistance(limit), 1e12*at.LowFarads, 1e12*at.HighFarads, volts(c.SupplyVolts)))
		} else {
			paragraph(w, "  ", fmt.Sprintf("With a crystal at %s, the limit of its data sheet: none at %s. %s.", resistance(limit), volts(c.SupplyVolts), sentence(at.Reason)))
		}
	}
}

// crystalLimit is the river-level logger's crystal at its data-sheet limit, where the crystal is assumed; 0 otherwise.
func (k *calculator) crystalLimit(c crystal.Circuit) float64 {
	const loggerLimit = 60
	if k.typical == "" && slices.Contains(c.Assumed, "R1") {
		return loggerLimit
	}
	return 0
}

func (k *calculator) printRange(w io.Writer, supply float64, r crystal.SafeRange) {
	if !r.OK {
		paragraph(w, "  ", fmt.Sprintf("at %s: none. %s.", volts(supply), sentence(r.Reason)))
		return
	}
	paragraph(w, "  ", fmt.Sprintf("at %s: %.1f to %.1f pF; E24: %s; E12: %s.", volts(supply), 1e12*r.LowFarads, 1e12*r.HighFarads,
		picofarads(marking.Between(marking.E24, r.LowFarads, r.HighFarads)), picofarads(marking.Between(marking.E12, r.LowFarads, r.HighFarads))))
}

func (k *calculator) printSupply(w io.Writer, c crystal.Circuit) {
	heading(w, "Supply")
	if _, err := c.LowestStart(); err != nil {
		paragraph(w, "  ", err.Error()+".")
		return
	}
	say := func(what string, limit func(crystal.Circuit) (float64, error)) {
		here, err := limit(c)
		if err != nil {
			paragraph(w, "  ", what+": "+err.Error()+".")
			return
		}
		text := fmt.Sprintf("%s: %s at %.3g °C", what, voltsOrNone(here), c.Celsius)
		if c.Celsius != coldCelsius {
			cold, _ := limit(c.At(c.SupplyVolts, coldCelsius))
			text += fmt.Sprintf(", %s at %d °C", voltsOrNone(cold), coldCelsius)
		}
		paragraph(w, "  ", text+".")
	}
	say(fmt.Sprintf("Lowest with gain margin %g", k.margin), func(c crystal.Circuit) (float64, error) { return c.LowestSupply(k.margin) })
	say("Lowest that starts within the time-out", crystal.Circuit.LowestStart)
	say("A clock that runs holds down to", crystal.Circuit.HoldVolts)
}

func printTimeout(w io.Writer, c crystal.Circuit, a crystal.Analysis) {
	heading(w, "Time-out")
	paragraph(w, "  ", fmt.Sprintf("%s cost %s: to be in time the negative resistance must be %s, not %s.",
		round3(c.TimeoutSeconds, "s"), resistance(a.TimeoutOhms), resistance(c.Crystal.R1+a.TimeoutOhms), resistance(c.Crystal.R1)))
}

func printProbes(w io.Writer, c crystal.Circuit) {
	heading(w, "A probe on a crystal pin")
	if bare := c.Net; bare.CpA > 0 || bare.CpB > 0 {
		paragraph(w, "  ", "The values given have a probe in the circuit already; these replace it at their node.")
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, e := range c.ProbeEffects() {
		does := "starts"
		switch {
		case math.IsInf(e.StopsBelowVolts, 1):
			does = "stops the clock at any supply"
		case !e.Starts:
			does = "stops the clock"
		}
		if e.StopsBelowVolts > 0 && !math.IsInf(e.StopsBelowVolts, 1) {
			does += fmt.Sprintf("; needs %s", volts(e.StopsBelowVolts))
		}
		fmt.Fprintf(t, "  %s at %s\t%s, %s\t%+.0f ppm\tmargin %s → %s\t%s\n", e.Name, e.Probe.Node,
			crystal.FormatSI(e.Probe.Farads, "F"), crystal.FormatSI(e.Probe.Ohms, "ohm"), e.PPM, times(e.GainMarginBare), times(e.GainMargin), does)
	}
	t.Flush()
}

func printFaults(w io.Writer, c crystal.Circuit) {
	heading(w, fmt.Sprintf("Single faults that keep it from starting in time, at %s", volts(c.SupplyVolts)))
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, f := range c.FaultLimits() {
		limit := "none within reason"
		switch {
		case math.IsNaN(f.Start):
		case !math.IsNaN(f.Again):
			limit = fmt.Sprintf("between %s and %s (above, the capacitor is simply gone)", resistance(f.Start), resistance(f.Again))
		case f.HighIsBad:
			limit = "above " + resistance(f.Start)
		default:
			limit = "below " + resistance(f.Start)
		}
		fmt.Fprintf(t, "  %s\t%s\t%s\n", f.Fault, f.Symbol, limit)
	}
	t.Flush()
}

// printWarnings says where the numbers mislead.
func printWarnings(w io.Writer, a crystal.Analysis) {
	if a.Stage.Gm > a.OptimumGm/2 {
		heading(w, "Warning")
		paragraph(w, "  ", fmt.Sprintf("gm is more than half of %s, beyond which more gm makes the negative resistance smaller: the gain margin flatters, go by the resistance margin.",
			round3(a.OptimumGm, "S")))
	}
}

func heading(w io.Writer, text string) { fmt.Fprintf(w, "\n%s\n", text) }

// noBreak is a blank at which paragraph does not break a line.
const noBreak = "\u00a0"

// paragraph prints text broken at blanks to some 96 columns, indented under its first line.
func paragraph(w io.Writer, indent, text string) {
	const columns = 96
	line := indent
	empty := true
	for _, word := range strings.Split(text, " ") {
		if !empty && len([]rune(line))+1+len([]rune(word)) > columns {
			fmt.Fprintln(w, strings.ReplaceAll(line, noBreak, " "))
			line, empty = strings.Repeat(" ", len([]rune(indent))), true
		}
		if !empty {
			line += " "
		}
		line += word
		empty = false
	}
	fmt.Fprintln(w, strings.ReplaceAll(line, noBreak, " "))
}

func capacitors(c crystal.Circuit) string {
	if c.Net.CA == c.Net.CB {
		return "CA = CB = " + crystal.FormatSI(c.Net.CA, "F")
	}
	return "CA = " + crystal.FormatSI(c.Net.CA, "F") + ", CB = " + crystal.FormatSI(c.Net.CB, "F")
}

func times(ratio float64) string {
	if ratio >= 99.95 {
		return fmt.Sprintf("%.0f", ratio)
	}
	return fmt.Sprintf("%.1f", ratio)
}

func volts(v float64) string { return fmt.Sprintf("%.2f V", v) }

func voltsOrNone(v float64) string {
	if math.IsNaN(v) {
		return "none up to 6 V"
	}
	return volts(v)
}

func resistance(ohms float64) string { return round3(ohms, "ohm") }

func picofarads(farads []float64) string {
	if len(farads) == 0 {
		return "none"
	}
	var texts []string
	for _, f := range farads {
		texts = append(texts, fmt.Sprintf("%.3g", 1e12*f))
	}
	return strings.Join(texts, ", ") + " pF"
}

// sentence begins a text with a capital.
func sentence(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:]
}
