package scpi

import (
	"bytes"
	"fmt"
)

// longestBlock is more than any record that is asked for, and bounds what a
// garbled length makes us wait for.
const longestBlock = 1 << 28

// ParseBlock takes one block of arbitrary data (IEEE 488.2 section 8.7.9 and
// 8.7.10) from the start of a whole message and returns its data and what
// follows. A definite block ends by its length; an indefinite one (#0) by the
// newline that ends the message.
func ParseBlock(message []byte) (data, rest []byte, err error) {
	if len(message) < 2 || message[0] != '#' {
		return nil, nil, fmt.Errorf("%w: a block begins with # and a digit", ErrGarbled)
	}
	if message[1] == '0' {
		if data, ok := bytes.CutSuffix(message[2:], []byte("\n")); ok {
			return data, nil, nil
		}
		return nil, nil, fmt.Errorf("%w: the indefinite block is not ended by a newline", ErrGarbled)
	}
	digits, err := blockDigits(message[1])
	if err != nil {
		return nil, nil, err
	}
	if len(message) < 2+digits {
		return nil, nil, fmt.Errorf("%w: the block's length is cut off", ErrGarbled)
	}
	length, err := blockLength(message[2 : 2+digits])
	if err != nil {
		return nil, nil, err
	}
	rest = message[2+digits:]
	if len(rest) < length {
		return nil, nil, fmt.Errorf("%w: the block says %d bytes, %d came", ErrGarbled, length, len(rest))
	}
	return rest[:length], rest[length:], nil
}

// blockDigits reads the digit that says how many digits the length has.
func blockDigits(c byte) (int, error) {
	if c < '1' || c > '9' {
		return 0, fmt.Errorf("%w: # is followed by %q where a block of known length has a digit from 1 to 9", ErrGarbled, c)
	}
	return int(c - '0'), nil
}

func blockLength(digits []byte) (int, error) {
	length := 0
	for _, c := range digits {
		if c < '0' || c > '9' {
			return 0, fmt.Errorf("%w: the block's length is %q, digits were expected", ErrGarbled, digits)
		}
		length = 10*length + int(c-'0')
	}
	if length > longestBlock {
		return 0, fmt.Errorf("%w: the block says %d bytes, at most %d are taken", ErrGarbled, length, longestBlock)
	}
	return length, nil
}
