package scripts

import (
	"context"
	"embed"
	"encoding/json"
	"fmt"
)

// Library holds the scripts that are shipped, as library/NAME.lua.
//
//go:embed library/*.lua
var Library embed.FS

// Script is the text of one script and the name that its errors carry,
// usually the file name as the user gave it.
type Script struct {
	Name   string
	Source string
}

// Facts are what a script may read in its tables unit and bench. A field that is
// not in the bench file is zero, false or empty.
type Facts struct {
	Unit  UnitFacts  `json:"unit"`
	Bench BenchFacts `json:"bench"`
}

// UnitFacts are the fields of the script's table unit.
type UnitFacts struct {
	Name       string  `json:"name" doc:"name of the unit under test"`
	ClockHertz float64 `json:"clock_hz" doc:"expected clock frequency in hertz"`
	MaxVolts   float64 `json:"max_volts" doc:"highest supply voltage allowed, in volts"`
	MaxAmps    float64 `json:"max_amps" doc:"highest supply current allowed, in amps"`
}

// BenchFacts are the fields of the script's table bench.
type BenchFacts struct {
	Simulated          bool    `json:"simulated" doc:"true on the simulated bench"`
	StartWithinSeconds float64 `json:"start_within_s" doc:"a start that takes longer is late, in seconds"`
	FrequencyWithin    float64 `json:"frequency_within" doc:"allowed relative frequency error: 0.01 is 1 %"`
	ClockProbe         string  `json:"clock_probe" doc:"what the clock probe loads: crystal input, crystal output, buffered or near field"`
	Lamp               bool    `json:"lamp" doc:"true when a lamp probe is fitted"`
	Thermometer        bool    `json:"thermometer" doc:"true when a thermometer is fitted"`
}

// Host answers a script's calls in the parent process.
//
// Call receives a name from [Calls], arguments that have passed [Call.Check] (SI
// units, sorted keys, defaults filled in: equal arguments are equal bytes) and
// the script line of the call. It returns the result as JSON, nil for none. Calls
// come one at a time. ctx ends when the run is stopped or the child is gone; Call
// must then return soon, with the supply in a safe state.
//
// An error becomes a Lua error that the script may catch: a table with the fields
// message, kind, file and line. A [Fatal] error ends the script at once. An error
// that is part of the record, so that the script meets it on a replay as well, is
// a result: {"error": {"kind": …, "message": …}}.
type Host interface {
	Call(ctx context.Context, call string, args json.RawMessage, line int) (json.RawMessage, error)
}

// CallError is a refusal with a kind that a script can tell apart; any other
// error has the kind "error". Arguments refused by the call table have the kind
// "argument".
type CallError struct {
	Kind    string
	Message string
}

func (e *CallError) Error() string { return e.Message }

// Fatal wraps an error that ends the script: the run was stopped or held, a limit
// was hit, the replay differs from the record. The child is killed, so that no
// pcall can swallow it. A host returns it as a value: Fatal{Err: err}.
type Fatal struct{ Err error }

func (e Fatal) Error() string { return e.Err.Error() }

// Unwrap returns the cause.
func (e Fatal) Unwrap() error { return e.Err }

// ScriptError says why and where a script ended.
type ScriptError struct {
	File    string
	Line    int // 0 when the line is not known
	Message string
	Trace   string // the Lua functions that led there, innermost first; may be empty
	Err     error  // the host's or the context's error behind it, or nil
}

func (e *ScriptError) Error() string {
	if e.Line == 0 {
		return fmt.Sprintf("%s: %s", e.File, e.Message)
	}
	return fmt.Sprintf("%s:%d: %s", e.File, e.Line, e.Message)
}

// Unwrap returns the error behind the script's end, or nil.
func (e *ScriptError) Unwrap() error { return e.Err }
