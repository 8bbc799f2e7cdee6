-- Is it repaired?
--
-- Waits for the cold hours in which the unit used to fail, then repeats the worst voltages of the soak. With nothing
-- failed, so many cycles put a one-sided bound on the rate: 3 divided by their number, roughly, at 95 %.

local fitted = ask("Fit a new, sound part in place of the suspect, then answer with what you fitted, like: C7 = 27 pF")
treatment(fitted)

wait("17 h")

soak {
  title  = "after the repair",
  volts  = { 2.7, 2.4, 2.2 },
  cycles = 100,     -- at each voltage
  rest   = "35 s",  -- as in the soak before: what is compared must be alike
  watch  = "80 ms",
}
