package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ringup/dashboards/live"
)

func newSubmit(io streams, o *options) *cobra.Command {
	var at daemonAt
	c := &cobra.Command{
		Use: "submit SCRIPT", Short: "give a script to the daemon", Args: cobra.ExactArgs(1),
		Example: "  ringup submit soak.lua",
		RunE: func(cmd *cobra.Command, args []string) error {
			program, err := readScript(args[0])
			if err != nil {
				return err
			}
			if err := checkScript(program); err != nil {
				return err
			}
			var taken struct {
				Run int64 `json:"run"`
			}
			body := map[string]string{"name": program.Name, "script": program.Text}
			daemon, err := at.client(o)
			if err != nil {
				return err
			}
			if err := daemon.call(cmd.Context(), http.MethodPost, "/api/v1/runs", body, &taken); err != nil {
				return err
			}
			if o.json {
				return printJSON(io.out, taken)
			}
			fmt.Fprintf(io.out, "run %d begun; watch it at %s\n", taken.Run, daemon.base)
			return nil
		},
	}
	jsonFlag(c, o)
	at.add(c)
	return c
}

func newStatus(io streams, o *options) *cobra.Command {
	var at daemonAt
	c := &cobra.Command{
		Use: "status", Short: "show what the daemon is doing", Args: cobra.NoArgs,
		Example: "  ringup status\n  ringup status --json",
		RunE: func(cmd *cobra.Command, _ []string) error {
			var s live.Status
			if err := at.call(cmd.Context(), o, http.MethodGet, "/api/v1/status", nil, &s); err != nil {
				return err
			}
			if o.json {
				return printJSON(io.out, s)
			}
			return printStatus(io, s)
		},
	}
	jsonFlag(c, o)
	at.add(c)
	return c
}

func printStatus(io streams, s live.Status) error {
	if s.Run == nil {
		_, err := fmt.Fprintln(io.out, "idle; no run in the logbook yet")
		return err
	}
	fmt.Fprintf(io.out, "run %d, %s on %s: %s", s.Run.ID, s.Run.Script, s.Run.Unit, s.Run.State)
	if s.Run.Reason != "" {
		fmt.Fprintf(io.out, " (%s)", s.Run.Reason)
	}
	fmt.Fprintf(io.out, "\n%d of %d cycles", s.Progress.Done, s.Progress.Planned)
	if s.Active && !s.Progress.ExpectedEnd.IsZero() {
		fmt.Fprintf(io.out, ", ends %s", s.Progress.ExpectedEnd.Format("Mon 2006-01-02 15:04"))
	}
	switch {
	case s.Supply.ConfirmedOff:
		fmt.Fprintln(io.out, "; supply off, read back")
	case s.Supply.Known && (s.Hold != nil || !s.Active):
		fmt.Fprintln(io.out, "; SUPPLY NOT CONFIRMED OFF")
	case s.Supply.Known && s.Supply.Output:
		fmt.Fprintln(io.out, "; SUPPLY ON")
	default:
		fmt.Fprintln(io.out)
	}
	switch {
	case s.Hold == nil:
	case s.Hold.Question != "":
		fmt.Fprintf(io.out, "held: %s\nanswer with: ringup answer TEXT\n", s.Hold.Question)
	case s.Hold.ForPerson:
		fmt.Fprintln(io.out, "held; go on with: ringup resume")
	default:
		fmt.Fprintln(io.out, "held; it goes on by itself once the instrument answers again")
	}
	fmt.Fprintln(io.out)
	return printConditions(io.out, s.Progress.Conditions)
}

func newStop(io streams, o *options) *cobra.Command {
	var at daemonAt
	c := &cobra.Command{
		Use: "stop", Short: "end the daemon's run, supply off", Args: cobra.NoArgs,
		Example: "  ringup stop",
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := at.call(cmd.Context(), o, http.MethodPost, "/api/v1/stop", struct{}{}, nil); err != nil {
				return err
			}
			fmt.Fprintln(io.out, "the run is being stopped; ringup status says when the supply is read back as off")
			return nil
		},
	}
	at.add(c)
	return c
}

func newHold(io streams, o *options) *cobra.Command {
	var at daemonAt
	c := &cobra.Command{
		Use: "hold [REASON]", Short: "hold the run, supply off, until ringup resume", Args: cobra.ArbitraryArgs,
		Long: `Holds the run. A cycle whose output is on is finished first; one that is still at rest is begun
anew afterwards, so nothing comes on any more. The command returns once the supply is off and
confirmed: then it is safe to touch the unit. A hold outlives a crash and a power cut.`,
		Example: "  ringup hold\n  ringup hold hands on the board",
		RunE: func(cmd *cobra.Command, args []string) error {
			d, err := at.client(o)
			if err != nil {
				return err
			}
			body := map[string]string{"reason": strings.Join(args, " ")}
			if err := d.call(cmd.Context(), http.MethodPost, "/api/v1/hold", body, nil); err != nil {
				return err
			}
			if err := awaitHeld(cmd.Context(), d); err != nil {
				return err
			}
			fmt.Fprintln(io.out, "held, supply off and confirmed; go on with: ringup resume")
			return nil
		},
	}
	at.add(c)
	return c
}

// heldPatience is how long a cycle may take to its end before a person is told to look.
const heldPatience = 2 * time.Minute

// awaitHeld waits until the daemon says that the run is held and the supply confirmed off.
func awaitHeld(ctx context.Context, d *client) error {
	ctx, cancel := context.WithTimeout(ctx, heldPatience)
	defer cancel()
	for {
		var s live.Status
		err := d.call(ctx, http.MethodGet, "/api/v1/status", nil, &s)
		switch {
		case err != nil:
			return err
		case s.Hold != nil && s.Supply.ConfirmedOff:
			return nil
		case !s.Active:
			return errors.New("the run ended meanwhile; ringup status says how")
		}
		select {
		case <-time.After(100 * time.Millisecond):
		case <-ctx.Done():
			return errors.New("the run is to hold, but the supply is not confirmed off yet; do not touch the unit before ringup status says so")
		}
	}
}

func newResume(io streams, o *options) *cobra.Command {
	var at daemonAt
	c := &cobra.Command{
		Use: "resume", Short: "let a held run go on", Args: cobra.NoArgs,
		Long: `Lets a run go on that is held for a person: by ringup hold, after too many unread cycles in a
row, or after too much current. A question wants its answer (ringup answer), and a hold for an
instrument that does not answer ends by itself.`,
		Example: "  ringup resume",
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := at.call(cmd.Context(), o, http.MethodPost, "/api/v1/resume", struct{}{}, nil); err != nil {
				return err
			}
			fmt.Fprintln(io.out, "the run goes on")
			return nil
		},
	}
	at.add(c)
	return c
}

func newMark(io streams, o *options) *cobra.Command {
	var at daemonAt
	var treatment bool
	c := &cobra.Command{
		Use: "mark TEXT", Short: "note what you did to the unit, or saw", Args: cobra.MinimumNArgs(1),
		Example: "  ringup mark heater came on\n  ringup mark --treatment C7 chilled",
		RunE: func(cmd *cobra.Command, args []string) error {
			body := map[string]any{"text": strings.Join(args, " "), "treatment": treatment}
			return at.call(cmd.Context(), o, http.MethodPost, "/api/v1/mark", body, nil)
		},
	}
	c.Flags().BoolVar(&treatment, "treatment", false, "count the cycles from now on under this treatment")
	at.add(c)
	return c
}

func newAnswer(_ streams, o *options) *cobra.Command {
	var at daemonAt
	c := &cobra.Command{
		Use: "answer TEXT", Short: "answer the question a held run asks", Args: cobra.MinimumNArgs(1),
		Example: "  ringup answer done\n  ringup answer C7 = 27 pF",
		RunE: func(cmd *cobra.Command, args []string) error {
			return at.call(cmd.Context(), o, http.MethodPost, "/api/v1/answer", map[string]string{"text": strings.Join(args, " ")}, nil)
		},
	}
	at.add(c)
	return c
}
