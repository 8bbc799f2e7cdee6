-- Is it repaired?
--
-- Waits for the cold hours in which the unit used to fail, then repeats the worst voltages of the soak until the
-- failure rate over these voltages is decided, and says so: ringup run ends with exit status 3 if it rejects the unit.
-- A sequential test needs no number of cycles beforehand: a sound unit is accepted after the least that can show it, a
-- bad one is rejected soon. Its risks are exact, and `ringup need --accept 0.1% --reject 1%` prints its table.

local worst    = { 2.7, 2.4, 2.2 }
local accepted = "0.1 %"  -- a unit that fails this seldom is accepted, but for 1 in 20 such proofs
local rejected = "1 %"    -- a unit that fails this often is rejected, but for 1 in 20 such proofs

local fitted = ask("Fit a new, sound part in place of the suspect, then answer with what you fitted, like: C7 = 27 pF")
treatment(fitted)

wait("17 h")

local decision, why
repeat
  soak {
    title  = "after the repair",
    volts  = worst,
    cycles = 10,      -- at each voltage, then ask again
    rest   = "35 s",  -- as in the soak before: what is compared must be alike
    watch  = "80 ms",
  }
  decision, why = decide { treatment = fitted, below = accepted, above = rejected }
until decision ~= "continue"

log(why.sentence)
conclude(decision)
