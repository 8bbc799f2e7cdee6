package recording

import (
	"errors"
	"fmt"
)

// Error is what is wrong with a file, and where. Line and Column count from 1;
// Line 0 means the file as a whole.
type Error struct {
	File         string
	Line, Column int
	Found        string
	Expected     string
}

// Error gives place, what was found and what was expected, on one line.
func (e *Error) Error() string {
	at := e.File
	if e.Line > 0 {
		at = fmt.Sprintf("%s:%d:%d", e.File, e.Line, e.Column)
	}
	return fmt.Sprintf("%s: found %s; expected %s", at, e.Found, e.Expected)
}

// shown is a piece of a file fit for one line of an error.
func shown(text []byte) string {
	const most = 40
	if len(text) > most {
		return fmt.Sprintf("%q…", text[:most])
	}
	return fmt.Sprintf("%q", text)
}

// failed is an error of the medium; what says already what is wrong stays so.
func failed(where string, err error) error {
	var known *Error
	if errors.As(err, &known) {
		return known
	}
	return fmt.Errorf("%s: %w", where, err)
}
