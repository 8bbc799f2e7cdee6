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
	power, err := json.Marshal(runner.PowerOf(b, dialectFolder(o)))
	if err != nil {
		return nil, err
	}
	g := &guardProcess{cmd: exec.Command(self, "guard", string(power))}
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
		Use: "guard POWER", Hidden: true, Args: cobra.ExactArgs(1),
		Short: "switch a supply off when the parent process dies",
		RunE: func(cmd *cobra.Command, args []string) error {
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
