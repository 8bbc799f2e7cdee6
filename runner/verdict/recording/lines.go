package recording

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"unicode/utf8"
)

const (
	headBytes = 64 << 10  // read before the layout is settled
	mostLine  = 64 << 10  // bytes; no scope writes a longer row
	bufferLen = 256 << 10 // bytes read at once
)

// lines splits a stream into lines without copying them. A line is valid until
// the next one is read.
type lines struct {
	file   string
	from   io.Reader
	buffer []byte
	at     int // begin of the next line in buffer
	end    int // of the bytes in buffer
	ends   byte
	number int  // of the line read last
	torn   bool // it had no line end: the file ends there
	done   error
}

// newLines reads the head of a stream, past a byte-order mark.
func newLines(file string, from io.Reader) (*lines, error) {
	l := &lines{file: file, from: from, buffer: make([]byte, bufferLen), ends: '\n'}
	for l.end < headBytes && l.done == nil {
		l.fill()
	}
	if l.done != nil && !errors.Is(l.done, io.EOF) {
		return nil, failed(file, l.done)
	}
	head := l.buffer[:l.end]
	if bytes.HasPrefix(head, []byte("\xff\xfe")) || bytes.HasPrefix(head, []byte("\xfe\xff")) {
		return nil, &Error{file, 1, 1, "text in UTF-16", "UTF-8 or plain text; save it again as CSV in UTF-8"}
	}
	if bytes.HasPrefix(head, []byte("\xef\xbb\xbf")) {
		l.at = 3
	}
	if bytes.IndexByte(head, '\n') < 0 && bytes.IndexByte(head, '\r') >= 0 {
		l.ends = '\r'
	}
	return l, nil
}

func (l *lines) fill() {
	for range 100 {
		n, err := l.from.Read(l.buffer[l.end:])
		l.end += n
		l.done = err
		if n > 0 || err != nil {
			return
		}
	}
	l.done = io.ErrNoProgress
}

// head returns the whole lines that have been read so far, or all if the stream
// ends there.
func (l *lines) head() []byte {
	b := l.buffer[l.at:l.end]
	if l.done == nil {
		if i := bytes.LastIndexByte(b, l.ends); i >= 0 {
			b = b[:i+1]
		}
	}
	return b
}

// next returns the next line without its end, io.EOF after the last.
func (l *lines) next() ([]byte, error) {
	for {
		if i := bytes.IndexByte(l.buffer[l.at:l.end], l.ends); i >= 0 {
			line := l.buffer[l.at : l.at+i]
			l.at += i + 1
			return l.trimmed(line)
		}
		rest := l.end - l.at
		if rest > mostLine {
			return nil, &Error{l.file, l.number + 1, 1, fmt.Sprintf("a line of more than %d bytes", mostLine), "rows of a waveform, each on a line of its own"}
		}
		if l.done != nil {
			if !errors.Is(l.done, io.EOF) {
				return nil, failed(fmt.Sprintf("%s, after line %d", l.file, l.number), l.done)
			}
			if rest == 0 {
				return nil, io.EOF
			}
			line := l.buffer[l.at:l.end]
			l.at, l.torn = l.end, true
			return l.trimmed(line)
		}
		copy(l.buffer, l.buffer[l.at:l.end])
		l.at, l.end = 0, rest
		l.fill()
	}
}

func (l *lines) trimmed(line []byte) ([]byte, error) {
	l.number++
	if len(line) > mostLine {
		return nil, &Error{l.file, l.number, 1, fmt.Sprintf("a line of %d bytes", len(line)), "rows of a waveform, each on a line of its own"}
	}
	if n := len(line); n > 0 && line[n-1] == '\r' {
		line = line[:n-1]
	}
	return line, nil
}

// fault is an error at byte i of a line.
func (l *lines) fault(line []byte, i int, found, expected string) error {
	return &Error{l.file, l.number, column(line, i), found, expected}
}

// column counts characters, from 1, up to byte i.
func column(line []byte, i int) int { return utf8.RuneCount(line[:min(i, len(line))]) + 1 }

// junk finds the first byte that no text holds, -1 if there is none.
func junk(b []byte) int {
	return bytes.IndexFunc(b, func(r rune) bool { return r < ' ' && r != '\t' && r != '\n' && r != '\r' || r == 0x7f })
}
