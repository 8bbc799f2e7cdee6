-- How much start margin has the oscillator, on this very board?
--
-- The series-resistor test: a resistor in series with the crystal takes away from what drives it. The largest one with
-- which the unit still starts from power-on, plus the crystal's own resistance, is the negative resistance of the
-- circuit, seen at the crystal's pins. Divided by the crystal's resistance it is the margin; 5 is the usual least.
-- Power-cycled starts are stricter than turning a resistor up until a running clock stops, and they are what counts.
--
-- Needs a person with a soldering iron: cut the trace at one pin of Y1 (or lift that pin) and fit each resistor asked
-- for across the gap, with leads as short as can be: a few picofarads of wire count. The run holds, supply off, at each
-- question until it is answered on the page, with `ringup answer`, or at the terminal. Six to eight resistors are asked for.
--
-- Run it on a sound unit: on one that fails without any resistor there is no margin to measure. On a simulated bench
-- nobody solders, whatever you answer, and the script ends by saying that such a margin cannot be.

-- Change these for your board.
local volts    = 2.4     -- the cell's voltage at which the margin has to hold
local cycles   = 30      -- power cycles with each resistor
local rest     = "10 s"  -- off before each start
local wanted   = 5       -- times the crystal's resistance
local r1       = 28      -- this crystal's resistance R1 in ohms: measured, or the typical value of its data sheet
local r1_limit = 60      -- the most that the data sheet allows; another crystal of the same kind may have it
local c0, cl   = 3.8, 17 -- the crystal's shunt capacitance and the load it has on this board, in pF (ringup crystal)
local spread   = 0.01    -- tolerance of the resistors used

-- What the crystal shows at its pins: R1 (1 + C0/CL)^2.
local loading = (1 + c0 / cl) ^ 2
local loaded, loaded_limit = r1 * loading, r1_limit * loading

-- No oscillator has this much; who finds it has a wire left across the gap.
local believable = 50

-- One decade of E12, three times, from below the crystal's own resistance up: every drawer of parts has these.
local values = {}
local lowest = 10 ^ math.floor(math.log10(loaded / 2))
for _, decade in ipairs { lowest, 10 * lowest, 100 * lowest } do
  for _, step in ipairs { 1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2 } do
    values[#values + 1] = decade * step
  end
end

local function percent(ratio) return string.format("%.1f %%", 100 * ratio) end

local function name(ohms)
  if ohms == 0 then return "no resistor at Y1" end
  return string.format("Y1 + %.4g ohm", ohms)
end

local caution = "The supply is off and stays off until you answer. Wear a strap: static discharge kills parts slowly. "
  .. "Let the board cool to the temperature of the room before you answer, since a hot crystal is another crystal."

-- The person may have another value at hand: 330, 330 ohm, 330R, 1k, 1.2 k, 1k2 and 1M are understood.
local factors = { [""] = 1, r = 1, ohm = 1, ohms = 1, k = 1e3, kohm = 1e3, m = 1e6, mohm = 1e6 }
local function understood(answer)
  local text = string.lower(string.gsub(answer, "%s+", ""))
  local whole, unit, part = string.match(text, "^(%d+)([rkm])(%d+)$")
  if whole then return tonumber(whole .. "." .. part) * factors[unit] end
  local number
  number, unit = string.match(text, "^(%d+%.?%d*)(%a*)$")
  return number and factors[unit] and tonumber(number) * factors[unit]
end

local tested = {} -- ohms -> rate
local function test(ohms)
  treatment(name(ohms))
  soak { title = name(ohms), volts = { volts }, cycles = cycles, rest = rest }
  local r = rate { volts = volts, treatment = name(ohms) }
  if r.cycles == 0 then error("no cycle with " .. name(ohms) .. " could be counted; mend the bench and run this again") end
  tested[ohms] = r
  log(string.format("%s: %d of %d failed, at %.2f V", name(ohms), r.failures, r.cycles, volts))
  return r.failures == 0
end

-- Ask for a resistor strictly between low and high; anything else would say nothing new.
local function fit(ohms, low, high)
  local question = string.format("Insert %.4g ohm in series with Y1, then answer with the value you fitted. %s", ohms, caution)
  while true do
    local fitted = understood(ask(question))
    if fitted and fitted > low and fitted < high then return fitted end
    question = string.format("Not understood, or of no use: Insert between %.4g and %.4g ohm in series with Y1 (%.4g ohm if you have it), and answer with its value, like 330 ohm or 1k2. %s",
      low, high, ohms, caution)
  end
end

-- The middle value of the drawer between two, or nothing when they are neighbours.
local function between(low, high)
  local inside = {}
  for _, v in ipairs(values) do
    if v > low * 1.001 and v < high * 0.999 then inside[#inside + 1] = v end
  end
  return inside[math.ceil(#inside / 2)]
end

log(string.format("Least wanted: %.3g times the crystal's %.4g ohm at its pins (R1 = %.4g ohm), and with the worst crystal of its kind %.4g ohm.",
  wanted, loaded, r1, loaded_limit))
ask("Insert 0 ohm in series with Y1: open one pin and bridge it with a wire, no resistor yet, then answer. " .. caution)

if not test(0) then
  log(string.format("The unit fails without any resistor: there is no margin at %.2f V. Find the fault first, then measure the margin of the repaired unit.", volts))
  return
end

-- The first resistor asks for the wanted margin itself; then the drawer is halved until two neighbours are left.
local low, high = 0, values[#values] * 1.2
local first = wanted * loaded - loaded
for _, v in ipairs(values) do
  if v >= first or v == values[#values] then first = v break end
end
-- The margin that a resistor proves: its least value and the crystal's own, over the crystal's own.
local function margin(ohms) return (ohms * (1 - spread) + loaded) / loaded end
local nxt = first
while nxt and margin(low) < believable do
  local fitted = fit(nxt, low, high)
  if test(fitted) then low = fitted else high = fitted end
  nxt = between(low, high)
end

ask("Insert 0 ohm in series with Y1: take the resistor out and close the pin again, then answer. " .. caution)
treatment("margin measured")

-- What is known now, and how surely.
local good = tested[low]
log(string.format("Starts with %s: %d of %d failed, below %s with %.0f %% confidence.", name(low), good.failures, good.cycles, percent(good.high), 100 * good.confidence))
if margin(low) >= believable then
  log(string.format("That would be a margin of more than %.0f, and no crystal oscillator has that: the resistors were not in series with Y1. Is the trace open, and no wire left across the gap? On a simulated bench nobody solders.", margin(low)))
  return
end
local bad = tested[high]
if not bad then
  log(string.format("It starts even with %.4g ohm, the largest value asked for: the margin is more than %.1f.", low, margin(low)))
  return
end
log(string.format("Not every time with %s: %d of %d failed, %s to %s.", name(high), bad.failures, bad.cycles, percent(bad.low), percent(bad.high)))
local least, most = low * (1 - spread) + loaded, high * (1 + spread) + loaded
log(string.format("Negative resistance at the crystal's pins at %.2f V: %.0f to %.0f ohm.", volts, least, most))
log(string.format("Margin: %.1f to %.1f with this crystal; %.1f to %.1f if a crystal of %.4g ohm were fitted.",
  least / loaded, most / loaded, least / loaded_limit, most / loaded_limit, r1_limit))
if least / loaded >= wanted then
  log(string.format("Enough: at least %.3g was wanted.", wanted))
elseif most / loaded < wanted then
  log(string.format("Too little: at least %.3g was wanted. ringup crystal says which capacitors would give more.", wanted))
else
  log(string.format("Not decided: %.3g lies in between. Fit a resistor between %.4g and %.4g ohm to know.", wanted, low, high))
end
