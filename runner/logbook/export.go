package logbook

import (
	"database/sql"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
)

// ExportCSV writes the cycles of a run as RFC 4180 CSV with one header line.
// Quantities are in SI units as the names say, times are RFC 3339 in UTC with
// nanoseconds, and what was not measured is an empty field. Each further factor
// the script named and each phase of the cycle has a column of its own.
func (b *Book) ExportCSV(w io.Writer, run int64) error {
	if _, err := b.Run(run); err != nil {
		return err
	}
	t, err := b.table(run)
	if err != nil {
		return err
	}
	out := csv.NewWriter(w)
	out.UseCRLF = true
	var header []string
	for _, column := range t.columns(new(Cycle)) {
		header = append(header, column.name)
	}
	if err := out.Write(header); err != nil {
		return err
	}
	err = b.EachCycle(run, func(c Cycle) error {
		var record []string
		for _, column := range t.columns(&c) {
			record = append(record, column.text())
		}
		return out.Write(record)
	})
	if err != nil {
		return err
	}
	out.Flush()
	return out.Error()
}

// table lays a run's cycles out flat: each further factor and each phase that
// occurs in the run has a column.
type table struct{ factors, phases []string }

func (b *Book) table(run int64) (t table, err error) {
	if t.factors, err = b.keysOf("factors", run); err != nil {
		return t, err
	}
	t.phases, err = b.keysOf("phases", run)
	return t, err
}

// columns are all of a cycle, in the order in which every table shows them.
func (t table) columns(c *Cycle) []column {
	shown := []column{{"run", new(int(c.Run))}}
	for _, column := range c.columns() {
		if column.name == "factors" || column.name == "phases" { // maps, laid out below
			continue
		}
		shown = append(shown, column)
		if column.name == "verdict" {
			shown = append(shown, derived(c)...)
		}
	}
	for _, name := range t.factors {
		var factor *string
		if value, ok := c.Factors[name]; ok {
			factor = &value
		}
		shown = append(shown, column{"factor_" + name, &factor})
	}
	for _, name := range t.phases {
		seconds, ok := c.Phases[name]
		if !ok {
			seconds = math.NaN()
		}
		shown = append(shown, column{"phase_" + name + "_seconds", &seconds})
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
