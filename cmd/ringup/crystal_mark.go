package main

import (
	"fmt"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"ringup/runner/crystal"
	"ringup/runner/crystal/marking"
)

func newCrystalMark(io streams, o *options) *cobra.Command {
	c := &cobra.Command{
		Use: "mark MARKING …", Short: "read what is printed on a resistor or capacitor", Args: cobra.MinimumNArgs(1),
		Long: `Says what a marking means: digits and a power of ten (106, 4992), a letter in place of the
decimal point (4R7, 4k7, p47), EIA-96 (01C), tolerance letters (104K). A marking that can be
read in more than one way is shown in every way: look at the part, or measure it.`,
		Example: "  ringup crystal mark 106\n  ringup crystal mark 270J 01C 4R7 --json",
		RunE: func(_ *cobra.Command, args []string) error {
			all := map[string][]marking.Reading{}
			for _, mark := range args {
				readings, err := marking.Read(mark)
				if err != nil {
					return usage{err}
				}
				all[mark] = readings
			}
			if o.json {
				return printJSON(io.out, all)
			}
			t := tabwriter.NewWriter(io.out, 0, 0, 2, ' ', 0)
			for i, mark := range args {
				if slices.Index(args, mark) < i {
					continue
				}
				for _, r := range all[mark] {
					value := crystal.FormatSI(r.Value, r.Unit)
					if r.Value == 0 {
						value = "0 ohm (link)"
					}
					fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\n", mark, r.Kind, value, r.Tolerance, r.Code)
				}
			}
			if err := t.Flush(); err != nil {
				return err
			}
			if unclear := ambiguous(args, all); len(unclear) > 0 {
				fmt.Fprintf(io.out, "\nMore than one reading for %s: see what kind of part it is, and measure it if in doubt.\n", strings.Join(unclear, ", "))
			}
			return nil
		},
	}
	jsonFlag(c, o)
	return c
}

func ambiguous(marks []string, all map[string][]marking.Reading) []string {
	var unclear []string
	for _, m := range marks {
		if len(all[m]) > 1 && !slices.Contains(unclear, m) {
			unclear = append(unclear, m)
		}
	}
	return unclear
}
