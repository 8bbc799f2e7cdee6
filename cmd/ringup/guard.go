package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"ringup/drivers"
	"ringup/runner"
	"ringup/runner/bench"
)

// guardProcess switches the supply off if this process is killed. It holds no instrument while all is well:
// it only waits on a pipe whose other end dies with its parent.
type guardProcess struct {
	cmd  *exec.Cmd
	word io.WriteCloser
}

const (
	allIsOff      = "off"           // what the parent says when it has read the supply back as off
	guardPatience = 2 * time.Minute // how long a guard tries before it calls a person
)

// startGuard starts the guard for a real bench. The simulated bench dies with this process and needs none.
func startGuard(b *bench.Bench, o options) (*guardProcess, error) {
	if b.Simulated() {
		return nil, nil
	}
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	g := &guardProcess{cmd: exec.Command(self, "guard", b.Supply.Address, b.Supply.Dialect, strconv.Itoa(b.Supply.Channel), dialectFolder(o))}
	g.cmd.Stderr = os.Stderr
	g.cmd.SysProcAttr = ownGroup() // Ctrl-C is for the parent alone
	if g.word, err = g.cmd.StdinPipe(); err != nil {
		return nil, err
	}
	if err := g.cmd.Start(); err != nil {
		return nil, fmt.Errorf("start the guard of the supply: %w", err)
	}
	return g, nil
}

// dismiss lets the guard go, unless the run ended with the supply not confirmed off: then the guard goes on
// trying.
func (g *guardProcess) dismiss(err error) {
	if g == nil {
		return
	}
	var notOff *runner.NotOffError
	if !errors.As(err, &notOff) {
		fmt.Fprintln(g.word, allIsOff)
	}
	g.word.Close()
	_ = g.cmd.Wait() // its own words are on the terminal already
}

func newGuard(s streams) *cobra.Command {
	return &cobra.Command{
		Use: "guard ADDRESS DIALECT CHANNEL DIALECTS", Hidden: true, Args: cobra.ExactArgs(4),
		Short: "switch a supply off when the parent process dies",
		RunE: func(cmd *cobra.Command, args []string) error {
			channel, err := strconv.Atoi(args[2])
			if err != nil {
				return usage{err}
			}
			line, _ := bufio.NewReader(s.in).ReadString('\n') // an error is the parent's end, too
			if line == allIsOff+"\n" {
				return nil
			}
			fmt.Fprintln(s.err, "ringup guard: ringup ended without switching the supply off; doing that now")
			ctx, cancel := context.WithTimeout(cmd.Context(), guardPatience)
			defer cancel()
			o := drivers.Options{Role: "supply", Address: args[0], Dialect: args[1], Channel: channel, DialectDir: args[3]}
			if err := switchOff(ctx, o); err != nil {
				return &runner.NotOffError{Err: err}
			}
			fmt.Fprintln(s.err, "ringup guard: the supply is off, read back")
			return nil
		},
	}
}

// switchOff opens a supply and switches it off, again and again until it is read back as off.
func switchOff(ctx context.Context, o drivers.Options) error {
	for {
		supply, err := drivers.OpenSupply(ctx, o)
		if err == nil {
			err = supply.Off(ctx)
			supply.Close()
		}
		if err == nil {
			return nil
		}
		select {
		case <-time.After(time.Second):
		case <-ctx.Done():
			return err
		}
	}
}
