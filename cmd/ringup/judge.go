package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"github.com/spf13/cobra"

	"ringup/runner/bench"
	"ringup/runner/verdict"
	"ringup/runner/verdict/recording"
)

// judging is what the command line of judge asked for.
type judging struct {
	volts, clock, startWithin, amplitudeMin, frequencyWithin, railFraction, interval string

	roles  recording.Roles
	alias  bool
	output string

	bench *bench.Bench // nil without --bench
}

func newJudge(io streams, o *options) *cobra.Command {
	var g judging
	c := &cobra.Command{
		Use: "judge FILE…", Short: "judge recorded waveforms from any scope's file", Args: cobra.MinimumNArgs(1),
		Long: `Judges waveform files: CSV as scopes write it to a stick (comma, semicolon, tab or blanks;
decimal point or comma; header lines; a time column or a sample interval; peak-detect as two
columns or two rows), raw samples under a JSON header, and what ringup export --waveform
writes. Says what it took for what, the verdict, and the measures with ± one standard
deviation.

What a good start looks like comes from the file's own remarks, from --bench, and from the
flags; the later win.`,
		Example: `  ringup judge start.csv --clock 7.3728MHz --start-within 65ms --amplitude-min 0.8V
  ringup judge start.csv -b bench.toml --volts 2.6V -o chart.svg
  ringup judge start.csv --rail CH3 --clock-channel CH1 --json
  ringup judge *.csv -b bench.toml -o gallery.html
  ringup export last --waveform 412 | ringup judge -`,
		RunE: func(c *cobra.Command, files []string) error {
			if c.Flags().Changed("bench") {
				b, err := loadBench(o.bench)
				if err != nil {
					return err
				}
				g.bench = b
			}
			return g.judge(io, files, o.json)
		},
	}
	f := c.Flags()
	f.StringVar(&g.clock, "clock", "", "expected clock `frequency` (any if not given)")
	f.StringVar(&g.frequencyWithin, "frequency-within", "", "allowed `deviation` of it (1 % if not given)")
	f.StringVar(&g.startWithin, "start-within", "", "allowed start `time` (the whole record if not given)")
	f.StringVar(&g.amplitudeMin, "amplitude-min", "", "least peak `amplitude`, in volts or in % of the set volts (any if not given)")
	f.StringVar(&g.volts, "volts", "", "`voltage` the supply was set to (the rail's own if not given)")
	f.StringVar(&g.railFraction, "rail-fraction", "", "the start counts from the rail crossing this `part` of the set volts (50 % if not given)")
	f.StringVar(&g.interval, "interval", "", "`time` between two samples, for a file that does not say")
	f.StringVar(&g.roles.Rail, "rail", "", "`channel` of the supply rail, by name or column; none if there is none")
	f.StringVar(&g.roles.Clock, "clock-channel", "", "`channel` of the clock")
	f.StringVar(&g.roles.Steady, "steady", "", "`channel` with a record of the running clock at full rate")
	f.StringVar(&g.roles.Lamp, "lamp", "", "`channel` of the lamp; none if there is none")
	f.BoolVar(&g.alias, "alias", false, "take the frequency of a record sampled too slowly as the alias of --clock")
	f.StringVarP(&g.output, "output", "o", "", "`file` for the chart: .svg for one record, .html for a page of all")
	jsonFlag(c, o)
	return c
}

// judge judges each file, prints what it found, and writes the chart or the page.
func (g *judging) judge(io streams, files []string, asJSON bool) error {
	extension := strings.ToLower(filepath.Ext(g.output))
	switch {
	case g.output == "" || extension == ".html":
	case extension != ".svg":
		return usage{fmt.Errorf("-o %s: found the ending %q; allowed: .svg, or .html for a page of several records", g.output, extension)}
	case len(files) > 1:
		return usage{fmt.Errorf("-o %s: one SVG holds one record, and there are %d files; allowed: one file, or a page like -o gallery.html", g.output, len(files))}
	}
	flags, err := g.flags()
	if err != nil {
		return usage{err}
	}
	var (
		all    []*judged
		failed []error
	)
	for _, file := range files {
		j, err := g.file(io, file, flags)
		if err != nil {
			failed = append(failed, err)
			continue
		}
		all = append(all, j)
		if !asJSON {
			if len(files) > 1 && len(all) > 1 {
				fmt.Fprintln(io.out)
			}
			j.print(io.out, len(files) == 1)
		}
	}
	if asJSON && len(all) > 0 {
		if err := printJudgedJSON(io.out, all, len(files) == 1); err != nil {
			return err
		}
	}
	if g.output != "" && len(all) > 0 {
		if err := writeJudged(g.output, all); err != nil {
			return err
		}
		fmt.Fprintln(io.err, "wrote", g.output)
	}
	if len(failed) > 0 {
		return usage{errors.Join(failed...)}
	}
	return nil
}

// file reads and judges one file; "-" is standard input.
func (g *judging) file(io streams, path string, flags overrides) (*judged, error) {
	o := recording.Options{StepSeconds: flags.interval}
	var (
		f   *recording.File
		err error
	)
	if path == "-" {
		f, err = recording.Read("standard input", io.in, o)
	} else if f, err = recording.Open(path, o); errors.Is(err, fs.ErrNotExist) {
		err = fmt.Errorf("%s: found no such file; expected a CSV file, or raw samples under a JSON header", path)
	}
	if err != nil {
		return nil, err
	}
	return g.conclude(f, flags)
}

// rolesFor are the channels asked for; those the bench file numbers are taken if
// the file has channels named that way, like CH2.
func (g *judging) rolesFor(f *recording.File) recording.Roles {
	r := g.roles
	if g.bench == nil {
		return r
	}
	numbered := func(into *string, channel int) {
		form := regexp.MustCompile(fmt.Sprintf(`(?i)^(ch|c|chan|channel)[ _.]?0*%d$`, channel))
		for _, c := range f.Channels {
			if channel > 0 && *into == "" && form.MatchString(c.Name) {
				*into = c.Name
			}
		}
	}
	numbered(&r.Rail, g.bench.Rail.Channel)
	numbered(&r.Clock, g.bench.Clock.Channel)
	if g.bench.Lamp != nil {
		numbered(&r.Lamp, g.bench.Lamp.Channel)
	}
	return r
}

// judged is a file with the verdict on it.
type judged struct {
	verdict.Judgement
	file     *recording.File
	evidence verdict.Evidence
	expect   verdict.Expect
	choices  []recording.Choice
	sources  []string // where the expectations come from
	notes    []string // warnings of reader and judge
}

// writeJudged writes the chart of one record, or a page of all.
func writeJudged(path string, all []*judged) error {
	if strings.EqualFold(filepath.Ext(path), ".svg") {
		return os.WriteFile(path, []byte(all[0].chart(720).SVG()+"\n"), 0o644)
	}
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	if err := writeGallery(f, all); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}
