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
	Share     Kind = "share"         // number from 0 to 1; accepts "1 %"
	Text      Kind = "text"          // string; Min and Max bound its bytes
	Choice    Kind = "choice"        // one of Choices
	Moment    Kind = "time of day"   // string, "06:30"
	Table     Kind = "table"         // map of Fields
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
	Fields     []Option // Table only
	Doc        string
}

// Field is one field of a result table. Lua is its type in the editor's notation.
type Field struct{ Name, Lua, Doc string }

// Result describes what a call returns: a table of Fields named Class, a list of
// such tables, or (no Fields) a plain value of the type Lua; Lua "" is nothing.
// With a Second the call returns two values, which arrive as a list of two.
type Result struct {
	Class  string
	List   bool
	Fields []Field
	Lua    string
	Doc    string
	Second *Result
}

// Call is one entry of the table that a script sees as a function; one named
// "supply.on" as the function on of the table supply. The same entry checks the
// arguments in child and parent, names the result's fields, and writes the editor
// annotations.
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

	onlyVolts     = with(volts, func(o *Option) { o.Doc = "only cycles at this voltage" })
	onlyTreatment = Option{Name: "treatment", Kind: Text, Min: 1, Max: label.Max, Doc: "only cycles under this treatment"}
	// sequential are the options of a sequential test.
	sequential = []Option{
		{Name: "below", Kind: Share, Required: true, Min: 1e-6, Max: 0.999999, Doc: "a unit that fails this seldom, or less, is to be accepted"},
		{Name: "above", Kind: Share, Required: true, Min: 1e-6, Max: 0.999999, Doc: "a unit that fails this often, or more, is to be rejected"},
		{Name: "alpha", Kind: Share, Min: 1e-6, Max: 0.499999, Default: 0.05, Doc: "the risk to reject a unit that fails as seldom as below says"},
		{Name: "beta", Kind: Share, Min: 1e-6, Max: 0.499999, Default: 0.05, Doc: "the risk to accept a unit that fails as often as above says"},
	}
	title = Option{Name: "title", Kind: Text, Max: 200, Default: "", Doc: "heading on page and report"}
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
	{"method", "string", "of the interval: clopper-pearson; anytime when what was seen decided how many cycles were done"},
	{"sentence", "string", "the rate in words, with its interval"},
	{"verdicts", "table<string, integer>", "cycles by verdict"},
	{"start_seconds_median", "number?", "median start time in seconds; nil when half of the cycles did not start"},
}}

var decisionResult = Result{Class: "Decision", Doc: "the numbers behind it", Fields: []Field{
	{"decision", `"accept"|"reject"|"continue"`, "the same again"},
	{"cycles", "integer", "cycles that count, so far"},
	{"failures", "integer", "of these, failures"},
	{"decided_cycles", "integer", "cycles until the decision; 0 before it"},
	{"decided_failures", "integer", "failures until the decision; 0 before it"},
	{"most_cycles", "integer", "cycles after which it is decided at the latest"},
	{"alpha", "number", "exact risk to reject a unit that fails as seldom as below says"},
	{"beta", "number", "exact risk to accept a unit that fails as often as above says"},
	{"estimate", "number?", "failures / cycles; nil without cycles"},
	{"low", "number", "lower end of an interval that holds whenever the run is stopped"},
	{"high", "number", "upper end of that interval"},
	{"confidence", "number", "of the interval, 0.95 is 95 %"},
	{"sentence", "string", "the decision in words, with the risk that it is wrong"},
}}

var suspectResult = Result{Class: "Suspect", List: true, Doc: "the treatments, the surest change first", Fields: []Field{
	{"treatment", "string", "what was done to the unit"},
	{"shown", "boolean", "true when it changed something beyond chance, all comparisons allowed for"},
	{"p_adjusted", "number", "the smaller of the two p-values, after Holm's correction for all comparisons"},
	{"p", "number", "p-value of the failure rate by itself, exact"},
	{"p_start", "number?", "p-value of the start time by itself; nil where none could be compared"},
	{"treated", "table<string, any>", "failures, cycles, estimate, low, high, start_seconds_median under the treatment"},
	{"as_found", "table<string, any>", "the same as found, just before and just after"},
	{"start_ratio", "number?", "start time under the treatment by that as found"},
	{"base_moved", "boolean", "the unit as found changed meanwhile, so the treatment was held against before and after each"},
	{"sentence", "string", "what it showed, in words"},
}, Second: &Result{Lua: "string", Doc: "the whole hunt in words"}}

var thresholdResult = Result{Class: "Threshold", Doc: "the voltage at which so many cycles fail", Fields: []Field{
	{"rate", "number", "failure rate whose voltage was looked for"},
	{"volts", "number", "the voltage"},
	{"low", "number", "lower end of where it lies"},
	{"high", "number", "upper end of where it lies"},
	{"confidence", "number", "probability that it lies there, 0.95 is 95 %"},
	{"edge", "boolean", "true when it may lie beyond the voltages allowed"},
	{"cycles", "integer", "cycles that count"},
	{"failures", "integer", "of these, failures"},
	{"not_counted", "integer", "cycles spoilt by the bench: unpowered or unread"},
	{"sentence", "string", "all of it in words"},
}}

// judgedFields are what a start showed, in a cycle or in one of the script's own.
var judgedFields = []Field{
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
	{"warnings", "string[]?", "what to know of the records, a sentence each; nil for nothing"},
	{"disagree", "boolean?", "true if lamp or supply current contradict the clock"},
}

var cycleResult = Result{Class: "Cycle", Doc: "what the cycle showed", Fields: append(slices.Clone(judgedFields), []Field{
	{"ambient_c", "number?", "ambient temperature in degrees Celsius; nil without a thermometer"},
	{"number", "integer", "number of the cycle in its run, from 1"},
	{"set_volts", "number", "supply volts that were set"},
	{"treatment", "string", "treatment it counts under"},
	{"messages", "string[]?", "last messages to and from the instrument that failed; nil when none did"},
}...)}

const recordLua = "{ start_s: number, step_s: number, count: integer, low_v: number, high_v: number, lows: number[]?, highs: number[]? }?"

var startResult = Result{Class: "Start", Doc: "what the start showed", Fields: append(slices.Clone(judgedFields), []Field{
	{"rail", recordLua, "the rail's record, its times from the trigger; nil when nothing triggered"},
	{"clock", recordLua, "the clock's record; nil when there is none"},
}...)}

var comparisonResult = Result{Class: "Comparison", Doc: "the two held against each other", Fields: []Field{
	{"sentence", "string", "all of it in words"},
	{"shown", "boolean", "true when the failure rates differ beyond chance: p is below 1 - confidence"},
	{"p", "number", "p-value of the failure rates, exact; at a single voltage Fisher's"},
	{"difference", "number", "failure rate of treatment less that of against"},
	{"low", "number", "lower end of the difference's interval"},
	{"high", "number", "upper end of it"},
	{"confidence", "number", "confidence of the interval, 0.95 is 95 %"},
	{"odds_ratio", "number?", "odds of failing under treatment by those under against; nil when none or all failed"},
	{"treatment", "table<string, any>", "failures, cycles, estimate, low, high, start_seconds_median under treatment"},
	{"against", "table<string, any>", "the same under against"},
}}

// Calls is every call of a script, in the order of the editor annotations.
var Calls = []Call{
	{Name: "soak", Doc: "Many cycles over a list of voltages.", Options: []Option{
		title,
		{Name: "volts", Kind: VoltsList, Required: true, Min: volts.Min, Max: volts.Max, Doc: "supply voltages"},
		{Name: "cycles", Kind: Count, Required: true, Min: 1, Max: 1e6, Doc: "cycles at each voltage"},
		{Name: "order", Kind: Choice, Default: "interleaved", Choices: []string{"interleaved", "shuffled", "blocked"},
			Doc: "interleaved: one cycle at each voltage in turn, so that drift does not pass for a voltage effect; shuffled: in random order; blocked: all cycles of one voltage, then the next"},
		rest, watch,
		{Name: "until_decided", Kind: Table, Fields: sequential, Doc: "a voltage whose failure rate is decided gets no more cycles; cycles is then the most"},
		{Name: "until_width", Kind: Share, Min: 1e-4, Max: 1, Doc: "a voltage gets no more cycles when the interval of its failure rate is at most this wide, 0.1 or \"10 %\"; cycles is then the most"},
		{Name: "stop_at", Kind: Moment, Doc: "no cycle begins at or after this time of day, by the bench's clock"},
	}, Result: Result{Class: rateResult.Class, Fields: rateResult.Fields, List: true, Doc: "one for each voltage, in the order of volts"}},

	{Name: "cycle", Doc: "One power cycle: off, rest, on, watch, judge, record.", Options: []Option{
		with(volts, func(o *Option) { o.Required, o.Doc = true, "supply voltage" }),
		rest, watch,
	}, Result: cycleResult},

	{Name: "rate", Doc: "The failure rate in this run so far.", Options: []Option{
		onlyVolts, onlyTreatment,
		{Name: "method", Kind: Choice, Choices: []string{"clopper-pearson", "wilson", "jeffreys", "mid-p", "anytime"},
			Doc: "of the interval; left out: clopper-pearson. anytime holds even if what was seen decided when to stop"},
	}, Result: rateResult},

	{Name: "decide", Doc: "Has the unit been shown to fail seldom enough, or too often? A sequential test of the cycles so far, which may be asked after every cycle.",
		Options: append([]Option{onlyVolts, onlyTreatment}, sequential...),
		Result:  Result{Lua: `"accept"|"reject"|"continue"`, Doc: "the decision; once made it stands", Second: &decisionResult}},

	{Name: "conclude", Doc: "Says the script's own acceptance of the unit. The last one counts; ringup run then ends with exit status 3 after a reject.", Options: []Option{
		{Name: "decision", Kind: Choice, Positional: true, Required: true, Choices: []string{"accept", "reject"}, Doc: "what is concluded"},
	}},

	{Name: "compare", Doc: "Do two treatments of this run fail at different rates? Exact, within each voltage.", Options: []Option{
		with(onlyTreatment, func(o *Option) { o.Required, o.Doc = true, "the treatment" }),
		with(onlyTreatment, func(o *Option) {
			o.Name, o.Required, o.Doc = "against", true, "the treatment that it is held against"
		}),
		onlyVolts,
	}, Result: comparisonResult},

	{Name: "threshold", Doc: "Looks for the voltage at which a given share of cycles fails. Every cycle is done at the voltage that tells most.", Options: []Option{
		title,
		{Name: "rate", Kind: Share, Min: 0.01, Max: 0.99, Default: 0.5, Doc: "the failure rate whose voltage is wanted"},
		with(volts, func(o *Option) { o.Name, o.Required, o.Doc = "low", true, "never below this voltage" }),
		with(volts, func(o *Option) { o.Name, o.Required, o.Doc = "high", true, "never above this voltage" }),
		with(volts, func(o *Option) {
			o.Name, o.Min, o.Default, o.Doc = "step", 1e-3, 0.01, "the voltages are low and whole steps above"
		}),
		{Name: "cycles", Kind: Count, Required: true, Min: 1, Max: 1e5, Doc: "cycles at most"},
		with(volts, func(o *Option) {
			o.Name, o.Min, o.Doc = "width", 1e-3, "done when the voltage is known within this many volts"
		}),
		rest, watch,
	}, Result: thresholdResult},

	{Name: "hunt", Doc: "Ranks the treatments of this run by what they did to failure rate and start time, against the unit as found before and after each.", Options: []Option{
		title,
		with(volts, func(o *Option) { o.Doc = "with cycles: their voltage" }),
		{Name: "cycles", Kind: Count, Min: 1, Max: 1e5, Doc: "cycles to do first, while a person marks treatments on the page or with ringup mark; left out: none"},
		rest, watch,
	}, Result: suspectResult},

	{Name: "wait", Doc: "Waits. The supply stays as it is: off, unless the script has switched it on with supply.on.", Options: []Option{
		{Name: "duration", Kind: Seconds, Positional: true, Required: true, Min: 0, Max: 30 * day, Doc: "how long"},
	}},

	{Name: "supply.set", Doc: "Sets the supply's voltage, for a cycle of the script's own, while the supply is off. The bench file's limits hold.", Options: []Option{
		with(volts, func(o *Option) { o.Positional, o.Required, o.Doc = true, true, "the voltage" }),
	}},

	{Name: "supply.on", Doc: "Switches the supply on and reads that back. It goes off with supply.off, before cycle, soak, threshold, hunt and ask, when the run holds, and at the script's end."},

	{Name: "supply.off", Doc: "Switches the supply off and reads that back.", Options: []Option{
		with(rest, func(o *Option) {
			o.Default, o.Doc = nil, "then waits, off, at least so long and until the rail probe shows that nothing is left, as before a cycle; left out: does not wait"
		}),
	}},

	{Name: "supply.read", Doc: "Measures at the supply's terminals. More than the bench file's max_amps switches off and holds the run.",
		Result: Result{Class: "SupplyReading", Doc: "what the supply says", Fields: []Field{
			{"volts", "number?", "volts; nil when not measured"},
			{"amps", "number?", "amps; nil when not measured"},
			{"output", "boolean", "true when the output is on"},
		}}},

	{Name: "scope.arm", Doc: "Has the scope wait for the rail's rise, to record rail and clock. Comes between supply.set and supply.on.", Options: []Option{
		watch,
	}},

	{Name: "scope.fetch", Doc: "Waits for the end of the watch window, reads what the scope recorded and, while the supply is on, also what a cycle reads then (supply, steady clock, lamp), and judges the start.", Options: []Option{
		{Name: "judge_by", Kind: Choice, Choices: []string{"witnesses"}, Doc: "witnesses: lamp and supply current judge and the clock is not looked at, as when its probe is lifted; left out: the clock judges"},
		{Name: "samples", Kind: Count, Min: 1, Max: 1000, Doc: "into how many stretches, at most, rail and clock are divided, with the lowest and highest volts of each in lows and highs; left out: none"},
	}, Result: startResult},

	{Name: "record", Doc: "Counts the start that was fetched last, after supply.off, as a cycle of the run: in its rates, tables and report.",
		Result: cycleResult},

	{Name: "thermometer.read", Doc: "Reads the ambient.",
		Result: Result{Lua: "number?", Doc: "degrees Celsius; nil when the thermometer does not answer"}},

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
