// Package crystal is the physics of a Pierce crystal oscillator and of the
// battery-powered unit built round it: the exact small-signal network, the
// start condition, growth, first amplitude, limiting, the inverter's
// transconductance against supply and temperature, the supply path, and the
// faults that keep such a unit from starting.
//
// Two users share it. The simulated unit asks for one power-up at a time: Unit,
// PowerUp; Predict and PredictGrid ask for thousands, FaultWindow for the share
// that fails in closed form. The calculator asks for margins and limits: a
// Circuit is made by Healthy or Typical and With, and answers with Analyse,
// SafeRange, FaultLimits, ProbeEffects and the rest. FromGrowth, FromResistors
// and FromFrequency go back from what was measured to parts. The package is
// pure: no clock, no files, and chance only from the generator handed in.
//
// Circuit. The crystal is a series arm R1, L1, C1 with the shunt capacitance
// C0 across it. Node A is the inverter's input and the crystal's first pin,
// node D the inverter's output, node B the crystal's second pin; a series
// resistor Rs joins D and B, and Rs = 0 merges them. On the board: Y1 is the
// crystal, C7 the load capacitor at A, C8 the one at B, R3 the feedback
// resistor, U1 the microcontroller with the inverter, J1 the supply contact.
//
// All quantities are SI. Circuit elements keep their symbols (CA in farads, RA
// in ohms, gm in siemens); everything else carries its unit in its name. An
// absent parallel resistor is +Inf.
//
// The circuit equations agree with ngspice to 1e-9 and better; that proves the algebra,
// not any real part. What real parts add (crack resistance, drive-level
// dependence, supply kick, excess noise) is invented but physically shaped,
// and is kept apart in modelchoice.go.
package crystal
