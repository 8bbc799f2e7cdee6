-- What does the clock probe do to this unit?
--
-- A probe on a crystal pin is a part of the circuit: a dozen picofarads can cure the very fault that is looked for, or
-- make it several times worse. So the unit is started many times with the probe on the pin and many times with it
-- lifted, in turns. Without the probe nobody sees the clock; lamp and supply current tell on both sides whether the unit
-- runs, and the two failure rates are compared.
--
-- Needs a lamp probe, a clock probe that touches a crystal pin, and a person at the bench: the run holds, supply off, at
-- each question until it is answered on the page, with `ringup answer`, or at the terminal. On a simulated bench nobody
-- lifts the probe, whatever you answer.

-- Change these for your board.
local volts  = 2.2     -- where the fault was found: what a probe does is not the same at every voltage; 1 failure
                       -- in 2 to 10 starts tells most
local rest   = "10 s"  -- off before each start
local rounds = 3       -- how often the probe is lifted and put back
local cycles = 20      -- starts each time; 140 in all

if bench.clock_probe ~= "crystal input" and bench.clock_probe ~= "crystal output" then
  log(string.format("The clock probe is %q: it does not touch the crystal, so it does nothing that could be measured.", bench.clock_probe))
  return
end
if not bench.lamp then
  error("no lamp probe: with the clock probe lifted only lamp and supply current tell whether the unit runs; fit a photodiode and describe it under [probes.lamp] in the bench file")
end

local on, lifted = "clock probe on", "clock probe lifted"

local caution = "The supply is off and stays off until you answer. Wear a strap, and do not slip: a tip across two pins is a short."

-- One start, judged by lamp and supply current alone, whether the probe is on or not.
local function start()
  supply.off { rest = rest }
  supply.set(volts)
  scope.arm {}
  supply.on()
  scope.fetch { judge_by = "witnesses" }
  supply.off()
  record()
end

-- A start that was cut off by a hold, a restart or a fault of the bench is done again.
local function surely()
  local ok, failure
  repeat
    ok, failure = pcall(start)
    if not ok and failure.kind ~= "interrupted" and failure.kind ~= "instrument" and failure.kind ~= "over-current" then error(failure, 0) end
  until ok
end

local function block(name)
  treatment(name)
  for _ = 1, cycles do surely() end
  local r = rate { treatment = name }
  log(string.format("%s: %d of %d failed so far, at %.2f V", name, r.failures, r.cycles, volts))
end

block(on)
for _ = 1, rounds do
  ask("Take the clock probe off the crystal: lift its tip a hand's breadth from the board, its ground may stay; then answer. " .. caution)
  block(lifted)
  ask("Put the clock probe back on the crystal as it was, then answer. " .. caution)
  block(on)
end

local effect = compare { treatment = on, against = lifted, volts = volts }
log(effect.sentence)
mark(string.format("the clock probe: %d of %d failed with it, %d of %d without", effect.treatment.failures, effect.treatment.cycles,
  effect.against.failures, effect.against.cycles))
if effect.odds_ratio == nil and effect.treatment.failures == 0 and effect.against.failures == 0 then
  log("Nothing failed on either side, so nothing could show: take a lower voltage, at which the unit fails now and then.")
elseif not effect.shown then
  log(string.format("What the probe does to the failure rate lies between %+.0f and %+.0f percentage points, at %.0f %% confidence; that it does anything is not shown.",
    100 * effect.low, 100 * effect.high, 100 * effect.confidence))
elseif effect.difference < 0 then
  log("The probe hides the fault. Measure without it: a coil beside the crystal, a buffered output, or lamp and supply current. Capacitance at that pin cures the fault, so look at the capacitor that is fitted there first.")
else
  log("The probe makes it worse. What is measured with it is not the unit's own failure rate: use a coil beside the crystal, a buffered output, or lamp and supply current.")
end
