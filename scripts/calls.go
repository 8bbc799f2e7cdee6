package scripts

import "slices"

// Kind is what an option holds once it is checked.
type Kind string

// The kinds of option, as they stand in the arguments that the host receives.
const (
	Volts     Kind = "volts"         // number; accepts "3.3 V", "3300 mV"
	VoltsList Kind = "list of volts" // array of numbers
	Seconds   Kind = "seconds"       // number; accepts "250 ms", "1.5 s", "10 min", "8 h"
	Count     Kind = "count"         // whole number
	Text      Kind = "text"          // string; Min and Max bound its bytes
	Choice    Kind = "choice"        // one of Choices
)

// Option is one argument of a call.
type Option struct {
	Name       string
	Kind       Kind
	Positional bool // written before the option table: treatment("C7 lifted")
	Required   bool
	Default    any      // in SI; nil leaves the option out of the arguments
	Min, Max   float64  // allowed range, ends included
	Lines      bool     // Text only: may have line ends and tabs
	Choices    []string // Choice only
	Doc        string
}

// Field is one field of a result table. Lua is its type in the editor's notation.
type Field struct{ Name, Lua, Doc string }

// Result describes what a call returns: a table of Fields named Class, a list of
// such tables, or (no Fields) a plain value of the type Lua; Lua "" is nothing.
type Result struct {
	Class  string
	List   bool
	Fields []Field
	Lua    string
	Doc    string
}

// Call is one entry of the table that a script sees as a function. The same entry
// checks the arguments in child and parent, names the result's fields, and
// writes the editor annotations.
type Call struct {
	Name    string
	Options []Option
	Result  Result
	Doc     string
}

const (
	hour = 3600.0
	day  = 24 * hour
)

var (
	volts = Option{Name: "volts", Kind: Volts, Min: 0.1, Max: 1000}
	rest  = Option{Name: "rest", Kind: Seconds, Min: 0, Max: 7 * day, Default: 3.0,
		Doc: "time off before each start, at least"}
	watch = Option{Name: "watch", Kind: Seconds, Min: 1e-3, Max: hour,
		Doc: "time on in which the start is watched; left out: what the bench file expects decides"}
	label = Option{Name: "text", Kind: Text, Positional: true, Required: true, Min: 1, Max: 200}
)

var rateResult = Result{Class: "Rate", Doc: "the failure rate of one condition", Fields: []Field{
	{"volts", "number?", "supply volts of the condition; nil when several are pooled"},
	{"treatment", "string", "treatment of the condition; empty when several are pooled"},
	{"cycles", "integer", "cycles that count"},
	{"failures", "integer", "of these, cycles that did not start as they should"},
	{"not_counted", "integer", "cycles spoilt by the bench: unpowered or unread"},
	{"estimate", "number?", "failures / cycles; nil without cycles"},
	{"low", "number", "lower end of the exact interval"},
	{"high", "number", "upper end of the exact interval"},
	{"confidence", "number", "confidence of the interval, 0.95 is 95 %"},
	{"one_sided", "boolean", "true when nothing or everything failed: the interval has one end only"},
	{"verdicts", "table<string, integer>", "cycles by verdict"},
	{"start_seconds_median", "number?", "median start time in seconds; nil when half of the cycles did not start"},
}}

var cycleResult = Result{Class: "Cycle", Doc: "what the cycle showed", Fields: []Field{
	{"verdict", `"started"|"late"|"silent"|"weak"|"off-frequency"|"dropped-out"|"unpowered"|"unread"`, "what the cycle showed"},
	{"reason", "string", "one sentence with the numbers that decided"},
	{"counted", "boolean", "false when the bench spoilt the cycle: unpowered or unread"},
	{"failed", "boolean", "true when it counts and did not start as it should"},
	{"start_s", "number?", "start time in seconds; nil when it did not start"},
	{"frequency_hz", "number?", "clock frequency in hertz; nil when not measured"},
	{"amplitude_v", "number?", "steady clock amplitude in volts, peak; nil when not measured"},
	{"growth_s", "number?", "time constant of the envelope's growth in seconds; nil when not measured"},
	{"lamp", `"dark"|"lit"|"blinking"|""`, "status lamp; empty without a lamp probe"},
	{"volts", "number?", "supply volts read back while on"},
	{"amps", "number?", "supply amps read back while on"},
	{"ambient_c", "number?", "ambient temperature in degrees Celsius; nil without a thermometer"},
	{"number", "integer", "number of the cycle in its run, from 1"},
	{"set_volts", "number", "supply volts that were set"},
	{"treatment", "string", "treatment it counts under"},
}}

// Calls is every call of a script, in the order of the editor annotations.
var Calls = []Call{
	{Name: "soak", Doc: "Many cycles over a list of voltages.", Options: []Option{
		{Name: "title", Kind: Text, Max: 200, Default: "", Doc: "heading on page and report"},
		{Name: "volts", Kind: VoltsList, Required: true, Min: volts.Min, Max: volts.Max, Doc: "supply voltages"},
		{Name: "cycles", Kind: Count, Required: true, Min: 1, Max: 1e6, Doc: "cycles at each voltage"},
		{Name: "order", Kind: Choice, Default: "interleaved", Choices: []string{"interleaved", "shuffled", "blocked"},
			Doc: "interleaved: one cycle at each voltage in turn, so that drift does not pass for a voltage effect; shuffled: in random order; blocked: all cycles of one voltage, then the next"},
		rest, watch,
	}, Result: Result{Class: rateResult.Class, Fields: rateResult.Fields, List: true, Doc: "one for each voltage, in the order of volts"}},

	{Name: "cycle", Doc: "One power cycle: off, rest, on, watch, judge, record.", Options: []Option{
		with(volts, func(o *Option) { o.Required, o.Doc = true, "supply voltage" }),
		rest, watch,
	}, Result: cycleResult},

	{Name: "rate", Doc: "The failure rate in this run so far.", Options: []Option{
		with(volts, func(o *Option) { o.Doc = "only cycles at this voltage" }),
		{Name: "treatment", Kind: Text, Min: 1, Max: label.Max, Doc: "only cycles under this treatment"},
	}, Result: rateResult},

	{Name: "wait", Doc: "Waits with the supply off.", Options: []Option{
		{Name: "duration", Kind: Seconds, Positional: true, Required: true, Min: 0, Max: 30 * day, Doc: "how long"},
	}},

	{Name: "mark", Doc: "Notes a moment of the run.", Options: []Option{
		with(label, func(o *Option) { o.Doc = "the note" }),
	}},

	{Name: "treatment", Doc: "Says what is done to the unit from here on; the cycles that follow count under this name.", Options: []Option{
		with(label, func(o *Option) { o.Doc = `the treatment, for example "C7 chilled"` }),
	}},

	{Name: "ask", Doc: "Holds, supply off, until a person answers on page or terminal.", Options: []Option{
		with(label, func(o *Option) { o.Max, o.Lines, o.Doc = 2000, true, "the question" }),
		{Name: "timeout", Kind: Seconds, Min: 1, Max: 30 * day, Doc: "longest wait for an answer; left out: for ever"},
	}, Result: Result{Lua: "string?", Doc: "the answer; nil when nobody answered in time"}},

	{Name: "log", Doc: "Writes a line to the run's output.", Options: []Option{
		with(label, func(o *Option) { o.Min, o.Max, o.Lines, o.Doc = 0, 64<<10, true, "the line" }),
	}},

	{Name: "now", Doc: "The time of the run's clock.",
		Result: Result{Lua: "number", Doc: "seconds since 1970-01-01 00:00 UTC"}},

	{Name: "random", Doc: "A random number, recorded so that a resumed run sees the same.",
		Result: Result{Lua: "number", Doc: "evenly distributed, 0 <= number < 1"}},
}

func with(o Option, change func(*Option)) Option {
	change(&o)
	return o
}

// LookupCall finds a call by name.
func LookupCall(name string) (Call, bool) {
	at := slices.IndexFunc(Calls, func(c Call) bool { return c.Name == name })
	if at < 0 {
		return Call{}, false
	}
	return Calls[at], true
}
