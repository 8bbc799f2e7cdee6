package scripts

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/signal"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"time"

	lua "github.com/yuin/gopher-lua"
	"github.com/yuin/gopher-lua/parse"
)

// child is the script's side of the pipe.
type child struct {
	stdout  io.Writer
	replies chan reply
	script  Script
	L       *lua.LState
	budget  *budget
}

// ChildMain is the body of the child process: it reads the script from stdin,
// runs it, and writes its calls and its end to stdout. It returns the exit
// status. When stdin ends, the parent is gone, and the process exits at once.
func ChildMain(stdin io.Reader, stdout io.Writer) int {
	// A signal to the whole process group or service is the parent's to handle:
	// it ends its child when the supply is off.
	signal.Ignore(os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	in := bufio.NewReader(stdin)
	var b beginning
	if err := receive(in, math.MaxInt, &b); err != nil {
		fmt.Fprintln(os.Stderr, "script process: no script received:", err)
		return 2
	}
	c := &child{stdout: stdout, replies: make(chan reply), script: b.Script}
	go c.listen(in)
	end, err := c.run(b)
	if err != nil {
		end = ending{Message: err.Error()}
	}
	end.Message, end.Trace = cleaned(end.Message), cleaned(end.Trace)
	if err := send(stdout, request{End: &end}); err != nil {
		return 2
	}
	return 0
}

// listen passes replies on. It runs apart from the script so that the end of the
// parent ends the process even in the middle of a computation.
func (c *child) listen(in *bufio.Reader) {
	for {
		var r reply
		if err := receive(in, math.MaxInt, &r); err != nil {
			os.Exit(3)
		}
		c.replies <- r
	}
}

// run compiles and runs the script. The error is the machine's fault, not the script's.
func (c *child) run(b beginning) (ending, error) {
	if err := limitMemory(b.MemoryBytes); err != nil {
		return ending{}, fmt.Errorf("the script's memory could not be limited: %w", err)
	}
	proto, failed := compile(c.script)
	if failed != nil || b.CheckOnly {
		return orDone(failed), nil
	}
	L, globals := newState()
	defer L.Close()
	c.L = L
	c.register(L, globals)
	globals.RawSetString("print", L.NewFunction(c.print))
	globals.RawSetString("unit", readOnly(L, "unit", b.Facts.Unit))
	globals.RawSetString("bench", readOnly(L, "bench", b.Facts.Bench))
	globals.RawGetString("math").(*lua.LTable).RawSetString("random", L.NewFunction(c.mathRandom))

	if err := send(c.stdout, request{Ready: true}); err != nil {
		return ending{}, err
	}
	limit := time.Duration(b.ComputeSeconds * float64(time.Second))
	c.budget = newBudget(limit)
	L.SetContext(c.budget.context)
	L.Push(L.NewFunctionFromProto(proto))
	err := L.PCall(0, 0, nil)
	if err == nil {
		return ending{}, nil
	}
	failed = c.explain(err)
	if c.budget.context.Err() != nil {
		failed.Message, failed.Kind = ranTooLong(limit), ""
	}
	return *failed, nil
}

func orDone(failed *ending) ending {
	if failed == nil {
		return ending{}
	}
	return *failed
}

// ranTooLong is the message of both guards against a script that never calls.
func ranTooLong(limit time.Duration) string {
	return fmt.Sprintf("the script ran %v without calling anything; put a wait or a cycle into the loop, "+
		"or make the text pattern simpler", limitText(limit))
}

func limitText(limit time.Duration) string {
	return strconv.FormatFloat(limit.Seconds(), 'g', -1, 64) + " s"
}

var atLine = regexp.MustCompile(` at line (\d+)$`)

// compile returns the compiled script or where its syntax is wrong.
func compile(s Script) (*lua.FunctionProto, *ending) {
	statements, err := parse.Parse(strings.NewReader(s.Source), s.Name)
	if err == nil {
		var proto *lua.FunctionProto
		if proto, err = lua.Compile(statements, s.Name); err == nil {
			return proto, nil
		}
	}
	if e, ok := errors.AsType[*parse.Error](err); ok {
		message := strings.TrimSpace(e.Message)
		if e.Pos.Line == parse.EOF {
			return nil, &ending{Line: strings.Count(strings.TrimRight(s.Source, "\n"), "\n") + 1,
				Message: message + ": the script ends too early; is an end, a bracket or a quote missing?"}
		}
		line := e.Pos.Line
		if e.Pos.Column == 0 && line > 1 {
			line-- // the scanner has already stepped over the line end that it rejects
		}
		return nil, &ending{Line: line, Message: fmt.Sprintf("%s near %s", message, show(e.Token))}
	}
	if e, ok := errors.AsType[*lua.CompileError](err); ok {
		line := e.Line
		if found := atLine.FindStringSubmatch(e.Message); found != nil {
			line, _ = strconv.Atoi(found[1]) // of the goto; Line is the end of its block
		}
		return nil, &ending{Line: line, Message: e.Message}
	}
	return nil, &ending{Message: err.Error()}
}

// explain turns the engine's error into line and message.
func (c *child) explain(err error) *ending {
	object, trace := lua.LValue(lua.LString(err.Error())), ""
	if e, ok := errors.AsType[*lua.ApiError](err); ok {
		object, trace = e.Object, e.StackTrace
	}
	end := c.place(object)
	end.Trace = trace
	if end.Line == 0 {
		// The innermost line of the script.
		position := regexp.MustCompile(`(?m)^\s*` + regexp.QuoteMeta(c.script.Name) + `:(\d+):`)
		if found := position.FindStringSubmatch(trace); found != nil {
			end.Line, _ = strconv.Atoi(found[1])
		}
	}
	return end
}

// place reads line and message from the value of an error.
func (c *child) place(object lua.LValue) *ending {
	if table, ok := object.(*lua.LTable); ok {
		line, _ := table.RawGetString("line").(lua.LNumber)
		message, isText := table.RawGetString("message").(lua.LString)
		kind, _ := table.RawGetString("kind").(lua.LString)
		if !isText {
			message = "error was called with a table that has no message"
		}
		return &ending{Line: int(line), Message: string(message), Kind: string(kind)}
	}
	// The engine puts "name:line: " before a text.
	if object == lua.LNil {
		return &ending{Message: "error was called without a message"}
	}
	message := object.String()
	rest, found := strings.CutPrefix(message, c.script.Name+":")
	digits, text, colon := strings.Cut(rest, ":")
	if line, err := strconv.Atoi(digits); found && colon && err == nil {
		return &ending{Line: line, Message: strings.TrimSpace(text)}
	}
	return &ending{Message: message}
}

// budget is the time that Lua may run between two calls.
type budget struct {
	limit   time.Duration
	timer   *time.Timer
	context context.Context
}

func newBudget(limit time.Duration) *budget {
	ctx, cancel := context.WithCancel(context.Background())
	return &budget{limit: limit, timer: time.AfterFunc(limit, cancel), context: ctx}
}

// stop is called when a call begins; false means that the time is over.
func (b *budget) stop() bool { return b.timer.Stop() }

// restart is called when a call returns.
func (b *budget) restart() { b.timer.Reset(b.limit) }
