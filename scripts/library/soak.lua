-- How often does the unit fail to start, from a fresh cell to a flat one?
--
-- Run it over night:  ringup run scripts/library/soak.lua -b bench.toml
--
-- With these numbers the night is 6 voltages x 200 cycles x 35 s, about 11 h 45 min.
-- Copy the file, change the numbers, and keep it with the unit's papers.

soak {
  title = "fresh to flat cell",

  -- The cell's voltage, fresh to flat. No voltage may exceed max_volts of the
  -- bench file: such a cycle is refused before anything is switched.
  volts = { 3.6, 3.3, 3.0, 2.7, 2.4, 2.2 },

  -- Power cycles at each voltage. 200 without one failure show, with 95 %
  -- confidence, that fewer than 1.5 % fail; fewer cycles show less.
  cycles = 200,

  -- One cycle at each voltage in turn. The night gets colder and the unit gets
  -- tired; taken in blocks, that would look like an effect of the voltage.
  order = "interleaved",

  -- Off before each start. A unit that is switched on again too soon has charge
  -- left in its capacitors and starts better, or not at all: not as in the field.
  rest = "35 s",

  -- A soak may end before all of its cycles are done; remove the dashes.
  -- A voltage that is decided gets no more cycles:
  -- until_decided = { below = "0.1 %", above = "1 %" },
  -- Nor does one whose rate is known within this:
  -- until_width = "5 %",
  -- No cycle begins after this time of day:
  -- stop_at = "07:00",

  -- Watched from power-on. Longer than the slowest start that is still good.
  watch = "80 ms",
}
