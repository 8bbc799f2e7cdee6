-- At which voltage does it start to fail?
--
-- Every cycle is done at the voltage whose outcome tells most about where the unit begins to fail, so that a fraction of
-- the cycles of a soak over many voltages will do. How often it fails at one voltage is the soak's question, not this one.

local low, high = 2.0, 3.0  -- never beyond; high must not exceed max_volts of the bench file

local half = threshold {
  title  = "where half of the starts fail",
  rate   = "50 %",
  low    = low,
  high   = high,
  step   = "10 mV",
  cycles = 200,      -- at most
  width  = "40 mV",  -- enough when it is known within this
  rest   = "10 s",
}
log(half.sentence)
if half.edge then
  log("The threshold may lie beyond these voltages: move low and high, and look again.")
end
