package failrate

import (
	"bufio"
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// table is a data file under testdata whose first line names its source.
type table struct {
	t    *testing.T
	name string
	head map[string]int
	rows [][]string
}

func readTable(t *testing.T, name string, rows int) table {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := bufio.NewReader(f)
	if line, err := r.ReadString('\n'); err != nil || !strings.HasPrefix(line, "# source:") {
		t.Fatalf("%s: the first line %q does not name the source", name, line)
	}
	all, err := csv.NewReader(r).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(all) != rows+1 {
		t.Fatalf("%s: %d rows, want a header and %d", name, len(all), rows)
	}
	table := table{t, name, map[string]int{}, all[1:]}
	for i, h := range all[0] {
		table.head[h] = i
	}
	return table
}

// text is a column as it stands.
func (b table) text(column string) []string {
	b.t.Helper()
	i, ok := b.head[column]
	if !ok {
		b.t.Fatalf("%s has no column %q", b.name, column)
	}
	values := make([]string, len(b.rows))
	for k, row := range b.rows {
		values[k] = row[i]
	}
	return values
}

// numbers is a column of numbers.
func (b table) numbers(column string) []float64 {
	b.t.Helper()
	values := make([]float64, len(b.rows))
	for i, s := range b.text(column) {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			b.t.Fatalf("%s, %s: %v", b.name, column, err)
		}
		values[i] = v
	}
	return values
}

// wantNear fails unless got is want to within rel, relative.
func wantNear(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !near(got, want, rel) {
		t.Errorf("%s: %.13g, want %.13g", what, got, want)
	}
}
