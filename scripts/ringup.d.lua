---@meta
-- What a ringup script may call. Generated from the call table; do not edit.

---Volts as a number, or with a unit: "3.3 V", "3300 mV".
---@alias Volts number|string

---Seconds as a number, or with a unit: "250 ms", "1.5 s", "10 min", "8 h".
---@alias Seconds number|string

---What pcall returns when a call was refused; tostring shows it with file and line.
---@class CallError
---@field message string what is wrong and what to do
---@field kind string "argument"; "limit"; of a script's own cycle "interrupted", "instrument", "over-current"; else "error"
---@field file string script
---@field line integer line of the call

---A share from 0 to 1 as a number, or in percent: 0.01, "1 %".
---@alias Share number|string

---@class Rate
---@field volts number? supply volts of the condition; nil when several are pooled
---@field treatment string treatment of the condition; empty when several are pooled
---@field cycles integer cycles that count
---@field failures integer of these, cycles that did not start as they should
---@field not_counted integer cycles spoilt by the bench: unpowered or unread
---@field estimate number? failures / cycles; nil without cycles
---@field low number lower end of the exact interval
---@field high number upper end of the exact interval
---@field confidence number confidence of the interval, 0.95 is 95 %
---@field one_sided boolean true when nothing or everything failed: the interval has one end only
---@field method string of the interval: clopper-pearson; anytime when what was seen decided how many cycles were done
---@field sentence string the rate in words, with its interval
---@field verdicts table<string, integer> cycles by verdict
---@field start_seconds_median number? median start time in seconds; nil when half of the cycles did not start

---@class SoakOptions
---@field title? string heading on page and report
---@field volts Volts[] supply voltages (0.1 to 1000)
---@field cycles integer cycles at each voltage (1 to 1000000)
---@field order? "interleaved"|"shuffled"|"blocked" interleaved: one cycle at each voltage in turn, so that drift does not pass for a voltage effect; shuffled: in random order; blocked: all cycles of one voltage, then the next; default interleaved
---@field rest? Seconds time off before each start, at least (0 to 604800); default 3
---@field watch? Seconds time on in which the start is watched; left out: what the bench file expects decides (0.001 to 3600)
---@field until_decided? { below: Share, above: Share, alpha?: Share, beta?: Share } a voltage whose failure rate is decided gets no more cycles; cycles is then the most
---@field until_width? Share a voltage gets no more cycles when the interval of its failure rate is at most this wide, 0.1 or "10 %"; cycles is then the most (0.0001 to 1)
---@field stop_at? string no cycle begins at or after this time of day, by the bench's clock

---Many cycles over a list of voltages.
---@param options SoakOptions
---@return Rate[] # one for each voltage, in the order of volts
function soak(options) end

---@class Cycle
---@field verdict "started"|"late"|"silent"|"weak"|"off-frequency"|"dropped-out"|"unpowered"|"unread" what the cycle showed
---@field reason string one sentence with the numbers that decided
---@field counted boolean false when the bench spoilt the cycle: unpowered or unread
---@field failed boolean true when it counts and did not start as it should
---@field start_s number? start time in seconds; nil when it did not start
---@field frequency_hz number? clock frequency in hertz; nil when not measured
---@field amplitude_v number? steady clock amplitude in volts, peak; nil when not measured
---@field growth_s number? time constant of the envelope's growth in seconds; nil when not measured
---@field lamp "dark"|"lit"|"blinking"|"" status lamp; empty without a lamp probe
---@field volts number? supply volts read back while on
---@field amps number? supply amps read back while on
---@field warnings string[]? what to know of the records, a sentence each; nil for nothing
---@field disagree boolean? true if lamp or supply current contradict the clock
---@field ambient_c number? ambient temperature in degrees Celsius; nil without a thermometer
---@field number integer number of the cycle in its run, from 1
---@field set_volts number supply volts that were set
---@field treatment string treatment it counts under
---@field messages string[]? last messages to and from the instrument that failed; nil when none did

---@class CycleOptions
---@field volts Volts supply voltage (0.1 to 1000)
---@field rest? Seconds time off before each start, at least (0 to 604800); default 3
---@field watch? Seconds time on in which the start is watched; left out: what the bench file expects decides (0.001 to 3600)

---One power cycle: off, rest, on, watch, judge, record.
---@param options CycleOptions
---@return Cycle # what the cycle showed
function cycle(options) end

---@class RateOptions
---@field volts? Volts only cycles at this voltage (0.1 to 1000)
---@field treatment? string only cycles under this treatment
---@field method? "clopper-pearson"|"wilson"|"jeffreys"|"mid-p"|"anytime" of the interval; left out: clopper-pearson. anytime holds even if what was seen decided when to stop

---The failure rate in this run so far.
---@param options? RateOptions
---@return Rate # the failure rate of one condition
function rate(options) end

---@class Decision
---@field decision "accept"|"reject"|"continue" the same again
---@field cycles integer cycles that count, so far
---@field failures integer of these, failures
---@field decided_cycles integer cycles until the decision; 0 before it
---@field decided_failures integer failures until the decision; 0 before it
---@field most_cycles integer cycles after which it is decided at the latest
---@field alpha number exact risk to reject a unit that fails as seldom as below says
---@field beta number exact risk to accept a unit that fails as often as above says
---@field estimate number? failures / cycles; nil without cycles
---@field low number lower end of an interval that holds whenever the run is stopped
---@field high number upper end of that interval
---@field confidence number of the interval, 0.95 is 95 %
---@field sentence string the decision in words, with the risk that it is wrong

---@class DecideOptions
---@field volts? Volts only cycles at this voltage (0.1 to 1000)
---@field treatment? string only cycles under this treatment
---@field below Share a unit that fails this seldom, or less, is to be accepted (1e-06 to 0.999999)
---@field above Share a unit that fails this often, or more, is to be rejected (1e-06 to 0.999999)
---@field alpha? Share the risk to reject a unit that fails as seldom as below says (1e-06 to 0.499999); default 0.05
---@field beta? Share the risk to accept a unit that fails as often as above says (1e-06 to 0.499999); default 0.05

---Has the unit been shown to fail seldom enough, or too often? A sequential test of the cycles so far, which may be asked after every cycle.
---@param options DecideOptions
---@return "accept"|"reject"|"continue" # the decision; once made it stands
---@return Decision # the numbers behind it
function decide(options) end

---Says the script's own acceptance of the unit. The last one counts; ringup run then ends with exit status 3 after a reject.
---@param decision "accept"|"reject" what is concluded
function conclude(decision) end

---@class Comparison
---@field sentence string all of it in words
---@field shown boolean true when the failure rates differ beyond chance: p is below 1 - confidence
---@field p number p-value of the failure rates, exact; at a single voltage Fisher's
---@field difference number failure rate of treatment less that of against
---@field low number lower end of the difference's interval
---@field high number upper end of it
---@field confidence number confidence of the interval, 0.95 is 95 %
---@field odds_ratio number? odds of failing under treatment by those under against; nil when none or all failed
---@field treatment table<string, any> failures, cycles, estimate, low, high, start_seconds_median under treatment
---@field against table<string, any> the same under against

---@class CompareOptions
---@field treatment string the treatment
---@field against string the treatment that it is held against
---@field volts? Volts only cycles at this voltage (0.1 to 1000)

---Do two treatments of this run fail at different rates? Exact, within each voltage.
---@param options CompareOptions
---@return Comparison # the two held against each other
function compare(options) end

---@class Threshold
---@field rate number failure rate whose voltage was looked for
---@field volts number the voltage
---@field low number lower end of where it lies
---@field high number upper end of where it lies
---@field confidence number probability that it lies there, 0.95 is 95 %
---@field edge boolean true when it may lie beyond the voltages allowed
---@field cycles integer cycles that count
---@field failures integer of these, failures
---@field not_counted integer cycles spoilt by the bench: unpowered or unread
---@field sentence string all of it in words

---@class ThresholdOptions
---@field title? string heading on page and report
---@field rate? Share the failure rate whose voltage is wanted (0.01 to 0.99); default 0.5
---@field low Volts never below this voltage (0.1 to 1000)
---@field high Volts never above this voltage (0.1 to 1000)
---@field step? Volts the voltages are low and whole steps above (0.001 to 1000); default 0.01
---@field cycles integer cycles at most (1 to 100000)
---@field width? Volts done when the voltage is known within this many volts (0.001 to 1000)
---@field rest? Seconds time off before each start, at least (0 to 604800); default 3
---@field watch? Seconds time on in which the start is watched; left out: what the bench file expects decides (0.001 to 3600)

---Looks for the voltage at which a given share of cycles fails. Every cycle is done at the voltage that tells most.
---@param options ThresholdOptions
---@return Threshold # the voltage at which so many cycles fail
function threshold(options) end

---@class Suspect
---@field treatment string what was done to the unit
---@field shown boolean true when it changed something beyond chance, all comparisons allowed for
---@field p_adjusted number the smaller of the two p-values, after Holm's correction for all comparisons
---@field p number p-value of the failure rate by itself, exact
---@field p_start number? p-value of the start time by itself; nil where none could be compared
---@field treated table<string, any> failures, cycles, estimate, low, high, start_seconds_median under the treatment
---@field as_found table<string, any> the same as found, just before and just after
---@field start_ratio number? start time under the treatment by that as found
---@field base_moved boolean the unit as found changed meanwhile, so the treatment was held against before and after each
---@field sentence string what it showed, in words

---@class HuntOptions
---@field title? string heading on page and report
---@field volts? Volts with cycles: their voltage (0.1 to 1000)
---@field cycles? integer cycles to do first, while a person marks treatments on the page or with ringup mark; left out: none (1 to 100000)
---@field rest? Seconds time off before each start, at least (0 to 604800); default 3
---@field watch? Seconds time on in which the start is watched; left out: what the bench file expects decides (0.001 to 3600)

---Ranks the treatments of this run by what they did to failure rate and start time, against the unit as found before and after each.
---@param options? HuntOptions
---@return Suspect[] # the treatments, the surest change first
---@return string # the whole hunt in words
function hunt(options) end

---Waits. The supply stays as it is: off, unless the script has switched it on with supply.on.
---@param duration Seconds how long (0 to 2592000)
function wait(duration) end

---The supply, for a cycle of the script's own.
supply = {}

---Sets the supply's voltage, for a cycle of the script's own, while the supply is off. The bench file's limits hold.
---@param volts Volts the voltage (0.1 to 1000)
function supply.set(volts) end

---Switches the supply on and reads that back. It goes off with supply.off, before cycle, soak, threshold, hunt and ask, when the run holds, and at the script's end.
function supply.on() end

---@class SupplyOffOptions
---@field rest? Seconds then waits, off, at least so long and until the rail probe shows that nothing is left, as before a cycle; left out: does not wait (0 to 604800)

---Switches the supply off and reads that back.
---@param options? SupplyOffOptions
function supply.off(options) end

---@class SupplyReading
---@field volts number? volts; nil when not measured
---@field amps number? amps; nil when not measured
---@field output boolean true when the output is on

---Measures at the supply's terminals. More than the bench file's max_amps switches off and holds the run.
---@return SupplyReading # what the supply says
function supply.read() end

---The scope, for a cycle of the script's own.
scope = {}

---@class ScopeArmOptions
---@field watch? Seconds time on in which the start is watched; left out: what the bench file expects decides (0.001 to 3600)

---Has the scope wait for the rail's rise, to record rail and clock. Comes between supply.set and supply.on.
---@param options? ScopeArmOptions
function scope.arm(options) end

---@class Start
---@field verdict "started"|"late"|"silent"|"weak"|"off-frequency"|"dropped-out"|"unpowered"|"unread" what the cycle showed
---@field reason string one sentence with the numbers that decided
---@field counted boolean false when the bench spoilt the cycle: unpowered or unread
---@field failed boolean true when it counts and did not start as it should
---@field start_s number? start time in seconds; nil when it did not start
---@field frequency_hz number? clock frequency in hertz; nil when not measured
---@field amplitude_v number? steady clock amplitude in volts, peak; nil when not measured
---@field growth_s number? time constant of the envelope's growth in seconds; nil when not measured
---@field lamp "dark"|"lit"|"blinking"|"" status lamp; empty without a lamp probe
---@field volts number? supply volts read back while on
---@field amps number? supply amps read back while on
---@field warnings string[]? what to know of the records, a sentence each; nil for nothing
---@field disagree boolean? true if lamp or supply current contradict the clock
---@field rail { start_s: number, step_s: number, count: integer, low_v: number, high_v: number, lows: number[]?, highs: number[]? }? the rail's record, its times from the trigger; nil when nothing triggered
---@field clock { start_s: number, step_s: number, count: integer, low_v: number, high_v: number, lows: number[]?, highs: number[]? }? the clock's record; nil when there is none

---@class ScopeFetchOptions
---@field judge_by? "witnesses" witnesses: lamp and supply current judge and the clock is not looked at, as when its probe is lifted; left out: the clock judges
---@field samples? integer into how many stretches, at most, rail and clock are divided, with the lowest and highest volts of each in lows and highs; left out: none (1 to 1000)

---Waits for the end of the watch window, reads what the scope recorded and, while the supply is on, also what a cycle reads then (supply, steady clock, lamp), and judges the start.
---@param options? ScopeFetchOptions
---@return Start # what the start showed
function scope.fetch(options) end

---Counts the start that was fetched last, after supply.off, as a cycle of the run: in its rates, tables and report.
---@return Cycle # what the cycle showed
function record() end

---The thermometer, for a cycle of the script's own.
thermometer = {}

---Reads the ambient.
---@return number? # degrees Celsius; nil when the thermometer does not answer
function thermometer.read() end

---Notes a moment of the run.
---@param text string the note
function mark(text) end

---Says what is done to the unit from here on; the cycles that follow count under this name.
---@param text string the treatment, for example "C7 chilled"
function treatment(text) end

---@class AskOptions
---@field timeout? Seconds longest wait for an answer; left out: for ever (1 to 2592000)

---Holds, supply off, until a person answers on page or terminal.
---@param text string the question
---@param options? AskOptions
---@return string? # the answer; nil when nobody answered in time
function ask(text, options) end

---Writes a line to the run's output.
---@param text string the line
function log(text) end

---The time of the run's clock.
---@return number # seconds since 1970-01-01 00:00 UTC
function now() end

---A random number, recorded so that a resumed run sees the same.
---@return number # evenly distributed, 0 <= number < 1
function random() end

---@class UnitFacts
---@field name string name of the unit under test
---@field clock_hz number expected clock frequency in hertz
---@field max_volts number highest supply voltage allowed, in volts
---@field max_amps number highest supply current allowed, in amps

---Facts from the bench file, read-only.
---@type UnitFacts
unit = {}

---@class BenchFacts
---@field simulated boolean true on the simulated bench
---@field start_within_s number a start that takes longer is late, in seconds
---@field frequency_within number allowed relative frequency error: 0.01 is 1 %
---@field clock_probe string what the clock probe loads: crystal input, crystal output, buffered or near field
---@field lamp boolean true when a lamp probe is fitted
---@field thermometer boolean true when a thermometer is fitted

---Facts from the bench file, read-only.
---@type BenchFacts
bench = {}
