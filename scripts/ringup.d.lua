---@meta
-- What a ringup script may call. Generated from the call table; do not edit.

---Volts as a number, or with a unit: "3.3 V", "3300 mV".
---@alias Volts number|string

---Seconds as a number, or with a unit: "250 ms", "1.5 s", "10 min", "8 h".
---@alias Seconds number|string

---What pcall returns when a call was refused; tostring shows it with file and line.
---@class CallError
---@field message string what is wrong and what to do
---@field kind string "argument", "error" or a kind of the bench's
---@field file string script
---@field line integer line of the call

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
---@field verdicts table<string, integer> cycles by verdict
---@field start_seconds_median number? median start time in seconds; nil when half of the cycles did not start

---@class SoakOptions
---@field title? string heading on page and report
---@field volts Volts[] supply voltages (0.1 to 1000)
---@field cycles integer cycles at each voltage (1 to 1000000)
---@field order? "interleaved"|"shuffled"|"blocked" interleaved: one cycle at each voltage in turn, so that drift does not pass for a voltage effect; shuffled: in random order; blocked: all cycles of one voltage, then the next; default interleaved
---@field rest? Seconds time off before each start, at least (0 to 604800); default 3
---@field watch? Seconds time on in which the start is watched; left out: what the bench file expects decides (0.001 to 3600)

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
---@field ambient_c number? ambient temperature in degrees Celsius; nil without a thermometer
---@field number integer number of the cycle in its run, from 1
---@field set_volts number supply volts that were set
---@field treatment string treatment it counts under

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

---The failure rate in this run so far.
---@param options? RateOptions
---@return Rate # the failure rate of one condition
function rate(options) end

---Waits with the supply off.
---@param duration Seconds how long (0 to 2592000)
function wait(duration) end

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
