package logbook

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/file"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"
)

// TestParquetHoldsWhatCSVHolds reads a Parquet file with Apache Arrow, whose
// code shares nothing with the writer's, and compares every value with the CSV.
func TestParquetHoldsWhatCSVHolds(t *testing.T) {
	b := openBook(t)
	run := begin(t, b)
	addCycles(t, b, run, 1, 9)
	odd := sampleCycle(10)
	odd.Treatment, odd.Factors = "C7 = 12 pF, \"second try\"\nwarm, \xff at 20 °C", map[string]string{"angle, degrees": "", "a.b": "x"}
	odd.PoweredOn, odd.PoweredOff = time.Time{}, time.Time{}
	odd.SupplyAmps, odd.SetVolts, odd.Phases = math.Inf(1), math.Copysign(0, -1), map[string]float64{"fetch": math.SmallestNonzeroFloat64}
	odd.Disagree, odd.Warnings = true, []string{"the witnesses disagree: the lamp stays dark", "the rail sagged by 0.2 V"}
	record(t, b, run, odd)
	if err := b.AddMark(Mark{Run: run, At: night, Text: "C7 chilled", Kind: "treatment", AfterCycle: 7}); err != nil {
		t.Fatal(err)
	}

	var text, binary bytes.Buffer
	if err := b.ExportCSV(&text, run); err != nil {
		t.Fatal(err)
	}
	// The other reader has no way to say a byte that is no UTF-8.
	want, err := csv.NewReader(strings.NewReader(strings.ReplaceAll(text.String(), "\xff", "\uFFFD"))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if err := b.exportParquet(&binary, run, 4); err != nil {
		t.Fatal(err)
	}
	read, err := pqarrow.ReadTable(t.Context(), bytes.NewReader(binary.Bytes()), parquet.NewReaderProperties(nil), pqarrow.ArrowReadProperties{}, memory.DefaultAllocator)
	if err != nil {
		t.Fatal(err)
	}
	defer read.Release()
	if read.NumRows() != 10 || int(read.NumCols()) != len(want[0]) {
		t.Fatalf("%d rows and %d columns, the CSV has 10 and %d", read.NumRows(), read.NumCols(), len(want[0]))
	}
	missing := 0
	for i, name := range want[0] {
		column := read.Column(i)
		if column.Name() != name {
			t.Fatalf("column %d is %q, in the CSV %q", i, column.Name(), name)
		}
		if kind := arrowKind(name); column.DataType().String() != kind {
			t.Errorf("%s is %s, want %s", name, column.DataType(), kind)
		}
		row := 1
		for _, chunk := range column.Data().Chunks() {
			for j := range chunk.Len() {
				if got := asCSV(chunk, j); got != want[row][i] {
					t.Errorf("row %d: %s is %q, in the CSV %q", row, name, got, want[row][i])
				}
				if chunk.IsNull(j) {
					missing++
				}
				row++
			}
		}
	}
	// Cycle 7 did not start and has none of five measures; no cycle has a dropout or an ambient temperature. The odd one
	// has no moments of switching, no current, no side and not the two phases of the other nine, and those have neither
	// its two factors nor its phase.
	if want := 5 + 10*2 + 2 + 1 + 1 + 2 + 9*3; missing != want {
		t.Errorf("%d values are NULL, want %d", missing, want)
	}

	whole, err := file.NewParquetReader(bytes.NewReader(binary.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	defer whole.Close()
	if n := whole.NumRowGroups(); n != 3 {
		t.Errorf("%d row groups, want 4 + 4 + 2 cycles", n)
	}
	for key, want := range map[string]string{
		"run": "1", "unit": "river-level logger 0231", "zone": "Europe/Berlin", "version": "0.1.0", "simulated": "true", "accepted": "null",
		"seed": "18446744073709551610", "script_text": "soak { volts = { 3.6 } }\n", "instruments": `{"supply":"ringup, simulated supply, SUP-7, 1"}`,
	} {
		if got := whole.MetaData().KeyValueMetadata().FindValue(key); got == nil || *got != want {
			t.Errorf("metadata %s are %v, want %q", key, got, want)
		}
	}
	var marks []Mark
	if text := whole.MetaData().KeyValueMetadata().FindValue("marks"); text == nil || json.Unmarshal([]byte(*text), &marks) != nil || len(marks) != 1 || marks[0].Text != "C7 chilled" {
		t.Errorf("metadata marks are %v", text)
	}
}

func arrowKind(name string) string {
	switch name {
	case "run", "number", "ordinal":
		return "int64"
	case "begun", "powered_on", "powered_off", "ended":
		return "timestamp[ns, tz=UTC]"
	case "counted", "failed", "disagree", "censored":
		return "bool"
	case "treatment", "verdict", "reason", "warnings", "lamp":
		return "utf8"
	}
	if strings.HasPrefix(name, "factor_") {
		return "utf8"
	}
	return "float64"
}

// asCSV words a value as the CSV export does.
func asCSV(values arrow.Array, i int) string {
	if values.IsNull(i) {
		return ""
	}
	switch values := values.(type) {
	case *array.Float64:
		return strconv.FormatFloat(values.Value(i), 'g', -1, 64)
	case *array.Timestamp:
		return values.Value(i).ToTime(arrow.Nanosecond).UTC().Format(time.RFC3339Nano)
	}
	return values.ValueStr(i)
}

func TestParquetOfNoCycleAndNoRun(t *testing.T) {
	b := openBook(t)
	run := begin(t, b)
	var out bytes.Buffer
	if err := b.ExportParquet(&out, run); err != nil {
		t.Fatal(err)
	}
	empty, err := file.NewParquetReader(bytes.NewReader(out.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	defer empty.Close()
	if empty.NumRows() != 0 || empty.MetaData().Schema.ColumnIndexByName("start_seconds") < 0 {
		t.Errorf("%d rows, columns %s", empty.NumRows(), empty.MetaData().Schema)
	}
	if err := b.ExportParquet(io.Discard, 9); !errors.Is(err, ErrNoRun) {
		t.Errorf("export of no run: %v", err)
	}
	addCycles(t, b, run, 1, 3)
	for room := range 8 { // the disk fills up at one place after the other
		if err := b.ExportParquet(&shortWriter{200 * room}, run); !errors.Is(err, errShort) {
			t.Errorf("no room after %d bytes: %v", 200*room, err)
		}
	}
}

var errShort = errors.New("no space left on device")

// shortWriter takes so many bytes, like a disk that fills up.
type shortWriter struct{ room int }

func (s *shortWriter) Write(p []byte) (int, error) {
	n := min(len(p), s.room)
	s.room -= n
	if n < len(p) {
		return n, errShort
	}
	return n, nil
}
