package scripts

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync/atomic"
	"time"
)

// process is the child as its parent holds it. Its context ends with the run's,
// with the child, or when the child breaks a bound; the cause says which.
type process struct {
	ctx      context.Context
	cancel   context.CancelCauseFunc
	command  *exec.Cmd
	stdin    io.WriteCloser
	stderr   *head
	messages chan request
	serving  atomic.Bool // a call waits for its answer: the child must be silent
	ready    bool        // the child said so; once is enough
	watchdog *time.Timer
}

var (
	errChildGone = errors.New("the child ended")
	errTooSlow   = errors.New("the child was too slow")
)

// start starts the child and the reading of its messages.
func (e Engine) start(ctx context.Context) (*process, error) {
	command := e.command
	if command == nil {
		self, err := os.Executable()
		if err != nil {
			return nil, err
		}
		command = []string{self, ChildCommand}
	}
	if err := keepDescriptors(); err != nil {
		return nil, err
	}
	p := &process{stderr: &head{}, messages: make(chan request)}
	p.ctx, p.cancel = context.WithCancelCause(ctx)
	p.watchdog = time.AfterFunc(time.Hour, func() { p.cancel(errTooSlow) })
	p.watchdog.Stop()
	p.command = exec.CommandContext(p.ctx, command[0], command[1:]...)
	// Nothing of the parent's environment reaches a script. Two threads serve it;
	// more would take address space from its memory.
	p.command.Env = []string{"GOMAXPROCS=2", "GOTRACEBACK=single"}
	p.command.Stderr = p.stderr
	p.command.WaitDelay = time.Second
	stdin, err := p.command.StdinPipe()
	if err != nil {
		return nil, err
	}
	stdout, err := p.command.StdoutPipe()
	if err != nil {
		return nil, err
	}
	p.stdin = stdin
	if err := p.command.Start(); err != nil {
		p.cancel(err)
		return nil, err
	}
	if e.started != nil {
		e.started(p.command.Process.Pid)
	}
	go p.read(stdout)
	return p, nil
}

// read passes the child's messages on until it ends, and then ends the context,
// so that a call in progress learns of it.
func (p *process) read(stdout io.Reader) {
	defer close(p.messages)
	in := bufio.NewReader(stdout)
	for {
		var m request
		if err := receive(in, maxMessage, &m); err != nil {
			p.cancel(readError(err))
			return
		}
		if m.Ready && p.ready || m.End == nil && !m.Ready && !p.serving.CompareAndSwap(false, true) {
			p.cancel(violation{"spoke out of turn"})
			return
		}
		p.ready = p.ready || m.Ready
		select {
		case p.messages <- m:
		case <-p.ctx.Done():
			return
		}
	}
}

// violation is a message that ChildMain never sends.
type violation struct{ what string }

func (v violation) Error() string { return v.what }

func readError(err error) error {
	switch {
	case errors.Is(err, errTooLong):
		return violation{err.Error()}
	case errors.Is(err, io.EOF), errors.Is(err, os.ErrClosed):
		return errChildGone
	}
	return violation{"sent what is not a message: " + err.Error()}
}

// allow gives the child so long until its next message; 0 is for ever.
func (p *process) allow(limit time.Duration) {
	p.watchdog.Stop()
	if limit > 0 {
		p.watchdog.Reset(limit)
	}
}

func (p *process) send(message any) error { return send(p.stdin, message) }

// answer sends the answer to a call.
func (p *process) answer(r reply) error {
	p.serving.Store(false)
	return p.send(r)
}

// end ends the child if it still runs, waits for it, and says why it ended.
func (p *process) end() death {
	p.watchdog.Stop()
	cause := context.Cause(p.ctx)
	p.cancel(errChildGone)
	p.stdin.Close()
	_ = p.command.Wait() // its error says less than the state
	for range p.messages {
		// Let the reader end.
	}
	return death{cause: cause, state: p.command.ProcessState, stderr: p.stderr.String()}
}

// death is what is known about a child that did not say how its script ended.
type death struct {
	cause  error // what ended its context
	state  *os.ProcessState
	stderr string
}

// died turns a death into the script's error.
func (r *running) died(d death) error {
	v, broke := errors.AsType[violation](d.cause)
	switch {
	case broke:
		return r.distrust(v)
	case errors.Is(d.cause, errTooSlow) && !r.process.ready:
		return r.wrap(0, fmt.Sprintf("the script was not compiled within %s; it is nested too deeply, or this computer is overloaded",
			limitText(startLimit)), nil)
	case errors.Is(d.cause, errTooSlow):
		return r.wrap(r.line, ranTooLong(r.Compute)+" (it could not be interrupted"+r.lastCall()+")", nil)
	case !errors.Is(d.cause, errChildGone):
		return r.wrap(r.line, fmt.Sprintf("the script was stopped: %v", d.cause), d.cause)
	case d.ranOutOfMemory() && !r.process.ready:
		return r.wrap(0, fmt.Sprintf("the script needs more than %d MiB to compile; it is nested too deeply", r.MemoryBytes>>20), nil)
	case d.ranOutOfMemory():
		return r.wrap(r.line, fmt.Sprintf("the script used more than %d MiB; keep counts and sums instead of every value%s",
			r.MemoryBytes>>20, r.lastCall()), nil)
	case strings.Contains(d.state.String(), "signal: killed"):
		return r.wrap(r.line, "the script's process was killed, by a person or by the system when short of memory", nil)
	}
	first, _, _ := strings.Cut(d.stderr, "\n")
	return r.wrap(r.line, fmt.Sprintf("the script's process ended unexpectedly (%v): %s", d.state, cleaned(first)), nil)
}

// lastCall explains the line of an error whose place only the child knew.
func (r *running) lastCall() string {
	if r.line == 0 {
		return "; it had called nothing yet"
	}
	return "; the line is that of its last call"
}

// ranOutOfMemory recognises the Go runtime's words for an allocation, a stack or
// a thread that the system refused.
func (d death) ranOutOfMemory() bool {
	for _, words := range []string{outOfMemory, "cannot allocate memory", "failed to create new OS thread",
		"pthread_create failed", "stack overflow"} {
		if strings.Contains(d.stderr, words) {
			return true
		}
	}
	return false
}

// head keeps the first 4 KiB written to it: a Go crash says the reason first.
type head struct{ kept []byte }

func (h *head) Write(p []byte) (int, error) {
	const most = 4 << 10
	h.kept = append(h.kept, p[:min(len(p), most-len(h.kept))]...)
	return len(p), nil
}

func (h *head) String() string { return string(h.kept) }
