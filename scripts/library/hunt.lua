-- Which part is it?
--
-- Fast cycles at a voltage at which the unit fails now and then, while a person cools and warms one part after the
-- other. Between any two treatments come some cycles of the unit as found, so that the night's drift does not pass for
-- the effect of a part. A second round looks longer at the two treatments that did most in the first; at last the part
-- at fault is lifted. Failure rate and start time both count, and all comparisons are allowed for.
--
-- Needs a person at the bench: the run holds, supply off, at each question until it is answered on the page, with
-- `ringup answer`, or at the terminal.

-- Change these for your board.
local suspects = { "C7", "C8", "Y1", "U1" } -- what can be reached with a nozzle
local liftable = { C7 = true, C8 = true }   -- what the unit can be switched on without
local volts    = 2.2                        -- fails sometimes, not always; a sound unit must start here with time to spare
local rest     = "10 s"
local first, between = 14, 8   -- first round: cycles with each treatment, and as found before and after each
local second, again  = 36, 16  -- second round: the same; 296 cycles in all
local lifted         = 20

local treatments, named = {}, {}
local function offer(t) treatments[#treatments + 1], named[t.name] = t, t end
for _, part in ipairs(suspects) do
  offer { name = part .. " chilled", part = part, ask = "Chill " .. part .. " and keep it cold, then answer." }
end
for _, part in ipairs(suspects) do
  offer { name = part .. " warmed", part = part, ask = "Warm " .. part .. " with hot air and keep it warm, then answer." }
end

local function block(what, n)
  treatment(what)
  soak { title = what, volts = { volts }, cycles = n, rest = rest }
end

local function try(t, n, asFound)
  ask(t.ask)
  block(t.name, n)
  ask("Release " .. t.part .. ": let it come back to the temperature of the room, then answer.")
  block("as found", asFound)
end

block("as found", between)
for _, t in ipairs(treatments) do try(t, first, between) end

local ranking, said = hunt {}
log("After the first round: " .. said)
block("as found", again - between)
for i = 1, 2 do try(named[ranking[i].treatment], second, again) end

ranking, said = hunt {}
log("After the second round: " .. said)
if not ranking[1].shown then return end

-- Without it the fault must be gone or changed.
local culprit = named[ranking[1].treatment].part
if liftable[culprit] then
  ask("Lift one end of " .. culprit .. ", then answer.")
  block(culprit .. " lifted", lifted)
end
