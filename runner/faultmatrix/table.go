package faultmatrix

import (
	"cmp"
	"fmt"
	"os"
	"slices"
	"strings"

	"ringup/runner/simbench"
)

// Kind is how a table shows one kind of fault.
type Kind struct {
	Fault  simbench.WireFault
	Column string // head of its column, one word
}

// Wire are the faults of any wire.
var Wire = []Kind{
	{simbench.CommandByteLost, "cmdlost"},
	{simbench.CommandByteGarbled, "cmdgarbled"},
	{simbench.ReplyByteLost, "lost"},
	{simbench.ReplyByteGarbled, "garbled"},
	{simbench.ReplyLate, "late"},
	{simbench.ReplySplit, "split"},
	{simbench.RepliesGlued, "glued"},
	{simbench.EchoOn, "echo"},
	{simbench.LineNoise, "noise"},
	{simbench.NoiseDigit, "digit"},
	{simbench.NULBytes, "nul"},
	{simbench.BlockCut, "cut"},
	{simbench.BlockCountWrong, "count"},
	{simbench.LinkClosed, "closed"},
	{simbench.LinkClosedAndBack, "back"},
	{simbench.Rebooted, "reboot"},
	{simbench.EndlessErrors, "errors"},
}

// Faults are those of some kinds.
func Faults(kinds []Kind) []simbench.WireFault {
	var faults []simbench.WireFault
	for _, k := range kinds {
		faults = append(faults, k.Fault)
	}
	return faults
}

// Table is what becomes of a cycle, for each fault at each message: a row for each message, a column for each fault, in
// a cell a letter for each place where the fault can strike.
type Table struct {
	title string
	kinds []Kind
	rows  []row
	cells map[Blow]rune
}

// legend says what the letters and columns are.
const legend = `#   m  measured: number for number as without the fault
#   a  measured, but for the ambient, by which no start is judged
#   u  recorded as unread; the run goes on
#   M  the run held for the lost link, and went on by itself; measured
#   U  the run held for the lost link, and went on by itself; recorded as unread
#   -  the fault cannot strike this message
# Columns: byte of the command lost; garbled (a letter for each of its parameters); byte of the reply lost; garbled;
# reply late by a time-out; in single bytes; glued to the reply before; echo on; noise before the reply; noise that is a
# digit; NUL bytes; reply cut short; block count wrong; link closed; closed and back; instrument rebooted; error queue
# that never empties`

// NewTable is an empty table. title are the comment lines on top of it; more says what the columns of kinds other than
// Wire are.
func NewTable(title, more string, kinds []Kind) *Table {
	return &Table{title: title + legend + more + ".\n", kinds: kinds, cells: map[Blow]rune{}}
}

// row is one message of a cycle.
type row struct {
	link       string
	instrument simbench.Instrument
	number     int
	message    string
}

// shownMessage is how much of a message the table shows, in bytes.
const shownMessage = 60

// Expect adds the rows of a link, and the cells of its blows, as yet without outcome.
func (f *Table) Expect(link string, r Reference, instruments []simbench.Instrument) (blows []Blow) {
	for _, i := range instruments {
		for n, message := range r.Messages[i] {
			f.rows = append(f.rows, row{link, i, n, message[:min(len(message), shownMessage)]})
		}
	}
	blows = r.Blows(link, instruments, Faults(f.kinds))
	for _, b := range blows {
		f.cells[b] = NotDealt
	}
	return blows
}

// Set enters what became of a blow.
func (f *Table) Set(b Blow, outcome rune) { f.cells[b] = outcome }

// Outcome is what became of a blow; '-' for one that is not in the table.
func (f *Table) Outcome(b Blow) rune { return cmp.Or(f.cells[b], '-') }

func (f *Table) cell(r row, k Kind) string {
	var cell strings.Builder
	for spot := 0; ; spot++ {
		o, there := f.cells[Blow{r.link, r.instrument, r.number, k.Fault, spot}]
		if !there {
			break
		}
		cell.WriteRune(o)
	}
	return cmp.Or(cell.String(), "-")
}

// String is the table as it is kept.
func (f *Table) String() string {
	head := []string{"link", "instrument", "n"}
	for _, k := range f.kinds {
		head = append(head, k.Column)
	}
	lines := [][]string{append(head, "message")}
	for _, r := range f.rows {
		line := []string{r.link, string(r.instrument), fmt.Sprint(r.number)}
		for _, k := range f.kinds {
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
	b.WriteString(f.title)
	for _, l := range lines {
		for k, cell := range l[:len(l)-1] {
			fmt.Fprintf(&b, "%-*s ", widths[k], cell)
		}
		b.WriteString(l[len(l)-1] + "\n")
	}
	return b.String()
}

// Read reads a table of such kinds that String wrote.
func Read(path string, kinds []Kind) (*Table, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	f := NewTable("", "", kinds)
	for n, line := range strings.Split(strings.TrimSpace(string(text)), "\n") {
		if strings.HasPrefix(line, "#") || strings.HasPrefix(line, "link ") {
			continue
		}
		fields := strings.Fields(line)
		if len(fields) < len(kinds)+4 {
			return nil, fmt.Errorf("%s:%d: %d fields, want %d", path, n+1, len(fields), len(kinds)+4)
		}
		r := row{link: fields[0], instrument: simbench.Instrument(fields[1]), message: strings.Join(fields[len(kinds)+3:], " ")}
		if _, err := fmt.Sscan(fields[2], &r.number); err != nil {
			return nil, fmt.Errorf("%s:%d: %w", path, n+1, err)
		}
		f.rows = append(f.rows, r)
		for k, cell := range fields[3 : len(kinds)+3] {
			for spot, o := range cell {
				if o != '-' {
					f.cells[Blow{r.link, r.instrument, r.number, kinds[k].Fault, spot}] = o
				}
			}
		}
	}
	return f, nil
}

// RowsUnlike lists what the messages of the two tables differ in.
func (f *Table) RowsUnlike(kept *Table) []string {
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

// Summary counts the outcomes of each fault.
func (f *Table) Summary() string {
	var b strings.Builder
	for _, k := range f.kinds {
		counts := map[rune]int{}
		for _, r := range f.rows {
			for _, o := range f.cell(r, k) {
				counts[o]++
			}
		}
		fmt.Fprintf(&b, "%-22s", k.Fault)
		for _, o := range []rune{Measured, NoAmbient, Unread, HeldThen, HeldUnread, Bad} {
			fmt.Fprintf(&b, "  %c %3d", o, counts[o])
		}
		b.WriteString("\n")
	}
	return b.String()
}
