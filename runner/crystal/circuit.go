package crystal

import (
	"math"
	"slices"
)

// Circuit is one oscillator to be calculated: crystal, net and stage at one
// supply and temperature. It is a value; the methods that change something
// return a changed copy.
type Circuit struct {
	Hertz, NominalFarads float64   // fL and CLnom: what the crystal is sold as
	Crystal              Resonator // R1 at 25 °C
	Net                  Net       // Gds is filled in from the stage
	Inverter             Inverter  // law of gm over supply and temperature
	Gm, Ro               float64   // S and ohms, fixed, instead of the law's; 0 = by the law
	SupplyVolts, Celsius float64   // at the microcontroller itself
	TimeoutSeconds       float64   // of the firmware
	// Assumed names the symbols that nobody gave and that follow from none that
	// was, in the order of Symbols.
	Assumed []string
}

// Healthy is the sound unit of the simulated bench at 3.6 V and 25 °C.
func Healthy() Circuit {
	u := healthy()
	return Circuit{
		Hertz: nominalHertz, NominalFarads: nominalLoad, Crystal: u.Crystal, Net: u.Net,
		Inverter: u.Inverter, SupplyVolts: 3.6, Celsius: 25, TimeoutSeconds: u.Firmware.TimeoutSeconds,
	}
}

// WithLoad returns the circuit with other load capacitors, unchecked.
func (c Circuit) WithLoad(caFarads, cbFarads float64) Circuit {
	c.Net.CA, c.Net.CB = caFarads, cbFarads
	return c
}

// At returns the circuit at another supply and temperature, unchecked.
func (c Circuit) At(volts, celsius float64) Circuit {
	c.SupplyVolts, c.Celsius = volts, celsius
	return c
}

// Probed returns the circuit with a probe at node A or B.
func (c Circuit) Probed(p Probe) Circuit {
	c.Net = c.Net.Loaded(p)
	return c
}

// stage is the inverter at its bias. A fixed gm is taken as it is, whatever
// leaks; where only gm is fixed, the output resistance goes with it as in the
// law.
func (c *Circuit) stage() Stage {
	s := c.Inverter.Bias(&c.Net, c.SupplyVolts, c.Celsius)
	if c.Gm > 0 {
		ratio := 0.0
		if s.Gm > 0 {
			ratio = s.Gds / s.Gm
		}
		s.Gm, s.Gds = c.Gm, c.Gm*ratio
	}
	if c.Ro > 0 {
		s.Gds = 1 / c.Ro
	}
	return s
}

// crystal is the crystal at the circuit's temperature.
func (c *Circuit) crystal() Resonator { return c.Crystal.at(c.Celsius) }

// assume marks symbols as given or assumed.
func (c *Circuit) assume(given []string, assumed ...string) {
	var names []string
	for _, s := range symbolTable {
		if slices.Contains(given, s.Name) {
			continue
		}
		if slices.Contains(c.Assumed, s.Name) || slices.Contains(assumed, s.Name) {
			names = append(names, s.Name)
		}
	}
	c.Assumed = names
}

// Typical values of a microcontroller's clock: an AT-cut crystal from 1 to
// 50 MHz or a tuning fork from 10 to 200 kHz. Nothing but the frequency is
// given, so every other symbol is in Assumed.
//
// R1 is half of the largest a microcontroller maker allows with 12 pF (TI
// SPRS825F); C1 and C0 lie in the usual range of their kind; the stage is the
// law of the scenario's inverter, scaled.
func Typical(hertz float64) (Circuit, error) {
	c := Healthy()
	c.SupplyVolts = 3.3
	c.Inverter.V0Volts = 3.3
	var x struct{ c1, c0, r1 float64 }
	switch {
	case hertz >= 1e6 && hertz <= 50e6:
		c.NominalFarads = 10e-12
		x.c1, x.c0, x.r1 = 5.5e-15, 3e-12, 0.5*interpolate(largestESR, hertz)
		c.Inverter.Gm0 = 0.5e-3 * math.Pow(hertz/4e6, 1.25)
		c.Net.CA, c.Net.CB = 15e-12, 15e-12
	case hertz >= 10e3 && hertz <= 200e3:
		c.NominalFarads = 7e-12
		x.c1, x.c0, x.r1 = 3e-15, 1.2e-12, 35e3
		c.Inverter.Gm0 = 7e-6 * hertz / 32768
		c.Net.CA, c.Net.CB = 10e-12, 10e-12
		c.Net.Rf = 10e6
		c.TimeoutSeconds = 2
	default:
		return Circuit{}, &ValueError{
			Symbol: "fL", Value: hertz, Unit: "Hz", Why: "no typical values are known for this frequency",
			Usual: "10 kHz to 200 kHz (tuning fork) or 1 MHz to 50 MHz (AT cut); give the values one by one otherwise",
		}
	}
	c.Hertz = hertz
	c.Crystal = NewResonator(hertz, c.NominalFarads, x.c1, x.c0, x.r1)
	for _, s := range symbolTable {
		if s.Name != "fL" {
			c.Assumed = append(c.Assumed, s.Name)
		}
	}
	return c, nil
}

// largestESR allowed by a microcontroller's maker with 12 pF load capacitors:
// hertz, ohms (TI data sheet SPRS825F; its slope goes on to 1 MHz).
var largestESR = [][2]float64{
	{1e6, 306}, {2e6, 175}, {4e6, 100}, {6e6, 75}, {8e6, 65}, {10e6, 55}, {12e6, 50}, {14e6, 50}, {16e6, 45}, {20e6, 45},
}

// interpolate reads a table of rising points on logarithmic scales; beyond its
// ends the last value stands.
func interpolate(table [][2]float64, x float64) float64 {
	if x <= table[0][0] {
		return table[0][1]
	}
	for i := 1; i < len(table); i++ {
		a, b := table[i-1], table[i]
		if x <= b[0] {
			f := math.Log(x/a[0]) / math.Log(b[0]/a[0])
			return a[1] * math.Pow(b[1]/a[1], f)
		}
	}
	return table[len(table)-1][1]
}
