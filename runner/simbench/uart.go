package simbench

import (
	"fmt"
	"io"
)

// uart is an instrument's serial port of a fixed speed at a line whose other end has a speed of its own: where the two
// differ, each end reads the other's bits at the wrong moments.
type uart struct {
	wire io.ReadWriter
	baud int
	line func() (int, error) // the other end's speed; 0 where it is none the system has a name for
}

// Read implements io.Reader.
func (u *uart) Read(p []byte) (int, error) {
	for {
		n, err := u.wire.Read(p)
		if n == 0 {
			return 0, err
		}
		speed, lineErr := u.line()
		if lineErr != nil {
			return 0, lineErr
		}
		if heard := resample(p[:n], speed, u.baud); len(heard) > 0 || err != nil {
			return copy(p, heard), err // at a slower line more bytes are heard than were sent; the first are garbage enough
		}
	}
}

// Write implements io.Writer.
func (u *uart) Write(p []byte) (int, error) {
	speed, err := u.line()
	if err != nil {
		return 0, err
	}
	if heard := resample(p, u.baud, speed); len(heard) > 0 {
		if _, err := u.wire.Write(heard); err != nil {
			return 0, fmt.Errorf("answer at %d baud: %w", speed, err)
		}
	}
	return len(p), nil
}

// frameBits are a start bit (low), eight data bits, the lowest first, and a stop bit (high).
const frameBits = 10

// resample is what a receiver of one speed, bits per second, hears of bytes sent without a pause at another. It waits
// for the line to fall, looks at the middle of each of the eight bits that should follow, and takes whatever it finds.
func resample(sent []byte, from, to int) []byte {
	if from == to || from <= 0 || to <= 0 {
		return sent
	}
	high := func(bit int) bool {
		n, place := bit/frameBits, bit%frameBits
		return n >= len(sent) || place == frameBits-1 || place > 0 && sent[n]>>(place-1)&1 == 1
	}
	ratio := float64(from) / float64(to) // sender's bits in one of the receiver's
	var heard []byte
	for bit, before := 0, true; bit < frameBits*len(sent); bit++ {
		now := high(bit)
		if before && !now {
			var b byte
			for k := range 8 {
				if high(int(float64(bit) + (1.5+float64(k))*ratio)) {
					b |= 1 << k
				}
			}
			heard = append(heard, b)
			bit = int(float64(bit) + (frameBits-0.5)*ratio) // the middle of the stop bit
			now = high(bit)
		}
		before = now
	}
	return heard
}
