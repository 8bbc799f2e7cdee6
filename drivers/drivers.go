// Package drivers is what a bench is made of: a Supply, a Scope and a
// Thermometer, each speaking through a dialect file to whatever instrument
// stands at an address. All quantities are SI.
package drivers

import (
	"context"
	"time"

	"ringup/drivers/scpi"
)

// Identity is an instrument's *IDN? reply, taken apart.
type Identity = scpi.Identity

// Options say which instrument to open and how it is spoken to.
type Options struct {
	// Role names the instrument in errors and metrics: "supply", "scope",
	// "thermometer".
	Role string
	// Address is any form that link.Parse takes.
	Address string
	// Dialect is a dialect's name, or "auto" (or empty) to choose one by the
	// instrument's identity.
	Dialect string
	// Channel is the output of a supply with several; 0 means the first.
	Channel int
	// DialectDir is the user's own folder of dialect files; empty for none.
	DialectDir string
	// Observe is called after each exchange, on the calling goroutine; it may
	// be nil and must not block.
	Observe func(Exchange)
}

// Exchange is one message sent to an instrument and, for a query, its reply.
type Exchange struct {
	Role, Command string
	Elapsed       time.Duration
	Err           error
	// Kind sorts Err: "" none, "timeout", "gone", "garbled" or "refused".
	Kind string
}

// SupplyReading is what the supply measures at its terminals; NaN where it
// could not measure.
type SupplyReading struct{ Volts, Amps float64 }

// Supply is one output of a bench supply.
type Supply interface {
	Identity() Identity
	// Limit programs the current limit, and over-voltage and over-current
	// protection where the dialect has them.
	Limit(ctx context.Context, maxVolts, maxAmps float64) error
	// SetVolts is written once, read back and compared.
	SetVolts(ctx context.Context, volts float64) error
	// On is sent exactly once, then read back. When no answer comes the error
	// is ErrStateUnknown; it is never sent again.
	On(ctx context.Context) error
	// Off is repeated until the output reads back as off. It does not stop at
	// a cancelled ctx. The error is *NotConfirmedOff.
	Off(ctx context.Context) error
	// Output reads back whether the output is on.
	Output(ctx context.Context) (bool, error)
	// Read measures volts and amps.
	Read(ctx context.Context) (SupplyReading, error)
	// Reopen opens the address again, with growing pauses until ctx ends, and
	// compares the identity.
	Reopen(ctx context.Context) error
	Close() error
}

// ChannelSetup is the vertical window wanted of one scope channel, in volts at
// the probe's tip.
type ChannelSetup struct {
	Number              int
	Attenuation         float64
	LowVolts, HighVolts float64
	ACCoupled           bool
}

// TriggerSetup is a rising edge through a level.
type TriggerSetup struct {
	Channel    int
	LevelVolts float64
}

// RecordSetup is one acquisition. StartSeconds is relative to the trigger,
// negative for a record that begins before it. Without a Trigger the record is
// taken at once.
type RecordSetup struct {
	Channels                    []ChannelSetup
	StartSeconds, WindowSeconds float64
	Points                      int
	Peak                        bool
	Trigger                     *TriggerSetup
}

// Waveform is one channel's record in volts. A plain record has the same slice
// as Min and Max; of a peak-detect record Min[i] and Max[i] are the extremes
// within bin i. LowVolts and HighVolts are the converter's limits, Codes the
// number of its codes from one to the other.
type Waveform struct {
	Channel                   int
	StartSeconds, StepSeconds float64
	Min, Max                  []float64
	LowVolts, HighVolts       float64
	Codes                     int
}

// Scope is an oscilloscope.
type Scope interface {
	Identity() Identity
	// Arm sends the settings that changed since the last Arm and starts an
	// acquisition. With a trigger it returns once the scope says it waits for
	// it.
	Arm(ctx context.Context, setup RecordSetup) error
	// Done says whether the acquisition is complete.
	Done(ctx context.Context) (bool, error)
	// Fetch reads one channel's record.
	Fetch(ctx context.Context, channel int) (Waveform, error)
	// Stop ends a running acquisition.
	Stop(ctx context.Context) error
	// Reopen is as for a Supply; it ends an acquisition, which may still wait
	// for the trigger of a cycle that failed, and all settings are sent anew
	// afterwards.
	Reopen(ctx context.Context) error
	Close() error
}

// Thermometer reads the ambient temperature.
type Thermometer interface {
	Identity() Identity
	Celsius(ctx context.Context) (float64, error)
	Reopen(ctx context.Context) error
	Close() error
}

// Historian is an instrument that remembers its last messages, for the report
// of a failure. All that this package opens are, guarded ones too.
type Historian interface {
	History() []Message
}

// ReadsBack says whether a supply's Off means that something read the output
// back as off. It does not for a relay on a line of a serial adapter: there,
// whoever uses it must see by other means, such as the rail probe, that the
// unit is off.
func ReadsBack(s Supply) bool {
	blind, ok := s.(interface{ ReadsBack() bool })
	return !ok || blind.ReadsBack()
}

// Unprotected lists the dialect's protection commands that the supply did not
// know when Limit was last called: that protection it does not have.
func Unprotected(s Supply) []string {
	if u, ok := s.(interface{ Unprotected() []string }); ok {
		return u.Unprotected()
	}
	return nil
}
