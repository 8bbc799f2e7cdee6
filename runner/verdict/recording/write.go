package recording

import (
	"bufio"
	"fmt"
	"io"
	"strconv"

	"ringup/runner/verdict"
)

// Table is one table of a file of our own.
type Table struct {
	Name    string // envelope, steady or lamp
	Columns []Column
}

// Column is one channel of a table.
type Column struct {
	Name  string // rail, clock or lamp
	Trace verdict.Trace
}

// Write writes remarks ("key: value") and tables in the layout that [Read] takes.
// The channels of a table share their time axis. Voltages are written to the last
// bit, so the same verdict comes out.
func Write(to io.Writer, remarks []string, tables []Table) error {
	w := bufio.NewWriter(to)
	for _, r := range remarks {
		fmt.Fprintf(w, "# %s\n", r)
	}
	for _, t := range tables {
		if len(t.Columns) == 0 {
			continue
		}
		axis := t.Columns[0].Trace
		fmt.Fprintf(w, "# record: %s start_seconds=%s step_seconds=%s\n", t.Name, exact(axis.StartSeconds), exact(axis.StepSeconds))
		rows := 0
		for _, c := range t.Columns {
			rows = max(rows, len(c.Trace.Min))
			if v := c.Trace; v.Codes > 1 && v.HighVolts > v.LowVolts {
				fmt.Fprintf(w, "# channel: %s zero_v=%s code_v=%s", c.Name, exact(v.LowVolts), exact((v.HighVolts-v.LowVolts)/float64(v.Codes-1)))
				if v.Codes != 256 {
					fmt.Fprintf(w, " codes=%d", v.Codes)
				}
				w.WriteByte('\n')
			}
		}
		for i, c := range t.Columns {
			if i > 0 {
				w.WriteByte(',')
			}
			if plain(c.Trace) {
				fmt.Fprintf(w, "%s_v", c.Name)
			} else {
				fmt.Fprintf(w, "%s_min_v,%[1]s_max_v", c.Name)
			}
		}
		w.WriteByte('\n')
		for row := range rows {
			for i, c := range t.Columns {
				if i > 0 {
					w.WriteByte(',')
				}
				cell := func(v []float64) {
					if row < len(v) {
						w.WriteString(exact(v[row]))
					}
				}
				cell(c.Trace.Min)
				if !plain(c.Trace) {
					w.WriteByte(',')
					cell(c.Trace.Max)
				}
			}
			w.WriteByte('\n')
		}
	}
	return w.Flush()
}

// plain reports whether a trace holds samples rather than extremes.
func plain(t verdict.Trace) bool { return len(t.Min) > 0 && &t.Min[0] == &t.Max[0] }

func exact(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
