package dialect

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// decodeErrors gives the library's errors our form.
func decodeErrors(name string, err error) error {
	one := func(e *toml.DecodeError, message string) error {
		line, column := e.Position()
		return &FileError{File: name, Line: line, Column: column, Key: strings.Join(e.Key(), "."), Message: message}
	}
	var unknown *toml.StrictMissingError
	if errors.As(err, &unknown) {
		var errs []error
		for i := range unknown.Errors {
			errs = append(errs, one(&unknown.Errors[i], "this key is not known here; check its spelling and its table"))
		}
		return errors.Join(errs...)
	}
	var decode *toml.DecodeError
	if errors.As(err, &decode) {
		return one(decode, inWords(strings.TrimPrefix(decode.Error(), "toml: ")))
	}
	return fmt.Errorf("%s: %w", name, err)
}

// mismatch is how the library words a value that is not of its key's type.
var mismatch = regexp.MustCompile(`^cannot decode TOML (.+) into .* of type (\S+)$`)

// allowedFor words the types of a dialect file's keys.
var allowedFor = map[string]string{
	"string": "text in quotes", "int": "a whole number", "uint64": "a whole number of 0 or more", "float64": "a number", "bool": "true or false",
	"[]string": "a list of texts", "[]dialect.fileStep": `a list of steps like { send = "..." }`, "dialect.fileStep": `a step like { send = "..." }`,
}

// inWords leaves out of the library's message what only a programmer understands.
func inWords(message string) string {
	m := mismatch.FindStringSubmatch(message)
	if m == nil {
		return message
	}
	allowed, known := allowedFor[strings.TrimLeft(m[2], "*")]
	if !known {
		return "found TOML's " + m[1] + ", which this key does not take"
	}
	return "found TOML's " + m[1] + " where " + allowed + " is needed"
}
