package main

import (
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"ringup/runner/failrate"
)

// needFlags are what is asked of need, as typed.
type needFlags struct {
	below, width, rate, change, accept, reject string
	confidence, power, alpha, beta             string
	method                                     string
	failures, cycles                           int
	rest                                       time.Duration
}

// needAnswer is what need prints as JSON. What does not belong to the question is null.
type needAnswer struct {
	Question        string         `json:"question"` // demonstration, width, change or plan
	Cycles          int            `json:"cycles"`   // of a change: on each side; of a plan: at most
	AllowedFailures *int           `json:"allowed_failures"`
	Confidence      *float64       `json:"confidence"`
	Below           *float64       `json:"below"`
	Rate            *float64       `json:"rate"`
	Width           *float64       `json:"width"`
	From            *float64       `json:"from"`
	To              *float64       `json:"to"`
	Power           *float64       `json:"power"`
	Plan            *failrate.Plan `json:"plan"`
	Exact           any            `json:"exact"` // the answer with its exact risks
	Convention      string         `json:"convention"`
	RestSeconds     *float64       `json:"rest_seconds"`
	Seconds         *float64       `json:"seconds"` // that the rests of these cycles take
	Sentence        string         `json:"sentence"`
}

func newNeed(io streams, o *options) *cobra.Command {
	var f needFlags
	c := &cobra.Command{
		Use: "need", Short: "how many cycles a question takes", Args: cobra.NoArgs,
		Long: `Says how many cycles it takes

  to show that a rate is below a limit     --below 1% [--confidence 95%] [--failures 1]
  to measure a rate to a width             --width 5% --rate 10%
  to see a change, such as a repair's      --change 2%:0.5% [--power 80%]
  to accept or reject as soon as possible  --accept 0.1% --reject 1% [--alpha 5%] [--beta 5%]

Rates and confidences are written with % or as a share: 1% or 0.01. Every answer is exact
for counted cycles that do not depend on each other, and says which convention it follows.`,
		Example: "  ringup need --below 1% --confidence 95%\n  ringup need --accept 0.1% --reject 1% --rest 35s\n  ringup need --change 2%:0.5% --power 80% --json",
		RunE: func(cmd *cobra.Command, _ []string) error {
			a, err := f.answer(cmd.Flags())
			if err != nil {
				return err
			}
			if f.rest > 0 {
				rest, all := f.rest.Seconds(), f.rest.Seconds()*float64(a.Cycles)
				a.RestSeconds, a.Seconds = &rest, &all
			}
			if o.json {
				return printJSON(io.out, a)
			}
			return f.print(io, a)
		},
	}
	jsonFlag(c, o)
	flags := c.Flags()
	flags.StringVar(&f.below, "below", "", "`rate` that is to be shown not to be reached")
	flags.IntVar(&f.failures, "failures", 0, "with --below: how many `failures` are allowed")
	flags.StringVar(&f.confidence, "confidence", "95%", "`confidence` of the answer")
	flags.StringVar(&f.width, "width", "", "`width` of the interval, high limit less low limit")
	flags.StringVar(&f.rate, "rate", "", "with --width: the `rate` expected")
	flags.StringVar(&f.method, "method", string(failrate.MethodClopperPearson), "with --width: `method` of the interval")
	flags.StringVar(&f.change, "change", "", "`before:after`, two rates")
	flags.StringVar(&f.power, "power", "80%", "with --change: how often the change is to be seen, as a `share`")
	flags.StringVar(&f.accept, "accept", "", "`rate` at which a unit is to be accepted")
	flags.StringVar(&f.reject, "reject", "", "`rate` at which a unit is to be rejected")
	flags.StringVar(&f.alpha, "alpha", "5%", "`risk` to reject a unit at the accept rate")
	flags.StringVar(&f.beta, "beta", "5%", "`risk` to accept a unit at the reject rate")
	flags.IntVar(&f.cycles, "cycles", 0, "with --accept and --reject: `cycles` at most (default: half as many again as a plan of fixed length)")
	flags.DurationVar(&f.rest, "rest", 0, "`time` off before each cycle: says how long it all takes")
	return c
}

// belongs lists the flags that each question knows besides --rest and --json.
var belongs = map[string][]string{
	"below":  {"failures", "confidence"},
	"width":  {"rate", "method", "confidence"},
	"change": {"power", "confidence"},
	"accept": {"reject", "alpha", "beta", "cycles"},
}

// answer finds the question and answers it.
func (f *needFlags) answer(given *pflag.FlagSet) (needAnswer, error) {
	var asked []string
	for _, q := range []string{"below", "width", "change", "accept"} {
		if given.Changed(q) {
			asked = append(asked, q)
		}
	}
	if len(asked) != 1 || given.Changed("accept") != given.Changed("reject") || given.Changed("width") != given.Changed("rate") {
		return needAnswer{}, usage{errors.New("ask one question: --below, or --width with --rate, or --change, or --accept with --reject; see ringup need --help")}
	}
	if f.rest < 0 {
		return needAnswer{}, usage{fmt.Errorf("--rest %s: it is a time of 0 s or more", f.rest)}
	}
	for q, flags := range belongs {
		for _, name := range flags {
			if q != asked[0] && given.Changed(name) && !strings.Contains(strings.Join(belongs[asked[0]], " "), name) {
				return needAnswer{}, usage{fmt.Errorf("--%s does not go with --%s; see ringup need --help", name, asked[0])}
			}
		}
	}
	switch asked[0] {
	case "below":
		return f.demonstration()
	case "width":
		return f.toWidth()
	case "change":
		return f.seeChange()
	}
	return f.plan()
}

func (f *needFlags) demonstration() (needAnswer, error) {
	below, err := failrate.ParseRate(f.below)
	if err != nil {
		return needAnswer{}, fmt.Errorf("--below: %w", err)
	}
	confidence, err := failrate.ParseConfidence(f.confidence)
	if err != nil {
		return needAnswer{}, fmt.Errorf("--confidence: %w", err)
	}
	d, err := failrate.NeedDemonstration(below, confidence, f.failures)
	if err != nil {
		return needAnswer{}, fmt.Errorf("--below %s: %w", f.below, err)
	}
	return needAnswer{Question: "demonstration", Cycles: d.Cycles, AllowedFailures: &d.AllowedFailures, Confidence: &confidence, Below: &below,
		Exact: d, Convention: d.Convention, Sentence: d.Sentence()}, nil
}

func (f *needFlags) toWidth() (needAnswer, error) {
	width, err := failrate.ParseRate(f.width)
	if err != nil {
		return needAnswer{}, fmt.Errorf("--width: %w", err)
	}
	rate, err := failrate.ParseRate(f.rate)
	if err != nil {
		return needAnswer{}, fmt.Errorf("--rate: %w", err)
	}
	confidence, err := failrate.ParseConfidence(f.confidence)
	if err != nil {
		return needAnswer{}, fmt.Errorf("--confidence: %w", err)
	}
	w, err := failrate.NeedWidth(rate, width, confidence, failrate.Method(f.method))
	if err != nil {
		return needAnswer{}, fmt.Errorf("--width %s: %w", f.width, err)
	}
	return needAnswer{Question: "width", Cycles: w.Cycles, Confidence: &confidence, Rate: &rate, Width: &width,
		Exact: w, Convention: w.Convention, Sentence: w.Sentence()}, nil
}

func (f *needFlags) seeChange() (needAnswer, error) {
	before, after, two := strings.Cut(f.change, ":")
	if !two {
		return needAnswer{}, usage{fmt.Errorf("--change %q: it is two rates, before and after, as 2%%:0.5%%", f.change)}
	}
	from, err := failrate.ParseRate(before)
	if err != nil {
		return needAnswer{}, fmt.Errorf("--change: %w", err)
	}
	to, err := failrate.ParseRate(after)
	if err != nil {
		return needAnswer{}, fmt.Errorf("--change: %w", err)
	}
	power, err := failrate.ParseRate(f.power)
	if err != nil {
		return needAnswer{}, fmt.Errorf("--power: %w", err)
	}
	confidence, err := failrate.ParseConfidence(f.confidence)
	if err != nil {
		return needAnswer{}, fmt.Errorf("--confidence: %w", err)
	}
	c, err := failrate.NeedChange(from, to, power, 1-confidence)
	if err != nil {
		return needAnswer{}, fmt.Errorf("--change %s: %w", f.change, err)
	}
	return needAnswer{Question: "change", Cycles: c.Cycles, Confidence: &confidence, From: &from, To: &to, Power: &power,
		Exact: c, Convention: c.Convention, Sentence: c.Sentence()}, nil
}

func (f *needFlags) plan() (needAnswer, error) {
	var v [4]float64
	for i, text := range []struct{ flag, value string }{{"accept", f.accept}, {"reject", f.reject}, {"alpha", f.alpha}, {"beta", f.beta}} {
		var err error
		if v[i], err = failrate.ParseRate(text.value); err != nil {
			return needAnswer{}, fmt.Errorf("--%s: %w", text.flag, err)
		}
	}
	fixed, err := failrate.NewFixedPlan(v[0], v[1], v[2], v[3])
	if err != nil {
		return needAnswer{}, err
	}
	var p *failrate.Plan
	if f.cycles != 0 {
		p, err = failrate.NewPlanWithin(v[0], v[1], v[2], v[3], f.cycles)
	} else {
		p, err = failrate.NewPlan(v[0], v[1], v[2], v[3])
	}
	if err != nil {
		return needAnswer{}, err
	}
	allowed, _ := p.Limits(p.MostCycles)
	return needAnswer{Question: "plan", Cycles: p.MostCycles, AllowedFailures: &allowed, Plan: p, Exact: fixed,
		Convention: "sequential probability ratio test, cut off; risks and expected cycles are exact for the limits as listed, by recursion", Sentence: p.Sentence()}, nil
}

// print answers in words.
func (f *needFlags) print(io streams, a needAnswer) error {
	fmt.Fprintln(io.out, a.Sentence)
	if p := a.Plan; p != nil {
		if err := f.printPlan(io, p, a.Exact.(failrate.FixedPlan)); err != nil {
			return err
		}
	} else if a.Seconds != nil {
		sides := ""
		if a.Question == "change" {
			sides = " on each side"
		}
		fmt.Fprintf(io.out, "The rests alone take %s%s, at %s before each cycle.\n", spell(*a.Seconds), sides, spell(*a.RestSeconds))
	}
	if a.Question == "demonstration" {
		fmt.Fprintln(io.out, "How many may fail is decided before the first cycle. To decide as the cycles come, use a sequential plan: --accept and --reject.")
	}
	fmt.Fprintf(io.out, "Convention: %s.\n", a.Convention)
	return nil
}

// chance words the probability of a decision; what will not happen needs no exponent.
func chance(p float64) string {
	if p > 0 && p < 1e-4 {
		return "below 0.01 %"
	}
	return failrate.Percent(p)
}

// printPlan prints the limits and the operating characteristic of a sequential plan.
func (f *needFlags) printPlan(io streams, p *failrate.Plan, fixed failrate.FixedPlan) error {
	limit := func(n *int, words string) string {
		if n == nil {
			return "not yet"
		}
		if *n == 0 {
			return "0"
		}
		return fmt.Sprintf("%d or %s", *n, words)
	}
	fmt.Fprintln(io.out, "\nAfter each cycle, count the failures so far:")
	t := tabwriter.NewWriter(io.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "  from cycle\taccept\treject")
	const most = 40
	rows := p.Rows()
	for i, r := range rows {
		if i == most {
			fmt.Fprintf(t, "  …\tand %d more rows, see --json\t\n", len(rows)-most)
			break
		}
		fmt.Fprintf(t, "  %d\t%s\t%s\n", r.FromCycles, limit(r.AcceptAtMost, "fewer"), limit(r.RejectAtLeast, "more"))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(io.out, "\nWhat the plan does with a unit (operating characteristic, exact):")
	t = tabwriter.NewWriter(io.out, 0, 0, 2, ' ', 0)
	took := func(cycles float64) string {
		if f.rest == 0 {
			return ""
		}
		return "\t" + spell(cycles*f.rest.Seconds())
	}
	heading := "  unit fails at\taccepted\trejected\tcycles, on average"
	if f.rest > 0 {
		heading += "\trests alone take"
	}
	fmt.Fprintln(t, heading)
	for _, c := range p.Curve() {
		fmt.Fprintf(t, "  %s\t%s\t%s\t%.0f%s\n", failrate.Percent(c.Rate), chance(c.Accept), chance(c.Reject), c.ExpectedCycles, took(c.ExpectedCycles))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if f.rest > 0 {
		fmt.Fprintf(io.out, "\nAt the most %d cycles, whose rests take %s.", p.MostCycles, spell(float64(p.MostCycles)*f.rest.Seconds()))
	}
	fmt.Fprintf(io.out, "\nWith a fixed number instead: %d cycles, accepted with at most %d failed.\n", fixed.Cycles, fixed.AllowedFailures)
	return nil
}
