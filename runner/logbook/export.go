package logbook

import (
	"database/sql"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
)

// ExportCSV writes the cycles of a run as RFC 4180 CSV with one header line.
// Quantities are in SI units as the names say, times are RFC 3339 in UTC with
// nanoseconds, and what was not measured is an empty field. Each further factor
// the script named and each phase of the cycle has a column of its own.
func (b *Book) ExportCSV(w io.Writer, run int64) error {
	if _, err := b.Run(run); err != nil {
		return err
	}
	factors, err := b.keysOf("factors", run)
	if err != nil {
		return err
	}
	phases, err := b.keysOf("phases", run)
	if err != nil {
		return err
	}
	out := csv.NewWriter(w)
	out.UseCRLF = true
	header := []string{"run"}
	for _, column := range exported(new(Cycle)) {
		header = append(header, column.name)
	}
	for _, name := range factors {
		header = append(header, "factor_"+name)
	}
	for _, name := range phases {
		header = append(header, "phase_"+name+"_seconds")
	}
	if err := out.Write(header); err != nil {
		return err
	}
	err = b.EachCycle(run, func(c Cycle) error {
		record := []string{fmt.Sprint(run)}
		for _, column := range exported(&c) {
			record = append(record, column.text())
		}
		for _, name := range factors {
			record = append(record, c.Factors[name])
		}
		for _, name := range phases {
			field := ""
			if seconds, ok := c.Phases[name]; ok {
				field = column{at: &seconds}.text()
			}
			record = append(record, field)
		}
		return out.Write(record)
	})
	if err != nil {
		return err
	}
	out.Flush()
	return out.Error()
}

// exported is what CSV shows of a cycle: all but the two columns that hold maps.
func exported(c *Cycle) []column {
	var shown []column
	for _, column := range c.columns() {
		if column.name == "factors" || column.name == "phases" {
			continue
		}
		shown = append(shown, column)
		if column.name == "verdict" {
			shown = append(shown, derived(c)...)
		}
	}
	return shown
}

// keysOf gives the names that occur in a column of maps, sorted.
func (b *Book) keysOf(name string, run int64) ([]string, error) {
	keys, err := query(b.read, func(rows *sql.Rows) (key string, err error) {
		err = rows.Scan(&key)
		return key, err
	}, `SELECT DISTINCT key FROM cycle, json_each(cycle.`+name+`) WHERE run = ? ORDER BY key`, run)
	if err != nil {
		return nil, b.fail("read "+name, err)
	}
	return keys, nil
}

// ExportJSONLines writes a run as one JSON object a line: the run, its marks, its
// cycles, told apart by the key "record". Keys are those of the CSV export; what
// was not measured is null.
func (b *Book) ExportJSONLines(w io.Writer, run int64) error {
	r, err := b.Run(run)
	if err != nil {
		return err
	}
	marks, err := b.Marks(run)
	if err != nil {
		return err
	}
	if err := writeLine(w, "run", r); err != nil {
		return err
	}
	for _, m := range marks {
		if err := writeLine(w, "mark", m); err != nil {
			return err
		}
	}
	return b.EachCycle(run, func(c Cycle) error { return writeLine(w, "cycle", c) })
}

// writeLine writes value, which words itself as a JSON object, with its kind in front.
func writeLine(w io.Writer, kind string, value any) error {
	object, err := json.Marshal(value)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(w, "{\"record\":%q,%s\n", kind, object[1:])
	return err
}
