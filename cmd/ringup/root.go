package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"

	"github.com/spf13/cobra"

	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/failrate"
	"ringup/scripts"
)

// Exit status of every command.
const (
	exitDone    = 0
	exitFailed  = 1
	exitUsage   = 2 // or a bad file
	exitReject  = 3 // done, and the script's own acceptance said reject
	exitStopped = 4 // by a person
	exitNotOff  = 5 // the supply is not confirmed off
)

// streams are what a command reads from and prints to.
type streams struct {
	in       io.Reader
	out, err io.Writer
}

// options are the flags every command has.
type options struct {
	bench    string
	logbook  string
	dialects string
	json     bool
}

// run carries out one command line and returns the exit status.
func run(ctx context.Context, args []string, in io.Reader, out, errOut io.Writer) int {
	if len(args) > 0 && args[0] == scripts.ChildCommand {
		return scripts.ChildMain(in, out)
	}
	root := newRoot(streams{in, out, errOut})
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errOut)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return exitDone
	}
	fmt.Fprintln(errOut, "ringup:", err)
	return status(err)
}

// newRoot builds the command tree.
func newRoot(io streams) *cobra.Command {
	var o options
	root := &cobra.Command{
		Use:   "ringup",
		Short: "does the unit start? power-cycle it all night and know",
		Long: `ringup power-cycles a unit unattended at set supply voltages, judges each start from
the scope's waveform, says how often it fails and how sure that is, helps to find the
part, and proves the repair.

Exit status: 0 done; 1 failed; 2 usage or a bad file; 3 done, and the script rejects
the unit; 4 a person ended the run; 5 the supply is not confirmed off.`,
		Example:       "  ringup demo\n  ringup run soak.lua -b bench.toml",
		Version:       version(),
		SilenceErrors: true,
		SilenceUsage:  true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return fmt.Errorf("there is no command %q", args[0])
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usage{err} })
	flags := root.PersistentFlags()
	flags.StringVarP(&o.bench, "bench", "b", "bench.toml", "bench `file`: instruments, limits, probes, expectations")
	flags.StringVar(&o.logbook, "logbook", defaultLogbook(), "logbook `file`")
	flags.StringVar(&o.dialects, "dialects", "", "`folder` of your own dialect files (default: dialects beside the bench file)")
	root.AddCommand(
		newDemo(io, &o), newFind(io, &o), newCheck(io, &o), newRehearse(io, &o), newRun(io, &o), newServe(io, &o),
		newSubmit(io, &o), newStatus(io, &o), newHold(io, &o), newResume(io, &o), newStop(io, &o), newMark(io, &o), newAnswer(io, &o),
		newRuns(io, &o), newShow(io, &o), newCompare(io, &o), newReport(io, &o), newExport(io, &o), newShip(io, &o),
		newNeed(io, &o),
		newCrystal(io, &o), newJudge(io, &o),
		newSimbench(io), newGuard(io),
	)
	for _, c := range append(root.Commands(), root) {
		check := c.Args
		if check != nil {
			c.Args = func(cmd *cobra.Command, args []string) error {
				if err := check(cmd, args); err != nil {
					return usage{fmt.Errorf("%w; see %s --help", err, cmd.CommandPath())}
				}
				return nil
			}
		}
	}
	return root
}

// usage marks an error of the command line or of a file that the user wrote.
type usage struct{ error }

func (u usage) Unwrap() error { return u.error }

// stopped is the error of a run that a person ended.
var errStopped = errors.New("stopped")

// errRejected is the error of a run that went well and whose script rejects the unit.
var errRejected = errors.New("the script rejects the unit")

// status chooses the exit status for an error. The supply comes first.
func status(err error) int {
	var (
		notOff *runner.NotOffError
		use    usage
		bad    *bench.Errors
		input  *failrate.InputError
	)
	switch {
	case errors.As(err, &notOff):
		return exitNotOff
	case errors.Is(err, errStopped):
		return exitStopped
	case errors.Is(err, errRejected):
		return exitReject
	case errors.As(err, &use), errors.As(err, &bad), errors.As(err, &input):
		return exitUsage
	default:
		return exitFailed
	}
}

func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok || info.Main.Version == "" || info.Main.Version == "(devel)" {
		return "development"
	}
	return info.Main.Version
}

// defaultLogbook is one file a user, wherever commands are typed, unless $RINGUP_LOGBOOK says otherwise.
func defaultLogbook() string {
	if path := os.Getenv("RINGUP_LOGBOOK"); path != "" {
		return path
	}
	if data := os.Getenv("XDG_DATA_HOME"); data != "" {
		return filepath.Join(data, "ringup", "logbook.db")
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "ringup-logbook.db"
	}
	return filepath.Join(home, ".local", "share", "ringup", "logbook.db")
}

// jsonFlag adds --json to a command that prints results.
func jsonFlag(c *cobra.Command, o *options) {
	c.Flags().BoolVar(&o.json, "json", false, "print the result as one JSON object")
}
