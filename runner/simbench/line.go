package simbench

import (
	"bytes"
	"errors"
	"io"
)

// lineMax is the instruments' input buffer, bytes of one line.
const lineMax = 64 << 10

// errLineTooLong says that a line outgrew the input buffer and was thrown away, up to its line feed.
var errLineTooLong = errors.New("line too long")

// lineReader cuts what arrives into lines.
type lineReader struct {
	wire    io.Reader
	buffer  []byte
	chunk   [4096]byte
	tooLong bool
}

// next waits for one line and returns it without its line feed.
func (r *lineReader) next() (string, error) {
	for {
		if end := bytes.IndexByte(r.buffer, '\n'); end >= 0 {
			line := string(r.buffer[:end])
			r.buffer = append(r.buffer[:0], r.buffer[end+1:]...)
			if r.tooLong {
				r.tooLong = false
				return "", errLineTooLong
			}
			// Carriage returns and the NUL of a line break on a serial wire are white space here.
			return string(bytes.Trim([]byte(line), "\r\x00 \t")), nil
		}
		if len(r.buffer) > lineMax {
			r.buffer, r.tooLong = r.buffer[:0], true
		}
		n, err := r.wire.Read(r.chunk[:])
		r.buffer = append(r.buffer, r.chunk[:n]...)
		if err != nil && n == 0 {
			return "", err
		}
	}
}
