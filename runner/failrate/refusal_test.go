package failrate

import (
	"errors"
	"strings"
)

// isRefusal reports whether err is a typed refusal that says what is asked for.
func isRefusal(err error, says string) bool {
	var refusal *InputError
	return errors.As(err, &refusal) && strings.Contains(err.Error(), says)
}
