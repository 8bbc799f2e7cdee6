package scripts

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"
)

// Engine runs scripts within bounds. A zero field has its default.
type Engine struct {
	// Compute is the time that Lua may run between two calls (10 s). The time
	// that a call takes does not count.
	Compute time.Duration
	// Grace is added before the parent kills a child that does not end by itself
	// (3 s): one step of the engine, such as a text search, cannot be interrupted.
	Grace time.Duration
	// MemoryBytes is what the script may use (512 MiB).
	MemoryBytes int64

	command []string           // tests: the process to start instead of this program
	started func(childPID int) // tests
}

const (
	defaultCompute     = 10 * time.Second
	defaultGrace       = 3 * time.Second
	defaultMemoryBytes = 512 << 20
	// startLimit bounds start and compilation, on a busy bench computer.
	startLimit = 30 * time.Second
)

// Run runs a script to its end with the default bounds. See [Engine.Run].
func Run(ctx context.Context, s Script, facts Facts, h Host, out io.Writer) error {
	return Engine{}.Run(ctx, s, facts, h, out)
}

// Check compiles a script without running it. It does so in a child process as
// well, since the compiler's recursion follows the script's nesting.
func Check(s Script) error {
	return Engine{}.run(context.Background(), beginning{Script: s, CheckOnly: true}, nil, io.Discard)
}

// Run runs a script to its end in a child process. h answers its calls; what it
// prints or logs also goes to out (nil for nowhere) after h has accepted it, on a
// replay as well. When ctx ends, the child is killed at once. Every error is a
// *[ScriptError], except when no child could be started.
func (e Engine) Run(ctx context.Context, s Script, facts Facts, h Host, out io.Writer) error {
	return e.run(ctx, beginning{Script: s, Facts: facts}, h, out)
}

func (e Engine) run(ctx context.Context, b beginning, h Host, out io.Writer) error {
	if len(b.Script.Source) > maxMessage {
		return &ScriptError{File: b.Script.Name, Message: "the script is larger than 1 MiB; a script holds what to do, not data"}
	}
	if out == nil {
		out = io.Discard
	}
	e = e.withDefaults()
	b.ComputeSeconds, b.MemoryBytes = e.Compute.Seconds(), e.MemoryBytes
	p, err := e.start(ctx)
	if err != nil {
		return fmt.Errorf("%s: the script's process could not be started: %w", b.Script.Name, err)
	}
	r := &running{Engine: e, process: p, script: b.Script, host: h, out: out}
	err = r.serve(b)
	death := p.end()
	if err != nil || r.ended {
		return err
	}
	return r.died(death)
}

func (e Engine) withDefaults() Engine {
	if e.Compute == 0 {
		e.Compute = defaultCompute
	}
	if e.Grace == 0 {
		e.Grace = defaultGrace
	}
	if e.MemoryBytes == 0 {
		e.MemoryBytes = defaultMemoryBytes
	}
	return e
}

// running is one run of a script as the parent sees it.
type running struct {
	Engine
	process *process
	script  Script
	host    Host
	out     io.Writer
	line    int   // of the last call
	hostErr error // of the last call
	ended   bool  // the child said how the script ended
}

// serve answers the child until it ends. A nil error without r.ended means that
// the child died; p.end knows how.
func (r *running) serve(b beginning) error {
	r.process.allow(startLimit)
	if err := r.process.send(b); err != nil {
		if _, ok := errors.AsType[*json.UnsupportedValueError](err); ok {
			return r.wrap(0, fmt.Sprintf("a fact about the bench is not a number: %v", err), err)
		}
		// A broken pipe is the child's death; its messages end below.
	}
	for message := range r.process.messages {
		switch {
		case message.End != nil:
			r.ended = true
			return r.finish(*message.End)
		case message.Ready:
			r.process.allow(r.Compute + r.Grace)
		default:
			r.process.allow(0) // the host's time is not the script's
			if err := r.call(message); err != nil {
				return err
			}
		}
	}
	return nil
}

// call serves one call. An error ends the script.
func (r *running) call(m request) error {
	r.line = r.plausible(m.Line)
	call, known := LookupCall(m.Call)
	if !known {
		return r.distrust(fmt.Errorf("called %s, which does not exist", show(m.Call)))
	}
	arguments, err := call.checkJSON(m.Arguments)
	if err != nil {
		return r.distrust(fmt.Errorf("passed bad arguments: %w", err))
	}
	result, err := r.host.Call(r.process.ctx, call.Name, arguments, r.line)
	if r.process.ctx.Err() != nil {
		return nil // stopped or died in the meantime; the loop's end says which
	}
	if fatal, ok := errors.AsType[Fatal](err); ok {
		return r.wrap(r.line, fatal.Error(), fatal.Err)
	}
	r.hostErr = err
	if err == nil && call.Name == "log" {
		var said struct{ Text string }
		_ = json.Unmarshal(arguments, &said) // checked above
		fmt.Fprintln(r.out, said.Text)
	}
	answer := reply{Result: result}
	if err != nil {
		answer = reply{Error: &refusal{Kind: kindOf(err), Message: err.Error()}}
	} else if len(result) > 0 && !json.Valid(result) {
		return r.wrap(r.line, fmt.Sprintf("the bench answered %s with what is not JSON: %s", call.Name, show(string(result))), nil)
	}
	r.process.allow(r.Compute + r.Grace)
	// A failure to send is the child's death, seen by the reader.
	_ = r.process.answer(answer)
	return nil
}

func kindOf(err error) string {
	if e, ok := errors.AsType[*CallError](err); ok && e.Kind != "" {
		return e.Kind
	}
	return "error"
}

// finish turns the child's own account of its end into an error.
func (r *running) finish(end ending) error {
	if end.Message == "" {
		return nil
	}
	var cause error
	// The script may have caught the host's error and raised another one.
	if r.hostErr != nil && end.Kind == kindOf(r.hostErr) && end.Message == r.hostErr.Error() {
		cause = r.hostErr
	}
	return &ScriptError{File: r.script.Name, Line: r.plausible(end.Line), Message: cleaned(end.Message),
		Trace: cleaned(end.Trace), Err: cause}
}

// distrust ends a child that sends what no script can make it send.
func (r *running) distrust(err error) error {
	return r.wrap(r.line, fmt.Sprintf("the script's process %v; it was ended", err), nil)
}

// plausible returns a line that the script has, else 0.
func (r *running) plausible(line int) int {
	if line < 0 || line > strings.Count(r.script.Source, "\n")+1 {
		return 0
	}
	return line
}

func (r *running) wrap(line int, message string, cause error) error {
	return &ScriptError{File: r.script.Name, Line: line, Message: message, Err: cause}
}

// cleaned bounds a message from the child.
func cleaned(message string) string {
	const longest = 4 << 10
	if len(message) > longest {
		message = message[:longest] + "…"
	}
	return strings.ToValidUTF8(message, "\uFFFD")
}
