package crystal

import (
	"math"
	"math/rand/v2"
)

// Model choice. Everything in this file is invented: shaped as the makers'
// notes and the physics suggest, not measured on silicon or on real faults.
// Nothing outside this file depends on a number with a weaker pedigree than a
// circuit equation.

const (
	// supplyKick (κ) is the share of an ideal ramp's corner that reaches the
	// motional arm when the supply comes on.
	supplyKick = 0.5
	// excessNoise (F) is the stage's noise over that of a resistor of the size
	// of the negative resistance.
	excessNoise = 1.0
	// leastNetOhms keeps the noise formula finite at the start limit.
	leastNetOhms = 1.0
	// limitSwing (k_z) scales the current at which the rails have eaten all the
	// gain, fitted to one-harmonic balance of the unit's own stage: the steady
	// current is 1 % low from 3 V up, 3 % at 2.4 V. For a square-law stage in the
	// same net it is 2 % low at 3.6 V and 6 % at 2.4 V.
	limitSwing = 1.12
	// crackedAway: a load capacitor whose crack resistance exceeds this multiple
	// of its reactance no longer loads its node.
	crackedAway = 3.0
	// clockLevel is the fraction of the rail-limited current at which the
	// microcontroller's clock input begins to toggle.
	clockLevel = 0.45
	// clockCycles is what the microcontroller counts before it trusts the clock.
	clockCycles = 1024
	// openFarads is what a fully open crack leaves of a load capacitor.
	openFarads = 0.2e-12
	// liftedFarads is what an empty capacitor footprint still has.
	liftedFarads = 0.1e-12
	// dryFilmOhms is the median of the flux film once its water is gone.
	dryFilmOhms = 80e3

	setSpreadVolts   = 0.003  // 1 σ of the supply's setting
	partSpreadKelvin = 0.3    // 1 σ of a part's temperature
	rampSeconds      = 200e-6 // median time of the supply edge the kick depends on
	rampSpread       = 0.3    // 1 σ of its logarithm
	rampPerRC        = 2.2    // what a series resistance adds, 10 to 90 % of an RC edge

	coldOhmsPerKelvin = 0.0008 // relative rise of R1 below coldKneeCelsius
	coldKneeCelsius   = 25.0
)

// Crack is a load capacitor's crack: a resistance that opens with cold and
// rest, log-normal from one power-up to the next. The zero value is no crack.
type Crack struct {
	Ohms        float64 // median at 25 °C, no rest
	PerKelvin   float64 // exponent per kelvin below 25 °C
	RestSeconds float64 // scale of the rest law
	RestPower   float64
	Spread      float64 // 1 σ of the logarithm
	Kept        float64 // share of the capacitance that is left
	OpenShare   float64 // share of power-ups with the crack fully open
}

func (c Crack) draw(celsius, restSeconds float64, rng *rand.Rand) (ohms float64, open bool) {
	n, u := rng.NormFloat64(), rng.Float64()
	if c.Ohms == 0 {
		return 0, false
	}
	return c.median(celsius, restSeconds) * math.Exp(c.Spread*n), u < c.OpenShare
}

// median is the crack's resistance in the middle of its spread.
func (c Crack) median(celsius, restSeconds float64) float64 {
	return c.Ohms * math.Exp(c.PerKelvin*(25-celsius)) * math.Pow(1+restSeconds/c.RestSeconds, c.RestPower)
}

// Sleep is drive-level dependence: the crystal's resistance is raised at very
// low drive after rest, and running clears it (behaviour after crystal makers'
// notes by ECS and HK X'tals). The zero value is a crystal without it.
type Sleep struct {
	Rise        float64 // κ_d, relative rise of R1 at no current, fully rested
	RestSeconds float64 // t_s
	RestPower   float64 // β
	Spread      float64 // σ_d
	Amps        float64 // I_d, where the rise has halved
}

// state is the rest state s of one power-up; its mean over power-ups is the
// rested share, never more than 1.
func (d Sleep) state(restSeconds float64, rng *rand.Rand) float64 {
	n := rng.NormFloat64()
	if d.Rise == 0 {
		return 0
	}
	return d.rested(restSeconds) * math.Exp(d.Spread*n-d.Spread*d.Spread/2)
}

// rested is the share of the full rise after a rest.
func (d Sleep) rested(restSeconds float64) float64 {
	return 1 - math.Exp(-math.Pow(restSeconds/d.RestSeconds, d.RestPower))
}

// Spread is a resistance drawn log-normally at each power-up.
type Spread struct {
	Ohms  float64 // median; 0 = fault absent
	Sigma float64 // 1 σ of the logarithm
}

func (s Spread) draw(rng *rand.Rand) float64 { return s.Ohms * math.Exp(s.Sigma*rng.NormFloat64()) }

// coldOhms is the crystal's resistance at a temperature.
func coldOhms(r1, celsius float64) float64 {
	return r1 * (1 + coldOhmsPerKelvin*max(0, coldKneeCelsius-celsius))
}

// The crystal's frequency over temperature, relative, as recalled from the
// literature: AT cut a·ΔT + b·ΔT³ round its inflection, the angle of cut chosen
// inside the class of ±20 ppm from -20 to 60 °C; a tuning fork -c·ΔT² round its
// turnover.
const (
	cutInflectionCelsius = 26.0
	cutLinear            = -0.2e-6  // per kelvin
	cutCubic             = 1.05e-10 // per kelvin³
	forkTurnoverCelsius  = 25.0
	forkSquare           = -0.034e-6 // per kelvin²
	forkBelowHertz       = 200e3
)

// detuning is the relative change of a crystal's frequency from 25 °C, where
// data sheets give it.
func detuning(hertz, celsius float64) float64 {
	if hertz < forkBelowHertz {
		k := celsius - forkTurnoverCelsius
		return forkSquare * k * k
	}
	cut := func(celsius float64) float64 {
		k := celsius - cutInflectionCelsius
		return cutLinear*k + cutCubic*k*k*k
	}
	return cut(celsius) - cut(25)
}

// at is the crystal at a temperature: its resistance rises in the cold, and its
// frequency follows the cut. Data are those at 25 °C.
func (r Resonator) at(celsius float64) Resonator {
	r.R1 = coldOhms(r.R1, celsius)
	if celsius != 25 {
		k := 1 + detuning(r.seriesHertz(), celsius)
		r.L1 /= k * k
	}
	return r
}
