package recording

import (
	"bytes"
	"fmt"
	"slices"
	"unicode/utf8"
)

// layout is how the cells of a text file are parted, and where its rows begin.
type layout struct {
	separator, decimal byte
	fields             int   // cells of a row
	body               []int // those that hold numbers
	header             []headerLine
	rows               [][]byte // of the head: a sample to tell the columns by
	first              int      // number of the first line that is a row; 0 if there is none
}

// headerLine is one line before the rows, or the cells beside a row that hold none
// of its numbers.
type headerLine struct {
	number int
	text   []byte
	cells  []cell
	beside bool // stands beside a row
}

// cell is one trimmed cell of a line.
type cell struct {
	at   int // byte of the line
	text string
}

// Comma before blank: "0.1, 0.5" is parted by commas. Semicolon and tab before
// comma: there a comma is a decimal sign.
var separators = []struct{ separator, decimal byte }{
	{';', '.'}, {';', ','}, {'\t', '.'}, {'\t', ','}, {',', '.'}, {',', ','}, {' ', '.'}, {' ', ','},
}

const mostFields = 256

// split parts a line into its cells.
func split(line []byte, separator byte) []cell {
	var cells []cell
	for i := 0; ; {
		for i < len(line) && (line[i] == ' ' || line[i] == '\t' && separator != '\t') {
			i++
		}
		from := i
		if separator == ' ' && from >= len(line) {
			return cells
		}
		if i < len(line) && line[i] == '"' {
			for i++; i < len(line) && line[i] != '"'; i++ {
			}
		}
		for i < len(line) && line[i] != separator && !(separator == ' ' && line[i] == '\t') {
			i++
		}
		cells = append(cells, cell{from, text(bytes.Trim(line[from:i], " \t\""))})
		if i >= len(line) || len(cells) > mostFields {
			return cells
		}
		i++
	}
}

// text is a piece of a file as a string; bytes that are no UTF-8 are Latin-1.
func text(b []byte) string {
	if utf8.Valid(b) {
		return string(b)
	}
	runes := make([]rune, len(b))
	for i, c := range b {
		runes[i] = rune(c)
	}
	return string(runes)
}

// shape is how a line looks under one choice of separator.
type shape struct {
	cells   []cell
	numbers []bool
	count   int  // of numbers
	pure    bool // nothing but numbers and empty cells
}

func shapeOf(line []byte, separator, decimal byte) shape {
	s := shape{cells: split(line, separator), pure: true}
	s.numbers = make([]bool, len(s.cells))
	for i, c := range s.cells {
		if c.text == "" {
			continue
		}
		if _, s.numbers[i] = whole([]byte(c.text), decimal); s.numbers[i] {
			s.count++
		} else {
			s.pure = false
		}
	}
	return s
}

func comment(line []byte) bool { return len(line) > 0 && line[0] == '#' }

// settle finds the layout that makes rows of most lines of the head.
func settle(l *lines) (*layout, error) {
	head := l.head()
	all := bytes.Split(head, []byte{l.ends})
	for i := range all {
		all[i] = bytes.TrimSuffix(all[i], []byte{'\r'})
		if k := junk(all[i]); k >= 0 {
			return nil, &Error{l.file, i + 1, column(all[i], k), fmt.Sprintf("the byte 0x%02x, which no text holds", all[i][k]),
				"a CSV file, or raw samples under a JSON header: then name the file of the header"}
		}
		if len(all[i]) > mostLine {
			return nil, &Error{l.file, i + 1, 1, fmt.Sprintf("a line of %d bytes", len(all[i])), "rows of a waveform, each on a line of its own"}
		}
	}
	var best layout
	bestScore := -1
	for _, s := range separators {
		y := layout{separator: s.separator, decimal: s.decimal}
		score := y.try(all)
		if s.decimal == ',' && y.fields == 1 && !partedOtherwise(all) {
			score = min(score, 1) // rows like "0,5": two cells, unless nothing else fits
		}
		if score > bestScore && score > 0 {
			best, bestScore = y, score
		}
	}
	if bestScore < 0 {
		best = layout{separator: namesOnly(all), decimal: '.'}
		if best.separator == 0 {
			return nil, &Error{l.file, 1, 1, "no rows of numbers", "a CSV file with a row for each sample"}
		}
	}
	best.part(all)
	return &best, nil
}

// partedOtherwise reports whether header lines are parted by semicolons or tabs:
// then the comma in rows of one cell is a decimal sign.
func partedOtherwise(all [][]byte) bool {
	for _, line := range all {
		if !comment(line) && bytes.ContainsAny(line, ";\t") {
			return true
		}
	}
	return false
}

// try fills fields and body and returns how many lines of the head fit.
func (y *layout) try(all [][]byte) int {
	const sample = 300 // first lines, in which short columns still have cells, and last ones: rows, if the head holds any
	if len(all) > 2*sample {
		all = slices.Concat(all[:sample], all[len(all)-sample:])
	}
	shapes := make([]shape, 0, len(all))
	pure, mixed := map[int]int{}, map[int]int{}
	for _, line := range all {
		if len(bytes.TrimSpace(line)) == 0 || comment(line) {
			continue
		}
		s := shapeOf(line, y.separator, y.decimal)
		if s.count == 0 || len(s.cells) > mostFields {
			continue
		}
		shapes = append(shapes, s)
		mixed[len(s.cells)]++
		if s.pure {
			pure[len(s.cells)]++
		}
	}
	score := 0
	counts, strict := pure, true
	if len(pure) == 0 {
		counts, strict = mixed, false
	}
	for fields, n := range counts {
		if n > score || n == score && fields > y.fields {
			y.fields, score = fields, n
		}
	}
	for c := range y.fields {
		numbers, lines := 0, 0
		for _, s := range shapes {
			if len(s.cells) == y.fields && (s.pure || !strict) {
				lines++
				if s.numbers[c] {
					numbers++
				}
			}
		}
		if strict && numbers > 0 || numbers > 0 && 10*numbers >= 9*lines {
			y.body = append(y.body, c)
		}
	}
	if len(y.body) == 0 {
		return 0
	}
	if !strict {
		return 1 // any layout with rows of nothing but numbers is better
	}
	return 1 + score
}

// fits reports whether a line is a row.
func (y *layout) fits(s shape) bool {
	if len(s.cells) != y.fields {
		return false
	}
	any := false
	for _, c := range y.body {
		if s.numbers[c] {
			any = true
		} else if s.cells[c].text != "" {
			return false
		}
	}
	return any
}

// part finds where the rows begin, and keeps header lines and first rows.
func (y *layout) part(all [][]byte) {
	const sample = 2000
	previous := -1 // index of a line that may be the first row
	for i, line := range all {
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		if comment(line) {
			y.header = append(y.header, headerLine{i + 1, line, nil, false})
			continue
		}
		s := shapeOf(line, y.separator, y.decimal)
		row := y.fields > 0 && y.fits(s)
		switch {
		case y.first == 0 && !row:
			if previous >= 0 { // a number or two among the header lines
				y.header = append(y.header, headerLine{previous + 1, all[previous], split(all[previous], y.separator), false})
				previous = -1
			}
			y.header = append(y.header, headerLine{i + 1, line, s.cells, false})
		case y.first == 0 && previous < 0 && s.count < len(y.body):
			previous = i // an empty cell: perhaps none yet
		case y.first == 0 && previous < 0:
			y.first = i + 1
			y.keep(line, i+1, sample)
		case y.first == 0:
			y.first = previous + 1
			y.keep(all[previous], previous+1, sample)
			y.keep(line, i+1, sample)
		case row:
			y.keep(line, i+1, sample)
		}
	}
	if y.first == 0 && previous >= 0 {
		y.first = previous + 1
		y.keep(all[previous], previous+1, sample)
	}
}

// keep takes a row of the head, and what stands beside it.
func (y *layout) keep(line []byte, number, most int) {
	if len(y.rows) < most {
		y.rows = append(y.rows, bytes.Clone(line))
	}
	cells := split(line, y.separator)
	k := 0
	var beside []cell
	for i, c := range cells {
		if k < len(y.body) && y.body[k] == i {
			k++
		} else if c.text != "" {
			beside = append(beside, c)
		}
	}
	if len(beside) >= 2 {
		y.header = append(y.header, headerLine{number, bytes.Clone(line), beside, true})
	}
}

// namesOnly finds the separator of a file of names without rows, 0 if it is none.
func namesOnly(all [][]byte) byte {
	for _, line := range all {
		if comment(line) {
			continue
		}
		for _, separator := range []byte{',', ';', '\t'} {
			cells := split(line, separator)
			if len(cells) < 2 {
				continue
			}
			if name := readName(cells[0].text); name.time {
				return separator
			}
		}
	}
	return 0
}
