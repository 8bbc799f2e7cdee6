package main

import "fmt"

// circuit is one power-up of a crystal oscillator. Its crystal has a Q of some
// hundreds, so that it starts within a hundred microseconds instead of several
// thousand; the envelope is that of a real one on a shorter scale of time.
type circuit struct {
	name, comment, verdict string

	volts    float64 // the supply's setting
	ohms     float64 // between supply and unit
	load     float64 // ohm, across the unit; 0 = none
	dip      string  // more points of the supply's voltage, as ngspice's PWL takes them
	r1       float64 // ohm, the crystal's series resistance
	q        float64
	hertz    float64 // where the crystal is meant to run in this net
	ca, cb   float64 // pF, load capacitors
	ra       float64 // ohm, in series with ca: a cracked solder joint
	leak     float64 // ohm, from the stage's input to its output: a film of flux; 0 = none
	stage    string  // inverter, or tanh: a stage that saturates softly
	kp       float64 // A/V^2, of the inverter's transistors
	rf       float64 // ohm
	saturate float64 // A, of the tanh stage
	extra    string  // more lines of the deck

	runs     bool       // it oscillates
	settled  [2]float64 // µs, where it is settled
	stops    bool       // it stops again
	allowed  float64    // µs
	required float64    // V
	centre   float64    // V, of the screen
	scale    float64    // V a division
	step     float64    // ns, between samples at full rate
}

// healthy is the inverter oscillator in order, in the times of every circuit:
// the supply begins to rise at 10 µs and is up at 12 µs, the watch ends at
// 110 µs, and a steady record follows to 121 µs.
func healthy() circuit {
	return circuit{
		verdict: "started", volts: 3.6, ohms: 1, r1: 28, q: 600, hertz: 7.3728e6, ca: 27, cb: 27, ra: 0.3,
		stage: "inverter", kp: 0.555555556e-3, rf: 470e3, saturate: 0.2e-3,
		runs: true, settled: [2]float64{95, 109}, allowed: 70, required: 0.8, centre: 1.8, scale: 0.5, step: 24,
	}
}

// circuits lists them.
func circuits() []circuit {
	e := func(name, comment string, change func(*circuit)) circuit {
		c := healthy()
		c.name, c.comment = name, comment
		change(&c)
		return c
	}
	mute := func(c *circuit) { c.runs, c.verdict = false, "silent" }
	film := func(from, ohms float64) string {
		return fmt.Sprintf("Bfilm a b I = time > %gu ? V(a,b)/%g : 0\n", from, ohms)
	}
	softly := func(c *circuit) { c.stage, c.centre, c.rf, c.q = "tanh", 0, 1e6, 450 }
	return []circuit{
		e("inverter-3v6", "inverter at 3.6 V", func(c *circuit) {}),
		e("inverter-3v0", "inverter at 3.0 V", func(c *circuit) { c.volts, c.centre, c.q = 3, 1.5, 450 }),
		e("inverter-2v6", "inverter at 2.6 V", func(c *circuit) { c.volts, c.centre, c.q = 2.6, 1.3, 250 }),
		e("small-capacitors", "15 pF load capacitors: starts fast", func(c *circuit) { c.ca, c.cb = 15, 15 }),
		e("large-capacitors", "47 pF load capacitors: starts slowly", func(c *circuit) { c.ca, c.cb, c.q = 47, 47, 280 }),
		e("high-resistance", "a crystal of 80 ohm", func(c *circuit) { c.r1, c.q = 80, 220 }),
		e("cracked-joint", "60 ohm in the joint of the input's load capacitor", func(c *circuit) { c.ra = 60 }),
		e("flux-film", "a film of 30 kilohm across the crystal", func(c *circuit) { c.leak = 30e3 }),
		e("resistive-contact", "45 ohm in the supply's contact, which slows the rail", func(c *circuit) { c.ohms = 45 }),
		e("probe-on-input", "the probe's 12 pF and 10 megohm on the stage's input", func(c *circuit) {
			c.q, c.extra = 480, "Cprobe a 0 12p\nRprobe a 0 10meg\n"
		}),
		e("rail-couples", "4 pF from the rail to the stage's input", func(c *circuit) { c.extra = "Crail vdd a 4p\n" }),
		e("soft-stage", "a stage that saturates softly", softly),
		e("sleepy-crystal", "a crystal of 130 ohm: late", func(c *circuit) { c.verdict, c.r1, c.q, c.allowed = "late", 130, 135, 45 }),
		e("low-gain", "transistors of a third of the gain: late", func(c *circuit) {
			c.verdict, c.kp, c.allowed, c.q = "late", 0.25e-3, 45, 420
		}),
		e("flat-cell", "inverter at 2.3 V: late", func(c *circuit) {
			c.verdict, c.volts, c.centre, c.allowed, c.required, c.q = "late", 2.3, 1.15, 45, 0.6, 110
		}),
		e("dead-crystal", "a crystal of 600 ohm, more than the negative resistance", func(c *circuit) { mute(c); c.r1, c.q = 600, 100 }),
		e("too-flat-cell", "1.7 V, below what both transistors need to conduct", func(c *circuit) { mute(c); c.volts, c.centre = 1.7, 0.85 }),
		e("bias-pulled-down", "a film of 60 kilohm from the stage's input to ground takes its bias away", func(c *circuit) {
			mute(c)
			c.extra = "Rground a 0 60k\n"
		}),
		e("rail-couples-silent", "dead crystal, 4 pF from the rail to the stage's input", func(c *circuit) {
			mute(c)
			c.r1, c.q, c.extra = 600, 100, "Crail vdd a 4p\n"
		}),
		e("starved-stage", "a stage that gives 45 µA: weak", func(c *circuit) { softly(c); c.verdict, c.saturate = "weak", 45e-6 }),
		e("starved-and-cracked", "a stage that gives 100 µA into a cracked joint: weak", func(c *circuit) {
			softly(c)
			c.verdict, c.saturate, c.ra = "weak", 100e-6, 100
		}),
		e("eight-megahertz", "a crystal of 8 MHz was fitted", func(c *circuit) { c.verdict, c.hertz = "off-frequency", 8e6 }),
		e("six-megahertz", "a crystal of 6 MHz was fitted", func(c *circuit) { c.verdict, c.hertz = "off-frequency", 6e6 }),
		e("third-overtone", "8.2 pF load capacitors and a film of 6 kilohm: only the third overtone has gain", func(c *circuit) {
			softly(c)
			c.verdict, c.ca, c.cb, c.leak, c.required, c.scale, c.step = "off-frequency", 8.2, 8.2, 6000, 0.08, 0.1, 16
			c.extra = "Ikick 0 a PULSE(0 0.2m 12u 1n 1n 10n)\nL3 a q1 0.015180m ic=0.1u\nC3 q1 q2 3.4467p\nR3 q2 b 15\n"
		}),
		e("film-closes", "a film of 1 kilohm forms while it runs", func(c *circuit) {
			c.verdict, c.stops, c.settled, c.extra = "dropped-out", true, [2]float64{76, 84}, film(85, 1000)
		}),
		e("film-closes-slowly", "a film of 3 kilohm forms while it runs", func(c *circuit) {
			c.verdict, c.stops, c.settled, c.extra = "dropped-out", true, [2]float64{61, 69}, film(70, 3000)
		}),
		e("supply-divides", "40 ohm in the contact, the unit shorted by 60 ohm", func(c *circuit) {
			mute(c)
			c.verdict, c.ohms, c.load, c.r1, c.q = "unpowered", 40, 60, 600, 100
		}),
		e("supply-collapses", "the rail reaches 3.6 V and falls to 1 V", func(c *circuit) {
			c.verdict, c.runs, c.dip = "unpowered", false, " 60u 3.6 64u 1.0"
		}),
	}
}
