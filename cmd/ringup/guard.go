package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"ringup/drivers"
	"ringup/runner"
	"ringup/runner/bench"
)

// guardProcess switches the supply off if this process is killed. It holds no instrument while all is well:
// it only waits on a pipe whose other end dies with its parent. If it is killed itself, another takes its place.
type guardProcess struct {
	power string // JSON
	ended chan struct{}

	mu        sync.Mutex // guards the fields below
	word      io.WriteCloser
	dismissed bool
}

const (
	allIsOff      = "off"           // what the parent says when it has read the supply back as off
	guardPatience = 2 * time.Minute // how long a guard tries before it calls a person
	guardPause    = time.Second     // before the next try to start one
)

// startGuard starts the guard for a real bench. The simulated bench dies with this process and needs none.
func startGuard(b *bench.Bench, o options) (*guardProcess, error) {
	if b.Simulated() {
		return nil, nil
	}
	power, err := json.Marshal(runner.PowerOf(b, dialectFolder(o)))
	if err != nil {
		return nil, err
	}
	g := &guardProcess{power: string(power), ended: make(chan struct{})}
	cmd, err := g.start()
	if err != nil {
		return nil, fmt.Errorf("start the guard of the supply: %w", err)
	}
	go g.keep(cmd)
	return g, nil
}

// start starts a guard. Once this one is dismissed there is none to start, and the command is nil.
func (g *guardProcess) start() (*exec.Cmd, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	cmd := exec.Command(self, "guard", g.power)
	cmd.Stderr = os.Stderr
	cmd.SysProcAttr = ownGroup() // Ctrl-C is for the parent alone
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.dismissed {
		return nil, nil
	}
	if g.word, err = cmd.StdinPipe(); err != nil {
		return nil, err
	}
	return cmd, cmd.Start()
}

// keep sees to it that there is a guard until it is dismissed.
func (g *guardProcess) keep(cmd *exec.Cmd) {
	defer close(g.ended)
	for cmd != nil {
		err := cmd.Wait() // its own words are on the terminal already
		if g.isDismissed() {
			return
		}
		fmt.Fprintf(os.Stderr, "\nringup: the guard of the supply has ended (%v); another takes its place\n", err)
		for cmd, err = g.start(); err != nil; cmd, err = g.start() {
			time.Sleep(guardPause) // as when the computer is short of memory
		}
	}
}

func (g *guardProcess) isDismissed() bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.dismissed
}

// dismiss lets the guard go, unless the run ended with the supply not confirmed off: then the guard goes on
// trying.
func (g *guardProcess) dismiss(err error) {
	if g == nil {
		return
	}
	g.mu.Lock()
	g.dismissed = true
	var notOff *runner.NotOffError
	if !errors.As(err, &notOff) {
		fmt.Fprintln(g.word, allIsOff)
	}
	g.word.Close()
	g.mu.Unlock()
	<-g.ended
}

func newGuard(s streams) *cobra.Command {
	return &cobra.Command{
		Use: "guard POWER", Hidden: true, Args: cobra.ExactArgs(1),
		Short: "switch a supply off when the parent process dies",
		RunE: func(cmd *cobra.Command, args []string) error {
			signal.Ignore(allEndings...) // it ends with its work, and soon
			var power runner.Power
			if err := json.Unmarshal([]byte(args[0]), &power); err != nil {
				return usage{err}
			}
			line, _ := bufio.NewReader(s.in).ReadString('\n') // an error is the parent's end, too
			if line == allIsOff+"\n" {
				return nil
			}
			fmt.Fprintln(s.err, "ringup guard: ringup ended without switching the supply off; doing that now")
			ctx, cancel := context.WithTimeout(cmd.Context(), guardPatience)
			defer cancel()
			read, err := switchOff(ctx, power)
			if err != nil {
				return &runner.NotOffError{Err: err}
			}
			if read {
				fmt.Fprintln(s.err, "ringup guard: the supply is off, read back")
			} else {
				fmt.Fprintf(s.err, "ringup guard: the line %s is off, which opens the relay; nothing reads that back, so look before you touch the unit\n", power.Line)
			}
			return nil
		},
	}
}

// switchOff opens a supply and switches it off, again and again until it is read back as off, or until the command was
// taken by a relay that cannot be read back; read says which.
func switchOff(ctx context.Context, power runner.Power) (read bool, err error) {
	for {
		supply, err := power.Open(ctx, nil)
		if err == nil {
			err = supply.Off(ctx)
			read = drivers.ReadsBack(supply)
			supply.Close()
		}
		if err == nil {
			return read, nil
		}
		select {
		case <-time.After(time.Second):
		case <-ctx.Done():
			return false, err
		}
	}
}
