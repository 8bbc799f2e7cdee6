-- Which part is it?
--
-- Fast cycles at a voltage at which the unit fails now and then, while a person cools one part after the other.
-- Between any two treatments come some cycles of the unit as found, so that the night's drift does not pass for
-- the effect of a part. The part whose cooling changes the failure rate most is then warmed, and at last lifted.
--
-- Needs a person at the bench: the run holds, supply off, at each question until it is answered on the page, with
-- `ringup answer`, or at the terminal.

-- Change these for your board.
local suspects = { "C7", "C8", "Y1", "U1" } -- what can be reached with a nozzle
local volts    = 2.2                        -- fails sometimes, not always
local cycles   = 50                         -- for each treatment
local between  = 20                         -- as found, before and after each

local function block(what, n)
  treatment(what)
  return soak { title = what, volts = { volts }, cycles = n, rest = "10 s" }[1]
end

local function percent(r) return string.format("%d of %d", r.failures, r.cycles) end

block("as found", between)

-- Cool one part at a time. A part that is at fault shows: its two intervals do not overlap, or nearly so.
local culprit, most
for _, part in ipairs(suspects) do
  ask("Chill " .. part .. " and keep it cold, then answer.")
  local cold = block(part .. " chilled", cycles)
  ask("Release " .. part .. ": let it come back to the temperature of the room, then answer.")
  block("as found", between)
  local found = rate { volts = volts, treatment = "as found" }
  log(part .. " chilled: " .. percent(cold) .. " failed; as found so far " .. percent(found))
  local gap = cold.estimate - found.estimate
  if not most or math.abs(gap) > most then culprit, most = part, math.abs(gap) end
end

-- If it is this part, warmth must do the opposite of cold.
ask("Warm " .. culprit .. " with hot air and keep it warm, then answer.")
local warm = block(culprit .. " warmed", cycles)
ask("Release " .. culprit .. ": let it come back to the temperature of the room, then answer.")
log(culprit .. " warmed: " .. percent(warm) .. " failed")

-- And without it the fault must be gone or changed.
ask("Lift one end of " .. culprit .. ", then answer.")
local lifted = block(culprit .. " lifted", between)
log(culprit .. " lifted: " .. percent(lifted) .. " failed")
