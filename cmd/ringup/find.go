package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"ringup/drivers"
	"ringup/drivers/dialect"
	"ringup/drivers/link"
	"ringup/drivers/scpi"
	"ringup/runner/benchcheck"
)

// scpiPort is where instruments on the LAN listen for SCPI on a raw socket, by common practice.
const scpiPort = "5025"

// findFlags are those of find.
type findFlags struct {
	serial, lan []string
	ask         bool
	output      string
}

func newFind(io streams, o *options) *cobra.Command {
	var f findFlags
	c := &cobra.Command{
		Use: "find [ADDRESS...]", Short: "which instruments are there? proposes a bench file",
		Long: `Lists the serial ports and USB-TMC instruments of this computer without touching them, and
asks *IDN? of those that you name: by their address, with --serial or with --lan. --ask
asks every port listed.

Asking opens a port and writes to it, at several baud rates if need be. An instrument
does not mind. Something else at a serial port may: a printer prints it, a modem or a
control may act on it. So name the ports, or unplug what is no instrument before --ask.

With -o it writes a bench file for what was found. Limits and expectations are left empty
in it, since only you know your unit; ringup check lists what is missing.`,
		Example: "  ringup find\n  ringup find --serial /dev/ttyUSB0 --lan 192.0.2.17 -o bench.toml\n  ringup find --ask",
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx, stop := signal.NotifyContext(cmd.Context(), os.Interrupt, syscall.SIGTERM)
			defer stop()
			return find(ctx, io, *o, f, args)
		},
	}
	jsonFlag(c, o)
	c.Flags().StringArrayVar(&f.serial, "serial", nil, "ask at this serial port, `PATH[?baud=...]`")
	c.Flags().StringArrayVar(&f.lan, "lan", nil, "ask at this host, `HOST[:PORT]`, port "+scpiPort+" by default")
	c.Flags().BoolVar(&f.ask, "ask", false, "ask at every port that is listed")
	c.Flags().StringVarP(&f.output, "output", "o", "", "write a bench file for what was found to this new `file`")
	return c
}

// instrument is one line of find: a place, and what answered there.
type instrument struct {
	Address     string    `json:"address"`
	Kind        link.Kind `json:"kind"`
	Description string    `json:"description,omitempty"` // of the port, from the operating system
	Asked       bool      `json:"asked"`
	Identity    string    `json:"identity,omitempty"` // the *IDN? reply
	Role        string    `json:"role,omitempty"`     // the kind of instrument, if a dialect knows it
	Dialect     string    `json:"dialect,omitempty"`
	Problem     string    `json:"problem,omitempty"`
	Note        string    `json:"note,omitempty"`

	place   string
	problem error
}

// findings is what find --json prints.
type findings struct {
	Instruments []*instrument `json:"instruments"`
	BenchFile   string        `json:"bench_file,omitempty"`
	UdevRules   string        `json:"udev_rules,omitempty"` // where this user lacks the permission that they give
}

// find is the find command.
func find(ctx context.Context, s streams, o options, f findFlags, addresses []string) error {
	if f.output != "" {
		if _, err := os.Lstat(f.output); err == nil {
			return usage{fmt.Errorf("%s is there already and is not overwritten; give another name with -o", f.output)}
		}
	}
	dialects, err := dialect.Load(dialectFolder(o))
	if err != nil {
		return usage{err}
	}
	all, err := places(f, addresses)
	if err != nil {
		return err
	}
	for _, i := range all {
		if i.Asked {
			fmt.Fprintf(s.err, "asking %s\n", i.Address)
			i.ask(ctx, dialects)
		}
		if err := ctx.Err(); err != nil {
			return errStopped
		}
	}
	compare(all)
	result := findings{Instruments: all}
	if lacksPermission(all) {
		result.UdevRules = link.UdevRules
	}
	var writeErr error
	if f.output != "" {
		if writeErr = writeNew(f.output, propose(all)); writeErr == nil {
			result.BenchFile = f.output
		}
	}
	if o.json {
		err = printJSON(s.out, result)
	} else {
		err = printFindings(s.out, result)
	}
	if writeErr != nil {
		return errors.Join(writeErr, err)
	}
	return errors.Join(err, silent(all))
}

// places gathers the ports of this computer and the addresses that the user named.
func places(f findFlags, addresses []string) ([]*instrument, error) {
	for _, path := range f.serial {
		addresses = append(addresses, "serial:"+strings.TrimPrefix(path, "serial:"))
	}
	for _, host := range f.lan {
		if _, _, err := net.SplitHostPort(host); err != nil {
			host = net.JoinHostPort(strings.Trim(host, "[]"), scpiPort)
		}
		addresses = append(addresses, "tcp:"+host)
	}
	ports, err := link.Ports()
	if err != nil {
		return nil, fmt.Errorf("list the ports of this computer: %w", err)
	}
	all := []*instrument{} // not null in JSON
	for _, p := range ports {
		place, err := drivers.Place(p.Address)
		if err != nil {
			return nil, err
		}
		all = append(all, &instrument{Address: p.Address, Kind: p.Kind, Description: p.Description, Asked: f.ask, place: place, problem: p.Problem})
	}
	named := map[string]string{}
	for _, address := range addresses {
		a, err := link.Parse(address)
		if err != nil {
			return nil, usage{err}
		}
		place, err := drivers.Place(address)
		if err != nil {
			return nil, usage{err}
		}
		if other, twice := named[place]; twice {
			return nil, usage{fmt.Errorf("%s and %s are one place: name it once", other, address)}
		}
		named[place] = address
		i := &instrument{Address: a.String(), Kind: a.Kind, Asked: true, place: place}
		listed := false
		for k, port := range all {
			if port.place == place {
				i.Description, i.problem = port.Description, port.problem
				all[k], listed = i, true
			}
		}
		if !listed {
			all = append(all, i)
		}
	}
	for _, i := range all {
		if i.problem != nil {
			i.Problem, i.Asked = i.problem.Error(), false
		}
	}
	return all, nil
}

// ask finds out who is at an address.
func (i *instrument) ask(ctx context.Context, dialects []*dialect.Dialect) {
	a, err := link.Parse(i.Address)
	if err == nil {
		var answer benchcheck.Answer
		if answer, err = benchcheck.Ask(ctx, a, true); err == nil {
			i.Address, i.Identity = answer.Address.String(), answer.Reply
			if answer.Address.Baud != a.Baud {
				i.Note = fmt.Sprintf("no readable *IDN? at %d baud, but at %d", a.Baud, answer.Address.Baud)
			}
			if answer.Address.MAVOff != a.MAVOff {
				i.Note = "its status byte does not say when a reply waits, so it is asked straight away: mav=off"
			}
			kind, name := dialect.KindOf(dialects, answer.Reply)
			i.Role, i.Dialect = string(kind), name
			return
		}
	}
	i.problem, i.Problem = err, strings.TrimPrefix(benchcheck.Cause(err).Error(), a.String()+": ")
}

// compare marks addresses that lead to one instrument.
func compare(all []*instrument) {
	for k, i := range all {
		identity, _, err := scpi.ParseIdentity(i.Identity)
		if err != nil {
			continue
		}
		for _, other := range all[:k] {
			if o, _, err := scpi.ParseIdentity(other.Identity); err == nil && benchcheck.SameInstrument(o, identity) {
				i.Note = "the same instrument as at " + other.Address
				break
			}
		}
	}
}

// lacksPermission says whether there is a USB-TMC instrument that this user may not open. For a serial port the error
// itself names the group, and no rule is needed.
func lacksPermission(all []*instrument) bool {
	return slices.ContainsFunc(all, func(i *instrument) bool {
		var permission *link.PermissionError
		return i.Kind == link.USBTMC && errors.As(i.problem, &permission)
	})
}

// silent is the error of addresses that were asked and did not answer.
func silent(all []*instrument) error {
	asked, failed := 0, 0
	for _, i := range all {
		if i.Asked {
			asked++
			if i.Identity == "" {
				failed++
			}
		}
	}
	if failed == 0 {
		return nil
	}
	return fmt.Errorf("%d of %d did not say who they are", failed, asked)
}

// writeNew writes a file that must not be there yet.
func writeNew(path, text string) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return usage{err}
	}
	_, err = io.WriteString(f, text)
	return errors.Join(err, f.Close())
}

func printFindings(w io.Writer, r findings) error {
	if len(r.Instruments) == 0 {
		fmt.Fprintln(w, "This computer has no serial port and no USB-TMC instrument. Name what is on the LAN with --lan HOST.")
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, i := range r.Instruments {
		role, what := i.Role, i.Identity
		switch {
		case i.Problem != "":
			role, what = "?", i.Problem
		case !i.Asked:
			role, what = "?", strings.TrimSpace(i.Description+" (not asked: name it, or --ask)")
		case role == "":
			role = "other"
		}
		if i.Note != "" {
			what += "  (" + i.Note + ")"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\n", role, i.Address, what)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if r.UdevRules != "" {
		fmt.Fprintf(w, "\nSave these udev rules as %s:\n\n%s\n", link.UdevRulesPath, r.UdevRules)
	}
	if r.BenchFile == "" && slices.ContainsFunc(r.Instruments, func(i *instrument) bool { return i.Role != "" }) {
		fmt.Fprintln(w, "\nThe same with -o bench.toml writes a bench file for them.")
	}
	if r.BenchFile != "" {
		fmt.Fprintf(w, "\n%[1]s is written. Fill in what is empty, and then: ringup check -b %[1]s\n", r.BenchFile)
	}
	return nil
}
