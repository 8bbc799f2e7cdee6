package drivers

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"ringup/drivers/link"
	"ringup/drivers/scpi"
)

// ErrStateUnknown says that a command may or may not have been carried out:
// it was sent and nothing came back. Read the state before doing anything
// else; never send the command again.
var ErrStateUnknown = errors.New("whether the command was carried out is not known")

// notSent marks an error of a context that ended before anything was sent.
func notSent(err error) error { return fmt.Errorf("%w: %w", scpi.ErrNotSent, err) }

// unknownState marks a failed command that must not be sent again.
func unknownState(err error) error {
	var failed *InstrumentError
	if errors.As(err, &failed) && failed.Kind() != "refused" {
		failed.Err = fmt.Errorf("%w: %w", ErrStateUnknown, failed.Err)
		failed.Hint = "read the output back or switch it off; on is not sent again"
	}
	return err
}

// InstrumentError is a failed exchange with an instrument.
type InstrumentError struct {
	Role, Address, Command string
	// Received is what had arrived when it failed, shortened.
	Received string
	Elapsed  time.Duration
	// Hint says what to look at.
	Hint string
	Err  error
}

// Error says which instrument, what was asked, what came back, and what to do.
func (e *InstrumentError) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s at %s", e.Role, e.Address)
	if e.Command != "" {
		fmt.Fprintf(&b, ": %q", e.Command)
	}
	b.WriteString(": " + strings.ReplaceAll(fmt.Sprint(e.Err), e.Address+": ", "")) // a link says it, too
	if e.Elapsed > 0 {
		fmt.Fprintf(&b, " (after %v", e.Elapsed.Round(time.Millisecond))
		if e.Received != "" {
			fmt.Fprintf(&b, ", received %q", e.Received)
		}
		b.WriteString(")")
	}
	if e.Hint != "" {
		fmt.Fprintf(&b, "; %s", e.Hint)
	}
	return b.String()
}

// Unwrap returns the cause.
func (e *InstrumentError) Unwrap() error { return e.Err }

// Kind sorts the error as Exchange.Kind does.
func (e *InstrumentError) Kind() string { return KindOf(e.Err) }

// KindOf sorts an error of an exchange: "" none, "timeout" no answer in time,
// "gone" connection lost, "garbled" an answer that makes no sense, "refused"
// the instrument or a limit said no.
func KindOf(err error) string {
	switch {
	case err == nil:
		return ""
	case errors.Is(err, link.ErrGone), errors.Is(err, link.ErrClosed):
		return "gone"
	case errors.Is(err, link.ErrTimeout):
		return "timeout"
	case errors.Is(err, scpi.ErrGarbled), errors.Is(err, scpi.ErrTorn), errors.Is(err, link.ErrDamaged):
		return "garbled"
	}
	return "refused"
}

// LimitError is a request beyond the bench file's limits. Nothing was sent.
type LimitError struct {
	// Quantity is "volts" or "amps".
	Quantity     string
	Asked, Limit float64
}

// Error says what was asked and what is allowed.
func (e *LimitError) Error() string {
	return fmt.Sprintf("%g %s were asked for, allowed are 0 to %g %s (the bench file's max_%s); nothing was sent to the supply",
		e.Asked, e.Quantity, e.Limit, e.Quantity, e.Quantity)
}

// NotConfirmedOff says that the output may still be on.
type NotConfirmedOff struct {
	Address  string
	Attempts int
	Err      error
}

// Error says so in plain words.
func (e *NotConfirmedOff) Error() string {
	return fmt.Sprintf("supply at %s: THE OUTPUT MAY STILL BE ON: off was sent %d times and never read back as off: %v; switch the supply off by hand",
		e.Address, e.Attempts, e.Err)
}

// Unwrap returns the last attempt's error.
func (e *NotConfirmedOff) Unwrap() error { return e.Err }

// IdentityChanged says that another instrument answers at the address.
type IdentityChanged struct {
	Role, Address string
	Was, Is       Identity
}

// Error names both instruments.
func (e *IdentityChanged) Error() string {
	return fmt.Sprintf("%s at %s: another instrument answers: was %s, now %s; put the first one back or start a new run",
		e.Role, e.Address, e.Was, e.Is)
}

// SetByHandError is a voltage asked of a supply without remote control that
// somebody has set to another one. Nothing was switched.
type SetByHandError struct{ Asked, Set float64 }

// Error says what was asked, what the supply is set to, and what to do.
func (e *SetByHandError) Error() string {
	return fmt.Sprintf("%g V were asked for, and the supply, which has no remote control, is set to %g V by hand: ask for %g V in the script, or set the supply to %g V and write that into the bench file",
		e.Asked, e.Set, e.Set, e.Asked)
}
