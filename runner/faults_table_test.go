package runner_test

import (
	"cmp"
	"fmt"
	"os"
	"slices"
	"strings"

	"ringup/runner/simbench"
)

const faultTablePath = "../testdata/fault-matrix.txt"

// faultTable is what becomes of a cycle, for each fault at each message: a row for each message, a column for each
// fault, in a cell a letter for each place where the fault can strike.
type faultTable struct {
	rows  []faultRow
	cells map[blow]rune
}

// faultRow is one message of a cycle.
type faultRow struct {
	link       string
	instrument simbench.Instrument
	number     int
	message    string
}

// columns are the heads of the table's columns, in the order of simbench.WireFaults.
var columns = []string{"cmdlost", "cmdgarbled", "lost", "garbled", "late", "split", "glued", "echo", "noise", "digit", "nul", "cut", "count", "closed", "back", "reboot", "errors"}

const faultTableHead = `# Written by TestFaultMatrix of package runner: what becomes of a power cycle when a wire of the simulated bench has a
# fault at one of the cycle's messages. Never a wrong number, never a lost cycle, and the supply off afterwards.
#   m  measured: number for number as without the fault
#   a  measured, but for the ambient, by which no start is judged
#   u  recorded as unread; the run goes on
#   M  the run held for the lost link, and went on by itself; measured
#   U  the run held for the lost link, and went on by itself; recorded as unread
#   -  the fault cannot strike this message
# Columns: byte of the command lost; garbled (a letter for each of its parameters); byte of the reply lost; garbled;
# reply late by a time-out; in single bytes; glued to the reply before; echo on; noise before the reply; noise that is a
# digit; NUL bytes; reply cut short; block count wrong; link closed; closed and back; instrument rebooted; error queue
# that never empties.
`

// shownMessage is how much of a message the table shows, in bytes.
const shownMessage = 60

func newFaultTable() *faultTable { return &faultTable{cells: map[blow]rune{}} }

// expect adds the rows of a link, and the cells of its blows, as yet without outcome.
func (f *faultTable) expect(link string, r reference, blows []blow) {
	for _, i := range matrixInstruments {
		for n, message := range r.messages[i] {
			f.rows = append(f.rows, faultRow{link, i, n, message[:min(len(message), shownMessage)]})
		}
	}
	for _, b := range blows {
		f.cells[b] = '?'
	}
}

func (f *faultTable) set(b blow, outcome rune) { f.cells[b] = outcome }
func (f *faultTable) outcome(b blow) rune      { return cmp.Or(f.cells[b], '-') }
func (f *faultTable) cell(r faultRow, k int) string {
	var cell strings.Builder
	for spot := 0; ; spot++ {
		o, there := f.cells[blow{r.link, r.instrument, r.number, simbench.WireFaults[k], spot}]
		if !there {
			break
		}
		cell.WriteRune(o)
	}
	return cmp.Or(cell.String(), "-")
}

// String is the table as it is kept.
func (f *faultTable) String() string {
	lines := [][]string{append(append([]string{"link", "instrument", "n"}, columns...), "message")}
	for _, r := range f.rows {
		line := []string{r.link, string(r.instrument), fmt.Sprint(r.number)}
		for k := range columns {
			line = append(line, f.cell(r, k))
		}
		lines = append(lines, append(line, r.message))
	}
	widths := make([]int, len(lines[0]))
	for _, l := range lines {
		for k, cell := range l[:len(l)-1] {
			widths[k] = max(widths[k], len(cell))
		}
	}
	var b strings.Builder
	b.WriteString(faultTableHead)
	for _, l := range lines {
		for k, cell := range l[:len(l)-1] {
			fmt.Fprintf(&b, "%-*s ", widths[k], cell)
		}
		b.WriteString(l[len(l)-1] + "\n")
	}
	return b.String()
}

// readFaultTable reads a table that String wrote.
func readFaultTable(path string) (*faultTable, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	f := newFaultTable()
	for n, line := range strings.Split(strings.TrimSpace(string(text)), "\n") {
		if strings.HasPrefix(line, "#") || strings.HasPrefix(line, "link ") {
			continue
		}
		fields := strings.Fields(line)
		if len(fields) < len(columns)+4 {
			return nil, fmt.Errorf("%s:%d: %d fields, want %d", path, n+1, len(fields), len(columns)+4)
		}
		r := faultRow{link: fields[0], instrument: simbench.Instrument(fields[1]), message: strings.Join(fields[len(columns)+3:], " ")}
		if _, err := fmt.Sscan(fields[2], &r.number); err != nil {
			return nil, fmt.Errorf("%s:%d: %w", path, n+1, err)
		}
		f.rows = append(f.rows, r)
		for k, cell := range fields[3 : len(columns)+3] {
			for spot, o := range cell {
				if o != '-' {
					f.cells[blow{r.link, r.instrument, r.number, simbench.WireFaults[k], spot}] = o
				}
			}
		}
	}
	return f, nil
}

// rowsUnlike lists what the messages of the two tables differ in.
func (f *faultTable) rowsUnlike(kept *faultTable) []string {
	var differences []string
	for _, r := range f.rows {
		r.message = strings.TrimSpace(r.message)
		if !slices.Contains(kept.rows, r) {
			differences = append(differences, fmt.Sprintf("message %d of the %s on %s is now %q", r.number, r.instrument, r.link, r.message))
		}
	}
	if len(f.rows) != len(kept.rows) {
		differences = append(differences, fmt.Sprintf("a cycle has %d messages, the table %d", len(f.rows), len(kept.rows)))
	}
	return differences
}

// summary counts the outcomes of each fault.
func (f *faultTable) summary() string {
	var b strings.Builder
	for k, fault := range simbench.WireFaults {
		counts := map[rune]int{}
		for _, r := range f.rows {
			for _, o := range f.cell(r, k) {
				counts[o]++
			}
		}
		fmt.Fprintf(&b, "%-22s", fault)
		for _, o := range []rune{measured, noAmbient, unread, heldThen, heldUnread, bad} {
			fmt.Fprintf(&b, "  %c %3d", o, counts[o])
		}
		b.WriteString("\n")
	}
	return b.String()
}
