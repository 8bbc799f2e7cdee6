package main

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ringup/dashboards/report"
	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
)

//go:embed demo/bench.toml
var demoBench string

// demoStages are the three runs of the demo, each a script of the library.
var demoStages = []string{"soak.lua", "hunt.lua", "proof.lua"}

func newDemo(io streams, o *options) *cobra.Command {
	var f runFlags
	var serve bool
	var dir string
	c := &cobra.Command{
		Use: "demo", Short: "live through a whole repair on the simulated bench, in a minute", Args: cobra.NoArgs,
		Long: `Soaks a simulated river-level logger through a frosty night, hunts the part at fault, has it
replaced, proves the repair, and writes the report: the same code that runs a real bench,
through real serial ports, only that the night is virtual and the bench is simulated.

A demo that was cut short goes on where it stopped; one that has ended begins anew.`,
		Example: "  ringup demo\n  ringup demo --serve     # page and metrics stay up\n  ringup demo --json --seed 7",
		RunE: func(cmd *cobra.Command, _ []string) error {
			ctx, done := untilEnding(cmd.Context(), io.err)
			defer done()
			d := demo{io: io, o: *o, f: f, dir: dir, serve: serve, text: demoBench}
			if !cmd.Flags().Changed("seed") {
				d.f.seed = 1
			}
			return d.do(ctx)
		},
	}
	jsonFlag(c, o)
	f.add(c)
	c.Flags().BoolVar(&serve, "serve", false, "keep page and metrics up when the story is told, until Ctrl-C")
	c.Flags().StringVar(&dir, "dir", "ringup-demo", "`folder` for logbook, bench file and report")
	return c
}

// demo is one telling of the story.
type demo struct {
	io    streams
	o     options
	f     runFlags
	dir   string
	serve bool

	text     string // of the bench file, but for its seed
	began    time.Time
	bench    *bench.Bench
	book     *logbook.Book
	desk     *desk
	print    *progressPrinter
	standing *standing
	person   *operator
	runs     []logbook.Run // of the stages so far
}

func (d *demo) do(ctx context.Context) (err error) {
	d.began = time.Now()
	if err := os.MkdirAll(d.dir, 0o755); err != nil {
		return err
	}
	d.o.bench = filepath.Join(d.dir, "bench.toml")
	text := regexp.MustCompile(`(?m)^seed .*$`).ReplaceAllString(d.text, fmt.Sprintf("seed          = %d", d.f.seed))
	if err := os.WriteFile(d.o.bench, []byte(text), 0o644); err != nil {
		return err
	}
	if d.bench, err = bench.Parse(d.o.bench, []byte(text)); err != nil {
		return err
	}
	if err := d.openLogbook(); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.book.Close()) }()

	d.print = newProgressPrinter(d.io.err, d.f.quiet || d.o.json)
	d.desk = newDesk(d.book)
	if !d.serve {
		d.f.listen = listening{address: "none"}
	}
	page, stopServing, err := d.desk.listen(d.f.listen, d.book.Path(), d.io.err)
	if err != nil {
		return err
	}
	defer stopServing()

	if err := d.tell(ctx); err != nil {
		return err
	}
	if d.serve {
		fmt.Fprintf(d.io.err, "\npage and metrics stay up at %s; Ctrl-C ends\n", page)
		<-ctx.Done()
	}
	return nil
}

// openLogbook opens the demo's logbook. One that has the whole story, or another one, is begun anew.
func (d *demo) openLogbook() (err error) {
	path := filepath.Join(d.dir, "logbook.db")
	if d.book, err = logbook.Open(path); err != nil {
		return err
	}
	if d.runs, err = d.earlier(); err != nil {
		return err
	}
	if n := len(d.runs); n > 0 {
		ended, err := d.ended(d.runs[n-1], n)
		if err != nil || !ended {
			return err
		}
	}
	d.runs = nil
	if err := d.book.Close(); err != nil {
		return err
	}
	for _, leftover := range []string{path, path + "-wal", path + "-shm"} {
		if err := os.Remove(leftover); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	d.book, err = logbook.Open(path)
	return err
}

// ended says whether a run was the last of the story: the proof, or a hunt that found nothing.
func (d *demo) ended(last logbook.Run, stages int) (bool, error) {
	if last.State != "done" || stages < len(demoStages)-1 {
		return false, nil
	}
	if stages == len(demoStages) {
		return true, nil
	}
	found, err := runner.Summarise(d.book, last.ID, 0)
	return !lifted(found), err
}

// lifted says whether a hunt ended with a part lifted, as it does when it found one.
func lifted(hunt runner.Summary) bool {
	return slices.ContainsFunc(hunt.Conditions, func(c failrate.Condition) bool { return strings.HasSuffix(c.Treatment, " lifted") })
}

// earlier lists the runs of a demo that was cut short, in order; none if the logbook holds anything else than
// the beginning of this very story.
func (d *demo) earlier() ([]logbook.Run, error) {
	all, err := d.book.Runs()
	if err != nil || len(all) > len(demoStages) {
		return nil, err
	}
	runs := make([]logbook.Run, len(all))
	for i := range all {
		r, err := d.book.Run(all[len(all)-1-i].ID) // the newest comes first
		if err != nil {
			return nil, err
		}
		program, err := readLibrary(demoStages[i])
		if err != nil {
			return nil, err
		}
		last := i == len(all)-1
		if r.ScriptText != program.Text || r.BenchText != d.bench.Text || r.Seed != d.f.seed || !last && r.State != "done" ||
			last && r.State != "done" && r.State != "running" && r.State != "held" {
			return nil, nil
		}
		runs[i] = r
	}
	return runs, nil
}

// tell carries out the stages that are not in the logbook yet, and prints the story of all.
func (d *demo) tell(ctx context.Context) error {
	var unfinished *logbook.Run
	p := past{}
	if n := len(d.runs); n > 0 {
		var err error
		if p, err = d.leftOff(); err != nil {
			return err
		}
		if last := d.runs[n-1]; last.State != "done" {
			unfinished = &last
		}
	}
	watch := runner.Observers{d.print, d.desk}
	var err error
	if d.standing, err = stand(ctx, d.bench, d.o, p, d.f.pace, watch); err != nil {
		return err
	}
	defer d.standing.close()
	d.person = newOperator(d.standing.sim.Hand(), d.standing.clock)
	if err := d.person.remember(d.book, d.runs); err != nil {
		return err
	}
	watch = append(watch, d.person)
	story := newStory(d)
	story.opening()
	var found []runner.Summary
	for i, name := range demoStages {
		story.before(i)
		var run logbook.Run
		switch {
		case i < len(d.runs) && (unfinished == nil || i < len(d.runs)-1):
			run = d.runs[i] // told before
		default:
			if run, err = d.stage(ctx, name, unfinished, watch); err != nil {
				return err
			}
			unfinished = nil
		}
		summary, err := runner.Summarise(d.book, run.ID, 0)
		if err != nil {
			return err
		}
		found = append(found, summary)
		story.after(i, summary)
		if i == 1 && !lifted(summary) {
			story.noRepair()
			break
		}
	}
	return d.conclude(story, found)
}

// leftOff finds where the last run of an interrupted demo left the simulated world.
func (d *demo) leftOff() (past, error) {
	p, err := leftOff(d.book, &d.runs[len(d.runs)-1])
	for i := len(d.runs) - 2; i >= 0 && err == nil && p.offSince.IsZero(); i-- {
		var before past
		before, err = leftOff(d.book, &d.runs[i])
		p.offSince, p.offVolts = before.offSince, before.offVolts
	}
	return p, err
}

// stage executes one script with the operator at hand.
func (d *demo) stage(ctx context.Context, name string, unfinished *logbook.Run, watch runner.Observer) (logbook.Run, error) {
	program, err := readLibrary(name)
	if err != nil {
		return logbook.Run{}, err
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	e := execution{
		standing: d.standing, book: d.book, program: program, unfinished: unfinished, watch: watch, seed: d.f.seed,
		started: func(s *runner.Session) {
			d.desk.attach(s)
			go func() {
				if err := d.person.serve(ctx, s.Answer); err != nil {
					cancel(err)
				}
			}()
		},
	}
	run, err := e.do(ctx)
	d.desk.attach(nil)
	if cause := context.Cause(ctx); cause != nil && !errors.Is(cause, context.Canceled) {
		err = errors.Join(cause, err)
	}
	return run, err
}

// conclude writes the reports and the JSON.
func (d *demo) conclude(story *story, found []runner.Summary) error {
	var ids []int64
	for _, s := range found {
		ids = append(ids, s.Run)
	}
	path := filepath.Join(d.dir, "report.html")
	o := report.Options{Title: "Start-up fault of " + d.bench.Unit.Name, Compare: ids[1:]}
	if err := writeReport(path, d.book, ids[0], o); err != nil {
		return err
	}
	if d.o.json {
		wall := time.Since(d.began).Seconds()
		for i := range found {
			found[i].WallSeconds = wall
		}
		hunt, err := runner.AnalyseRun(d.book, found[1].Run)
		if err != nil {
			return err
		}
		var proof *demoProof
		if len(found) == len(demoStages) {
			before, err := d.beforeAndAfter(found[0], found[2])
			if err != nil {
				return err
			}
			proof = &demoProof{found[2], comparisonJSON(before, 0)}
		}
		suspects := []runner.Suspect{}
		if hunt.Hunt != nil {
			suspects = hunt.Hunt.List()
		}
		return printJSON(d.io.out, struct {
			Soak  runner.Summary `json:"soak"`
			Hunt  demoHunt       `json:"hunt"`
			Proof *demoProof     `json:"proof"` // null when the hunt found nothing to repair
		}{found[0], demoHunt{found[1], suspects}, proof})
	}
	story.ending(path)
	return nil
}

type demoHunt struct {
	runner.Summary
	Suspects []runner.Suspect `json:"suspects"`
}

type demoProof struct {
	runner.Summary
	Against comparisonAnswer `json:"against_as_found"`
}

// beforeAndAfter compares the repaired unit with the soak before, at the voltages of both.
func (d *demo) beforeAndAfter(before, after runner.Summary) (failrate.Comparison, error) {
	base, err := runner.CountedCycles(d.book, before.Run)
	if err != nil {
		return failrate.Comparison{}, err
	}
	repaired, err := runner.CountedCycles(d.book, after.Run)
	if err != nil {
		return failrate.Comparison{}, err
	}
	return failrate.Compare(failrate.Sample{Name: after.Treatment, Cycles: repaired}, failrate.Sample{Name: before.Treatment, Cycles: base}, runner.Confidence)
}
