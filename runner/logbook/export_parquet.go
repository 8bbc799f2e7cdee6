package logbook

import (
	"bytes"
	"encoding/json"
	"io"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/parquet-go/parquet-go"
)

// parquetRows is how many cycles a row group of a Parquet file holds. As many are
// in memory at once, about a kilobyte each.
const parquetRows = 1 << 14

// ExportParquet writes the cycles of a run as one Apache Parquet file: the columns
// of the CSV export in their order. Whole numbers are INT64, quantities DOUBLE,
// moments TIMESTAMP of nanoseconds in UTC, texts STRING; what was not measured is
// NULL. The key-value metadata are the run, key by key as the JSON export has it,
// and its marks as a JSON array under "marks".
//
// The file is whole only if nil is returned: its table of contents comes last.
func (b *Book) ExportParquet(w io.Writer, run int64) error {
	return b.exportParquet(w, run, parquetRows)
}

func (b *Book) exportParquet(w io.Writer, run, rows int64) error {
	r, err := b.Run(run)
	if err != nil {
		return err
	}
	t, err := b.table(run)
	if err != nil {
		return err
	}
	marks, err := b.Marks(run)
	if err != nil {
		return err
	}
	metadata, err := parquetMetadata(r, marks)
	if err != nil {
		return err
	}
	out := parquet.NewGenericWriter[any](w, &parquet.WriterConfig{
		Schema: parquetSchema(t.columns(new(Cycle))), KeyValueMetadata: metadata,
		Compression: &parquet.Snappy, MaxRowsPerRowGroup: rows,
	})
	err = b.EachCycle(run, func(c Cycle) error {
		var row parquet.Row
		for i, column := range t.columns(&c) {
			value, level := column.parquetValue(), 0
			if column.nullable() && !value.IsNull() {
				level = 1
			}
			row = append(row, value.Level(0, level, i))
		}
		_, err := out.WriteRows([]parquet.Row{row})
		return err
	})
	if err != nil {
		return err
	}
	return out.Close()
}

// parquetMetadata words the run's keys, and its marks, as text.
func parquetMetadata(r Run, marks []Mark) (map[string]string, error) {
	text, err := json.Marshal(r)
	if err != nil {
		return nil, err
	}
	var keys map[string]any
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.UseNumber() // a seed has more digits than a float64
	if err := decoder.Decode(&keys); err != nil {
		return nil, err
	}
	keys["marks"] = append([]Mark{}, marks...) // none are [], not null
	metadata := map[string]string{}
	for key, value := range keys {
		plain, ok := value.(string)
		if !ok {
			text, err := json.Marshal(value)
			if err != nil {
				return nil, err
			}
			plain = string(text)
		}
		metadata[key] = plain
	}
	return metadata, nil
}

// parquetTable is a group of columns that keep their order, which a
// [parquet.Group] would sort by name.
type parquetTable struct {
	parquet.Group
	order []string
}

func parquetSchema(columns []column) *parquet.Schema {
	t := parquetTable{Group: parquet.Group{}}
	for _, c := range columns {
		t.Group[c.name] = c.parquetNode()
		t.order = append(t.order, c.name)
	}
	return parquet.NewSchema("cycle", t)
}

func (t parquetTable) Fields() []parquet.Field {
	fields := t.Group.Fields()
	slices.SortFunc(fields, func(a, b parquet.Field) int {
		return slices.Index(t.order, a.Name()) - slices.Index(t.order, b.Name())
	})
	return fields
}

// GoType is of no struct: a factor's name may hold what no field tag can.
func (t parquetTable) GoType() reflect.Type { return reflect.TypeFor[any]() }

// nullable says whether the column may lack a value.
func (c column) nullable() bool {
	switch c.at.(type) {
	case *float64, *time.Time, **string:
		return true
	}
	return false
}

// parquetNode is the column's type in a Parquet file.
func (c column) parquetNode() parquet.Node {
	node := parquet.String()
	switch c.at.(type) {
	case *float64:
		node = parquet.Leaf(parquet.DoubleType)
	case *time.Time:
		node = parquet.Timestamp(parquet.Nanosecond)
	case *int:
		node = parquet.Int(64)
	case *bool:
		node = parquet.Leaf(parquet.BooleanType)
	}
	if c.nullable() {
		return parquet.Optional(node)
	}
	return node
}

// parquetValue is the column's value in a Parquet file.
func (c column) parquetValue() parquet.Value {
	switch v := c.at.(type) {
	case *float64:
		if number(*v) == nil {
			return parquet.NullValue()
		}
		return parquet.DoubleValue(*v)
	case *time.Time:
		if v.IsZero() {
			return parquet.NullValue()
		}
		return parquet.Int64Value(v.UnixNano())
	case *int:
		return parquet.Int64Value(int64(*v))
	case *bool:
		return parquet.BooleanValue(*v)
	case **string:
		if *v == nil {
			return parquet.NullValue()
		}
	}
	// A STRING is UTF-8; what a script or an instrument said need not be.
	return parquet.ByteArrayValue([]byte(strings.ToValidUTF8(c.text(), "\uFFFD")))
}
