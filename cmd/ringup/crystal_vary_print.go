package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"ringup/runner/crystal"
)

// row is one value of the variation as it is printed.
type row struct {
	value          float64
	analysis       crystal.Analysis
	margin, second float64 // gain margins as given and for the second variant; NaN if there is none
	note           string
}

// print gives the table of the variation and a small chart of its gain margins.
func (v *variation) print(w io.Writer) {
	v.k.printInputs(w, v.base)
	variants := v.variants()
	second := -1
	if len(variants) > 1 {
		second = 1
	}
	var rows []row
	for _, x := range v.rows() {
		c, err := v.at(x)
		if err != nil {
			continue // between two good ends, as where C0 and C1 meet
		}
		a := c.Analyse()
		r := row{value: x, analysis: a, margin: a.GainMargin, second: math.NaN(), note: v.k.judged(a)}
		if second > 0 {
			r.second = variants[second].change(c).Analyse().GainMargin
		}
		if math.Abs(x/v.fitted()-1) < 1e-9 {
			r.note += " (as given)"
		}
		rows = append(rows, r)
	}
	fmt.Fprintf(w, "\n%s from %s to %s; wanted: gain margin at least %g, frequency within ±%.3g ppm\n\n", v.names(),
		v.format(v.low), v.format(v.high), v.k.margin, v.k.withinPPM)
	head := []string{v.names(), "load pF", "ppm", variants[0].column}
	if second > 0 {
		head = append(head, variants[second].column)
	}
	printRows(w, append(head, "-R ohm", "-R/R1", "start ms", "drive uW"), rows, v.format)
	key := "█ " + variants[0].name
	if second > 0 {
		key = fmt.Sprintf("█ at both, ░ only at %s, ▒ only at %s", variants[0].name, variants[second].name)
	}
	fmt.Fprintf(w, "\ngain margin (%s, │ wanted %g)\n", key, v.k.margin)
	printBars(w, rows, v.k.margin, v.format)
	if v.loads() {
		fmt.Fprintln(w)
		v.k.printRange(w, v.base.SupplyVolts, v.base.SafeRange(v.k.margin, v.k.withinPPM))
		if v.k.flatVolts > 0 {
			v.k.printRange(w, v.k.flatVolts, v.base.At(v.k.flatVolts, v.base.Celsius).SafeRange(v.k.margin, v.k.withinPPM))
		}
	}
}

// printRows aligns the numbers to the right and the verdicts, after them, to the left.
func printRows(w io.Writer, head []string, rows []row, format func(float64) string) {
	var table strings.Builder
	t := tabwriter.NewWriter(&table, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, strings.Join(head, "\t")+"\t")
	for _, r := range rows {
		a := r.analysis
		cells := []string{format(r.value), fmt.Sprintf("%.2f", 1e12*a.LoadFarads), fmt.Sprintf("%+.1f", a.PullingPPM), fmt.Sprintf("%.2f", r.margin)}
		if !math.IsNaN(r.second) {
			cells = append(cells, fmt.Sprintf("%.2f", r.second))
		}
		start, drive := "never", "none"
		if a.Starts && !math.IsInf(a.StartSeconds, 1) {
			start, drive = fmt.Sprintf("%.1f", 1e3*a.StartSeconds), fmt.Sprintf("%.3g", 1e6*a.DriveWatts)
		}
		cells = append(cells, fmt.Sprintf("%.0f", a.NegativeOhms), fmt.Sprintf("%.2f", a.ResistanceMargin), start, drive)
		fmt.Fprintln(t, strings.Join(cells, "\t")+"\t")
	}
	t.Flush()
	lines := strings.Split(strings.TrimRight(table.String(), "\n"), "\n")
	fmt.Fprintln(w, strings.TrimRight(lines[0], " "))
	for i, r := range rows {
		fmt.Fprintf(w, "%s  %s\n", lines[i+1], r.note)
	}
}

// printBars draws one bar a row: solid as far as both its gain margins reach, shaded as far as only one does. The
// wanted margin is a line down through all.
func printBars(w io.Writer, rows []row, wanted float64, format func(float64) string) {
	const columns = 60
	// More than four times what is wanted needs no more room.
	longest := wanted * 1.2
	for _, r := range rows {
		longest = max(longest, min(r.margin, 4*wanted))
		if !math.IsNaN(r.second) {
			longest = max(longest, min(r.second, 4*wanted))
		}
	}
	width := 0
	for _, r := range rows {
		width = max(width, len([]rune(format(r.value))))
	}
	column := func(margin float64) int {
		if math.IsNaN(margin) {
			return columns + 1 // no second margin: the bar is solid
		}
		return int(math.Round(margin / longest * columns))
	}
	limit := column(wanted)
	for _, r := range rows {
		var line strings.Builder
		for i := range columns + 1 {
			switch {
			case i == limit:
				line.WriteRune('│')
			case i < min(column(r.margin), column(r.second)):
				line.WriteRune('█')
			case i < column(r.margin):
				line.WriteRune('░')
			case i < column(r.second) && !math.IsNaN(r.second):
				line.WriteRune('▒')
			default:
				line.WriteRune(' ')
			}
		}
		text := strings.TrimRight(line.String(), " ")
		fmt.Fprintf(w, "  %*s %s%s %.1f\n", width, format(r.value), text, strings.Repeat(" ", max(0, columns+1-len([]rune(text)))), r.margin)
	}
}

// format writes a varied value.
func (v *variation) format(x float64) string {
	return strings.Replace(crystal.FormatSI(math.Round(x*1e18)/1e18, v.symbols[0].Unit), "degC", "°C", 1)
}
